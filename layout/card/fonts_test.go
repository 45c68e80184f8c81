package card

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"slices"
	"strings"
	"testing"

	"ripieno/layout"
	"ripieno/layout/card/cardtest"
)

// hebrew has three letters of very different heights.
func hebrew(t testing.TB) *Fonts {
	t.Helper()
	f, err := ParseFonts(cardtest.Font(cardtest.Bar('א', 600, 1000), cardtest.Bar('ב', 600, 400),
		cardtest.Bar('ג', 600, 100)))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// skyline returns the height of the ink in steps, from the left: runs of columns
// with ink become one number, in tenths of the em.
func skyline(m *image.NRGBA, px float64) (out []int) {
	top := 0
	for x := range m.Rect.Dx() {
		first, last := -1, -1
		for y := range m.Rect.Dy() {
			if m.NRGBAAt(x, y).R > 200 {
				if first < 0 {
					first = y
				}
				last = y
			}
		}
		if first < 0 {
			if top > 0 {
				out = append(out, top)
			}
			top = 0
			continue
		}
		top = max(top, int(float64(last-first+1)/px*10+0.5))
	}
	return out
}

// TestRightToLeft: the first letter of a Hebrew name stands at the right, also
// beside Latin, and the order of a Latin word inside stays.
func TestRightToLeft(t *testing.T) {
	s := newSetter(hebrew(t))
	const px = 100
	for _, tt := range []struct {
		text string
		want []int // heights in tenths of the em, from the left
	}{
		{"אבג", []int{1, 4, 10}},
		{"l אב", []int{8, 4, 10}},      // a Latin paragraph: the l first, then the pair reversed
		{"אב l", []int{8, 4, 10}},      // a Hebrew paragraph: the l comes last, so it is leftmost
		{"אב l ג", []int{1, 8, 4, 10}}, // l between, all of it from the right
		{"l אב l", []int{8, 4, 10, 8}},
	} {
		l := s.set(tt.text, regular, px)
		if len(l.missing) > 0 {
			t.Errorf("%q: missing %q", tt.text, l.missing)
		}
		p := newPicture(600, 160, black)
		p.write(l, 10, 120, white, p.Rect)
		if got := skyline(p.NRGBA, px); !slices.Equal(got, tt.want) {
			t.Errorf("%q: heights %v, want %v", tt.text, got, tt.want)
		}
	}
}

// TestExtraFonts: what the user's font adds is no longer missing, and a label
// is drawn with it.
func TestExtraFonts(t *testing.T) {
	f := hebrew(t)
	if got := string(f.Missing("אבד Jo")); got != "ד" {
		t.Errorf("missing %q", got)
	}
	if got := string(Missing("אב")); got != "אב" {
		t.Errorf("embedded alone: missing %q", got)
	}
	tile := layout.Rect{W: 640, H: 360}
	c := layout.Canvas{W: 640, H: 360}
	o := OverlayOptions{Holes: []layout.Rect{tile}, Labels: []Label{{tile, "אבג", "Oboe"}}}
	if _, err := Overlay(c, o); err == nil {
		t.Error("drawn without a font for it")
	}
	o.Fonts = f
	m, err := Overlay(c, o)
	if err != nil {
		t.Fatal(err)
	}
	if count(m, tile, func(p color.NRGBA) bool { return p.A == 255 }) < 50 {
		t.Error("no letters on the plate")
	}
}

func TestParseFontsRefuses(t *testing.T) {
	good := cardtest.Font(cardtest.Bar('א', 600, 800))
	for name, data := range map[string][]byte{
		"empty": {}, "text": []byte("this is no font at all"), "cut": good[:len(good)/3], "header only": good[:12],
		"last table cut":        good[:len(good)-20],
		"four gigabytes":        patched(good, 12+3*16+12, 0xff), // hhea's length
		"compressed":            append([]byte("wOFF"), good[4:]...),
		"collection of nothing": []byte("ttcf\x00\x01\x00\x00\x00\x00\x00\x00"),
		"collection, cut":       []byte("ttcf\x00\x01\x00\x00\x00\x00\x00\x02\x00\x00\x00\x10"),
		"collection, outside":   []byte("ttcf\x00\x01\x00\x00\x00\x00\x00\x01\x7f\x00\x00\x10"),
	} {
		if _, err := ParseFonts(data); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := ParseFonts(good, []byte("x")); err == nil || !strings.HasPrefix(err.Error(), "font 2: ") {
		t.Errorf("the second file: %v", err)
	}
}

// patched returns data with one byte changed.
func patched(data []byte, at int, to byte) []byte {
	out := bytes.Clone(data)
	out[at] = to
	return out
}

// TestCollection reads a collection of two fonts in one file.
func TestCollection(t *testing.T) {
	one, two := cardtest.Font(cardtest.Bar('א', 600, 800)), cardtest.Font(cardtest.Bar('ב', 600, 400))
	be := binary.BigEndian
	file := []byte("ttcf\x00\x01\x00\x00\x00\x00\x00\x02")
	file = be.AppendUint32(file, 20)
	file = be.AppendUint32(file, uint32(20+len(one)))
	for _, f := range [][]byte{one, two} {
		start := len(file)
		file = append(file, f...)
		for i := range int(be.Uint16(f[4:])) { // offsets count from the file's beginning
			at := start + 12 + 16*i + 8
			be.PutUint32(file[at:], be.Uint32(file[at:])+uint32(start))
		}
	}
	fonts, err := ParseFonts(file)
	if err != nil {
		t.Fatal(err)
	}
	if got := fonts.Missing("אב"); len(got) > 0 {
		t.Errorf("missing %q", got)
	}
}

// TestBrokenFont: a font that parses but makes the shaper panic cannot draw
// what needs it; what the embedded faces have is not touched.
func TestBrokenFont(t *testing.T) {
	good := cardtest.Font(cardtest.Bar('א', 600, 800))
	at := bytes.Index(good, []byte("hhea"))
	hhea := int(binary.BigEndian.Uint32(good[at+8:]))
	fonts, err := ParseFonts(patched(good, hhea+35, 0)) // numberOfHMetrics 0, with which the table cannot be read
	if err != nil {
		t.Fatal(err) // a parser that refuses it is better; then find another fault
	}
	if got := string(fonts.Missing("Jo א")); got != "Jo א" {
		t.Errorf("missing %q", got)
	}
	if got := fonts.Missing("Jo"); len(got) > 0 {
		t.Errorf("missing %q", got)
	}
}

// FuzzParseFonts: no file ends the program, whether it parses or not, nor
// does text set in a file that parses.
func FuzzParseFonts(f *testing.F) {
	good := cardtest.Font(cardtest.Bar('a', 600, 800), cardtest.Bar('א', 600, 800))
	f.Add(good)
	f.Add(good[:100])
	f.Add([]byte("OTTO\x00\x01"))
	f.Add(bytes.Replace(good, []byte("loca"), []byte("locb"), 1))
	f.Fuzz(func(t *testing.T, data []byte) {
		fonts, err := ParseFonts(data)
		if err != nil {
			return
		}
		fonts.Missing("aא")
	})
}

// TestConcurrent draws with one Fonts from several goroutines; the race
// detector and the pixels both watch.
func TestConcurrent(t *testing.T) {
	o := ensemble(t, small, 9)
	o.Fonts = hebrew(t)
	o.Labels[0].Name = "אבג"
	want := overlay(t, small, o)
	results := make(chan *image.NRGBA)
	for range 4 {
		go func() {
			m, err := Overlay(small, o)
			if err != nil {
				m = image.NewNRGBA(image.Rectangle{})
			}
			results <- m
		}()
	}
	for range 4 {
		if got := <-results; !bytes.Equal(got.Pix, want.Pix) {
			t.Error("a concurrent drawing differs")
		}
	}
}

// A hyphen in a word is narrower than a dash, in every face; one before a number stays what it
// is, a sign.
func TestHyphensAreNoDashes(t *testing.T) {
	s := newSetter(nil)
	for w := range weights {
		wide := func(text string) float64 { return s.set(text, w, 100).width }
		hyphen := wide("Nieder-Wick") - wide("Nieder") - wide("Wick")
		if dash := wide("–"); hyphen > 0.8*dash {
			t.Errorf("weight %d: the hyphen is %.1f wide, a dash %.1f", w, hyphen, dash)
		}
		if minus := wide("-3") - wide("3"); w != display && minus < 1.5*hyphen {
			t.Errorf("weight %d: the sign is %.1f wide, the hyphen %.1f", w, minus, hyphen)
		}
		if missing := s.set("Nieder-Wick", w, 100).missing; len(missing) > 0 {
			t.Errorf("weight %d: %q is not drawn", w, missing)
		}
	}
}
