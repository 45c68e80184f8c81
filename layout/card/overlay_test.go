package card

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"math/rand/v2"
	"testing"

	"ripieno/layout"
)

func overlay(t testing.TB, c layout.Canvas, o OverlayOptions) *image.NRGBA {
	t.Helper()
	m, err := Overlay(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestOverlayLayers: background everywhere but in the tiles, nothing in a hole
// without a label, opaque placeholders.
func TestOverlayLayers(t *testing.T) {
	c := layout.Canvas{W: 400, H: 300}
	hole, held := layout.Rect{X: 20, Y: 20, W: 160, H: 90}, layout.Rect{X: 200, Y: 20, W: 160, H: 90}
	bg := color.NRGBA{10, 60, 110, 40} // the alpha must not matter
	m := overlay(t, c, OverlayOptions{Background: bg, Holes: []layout.Rect{hole},
		Placeholders: []Placeholder{{Tile: held, Name: "Jo"}}})
	for y := range c.H {
		for x := range c.W {
			got, p := m.NRGBAAt(x, y), image.Pt(x, y)
			switch {
			case p.In(rectangle(hole)):
				if got.A != 0 {
					t.Fatalf("hole at %v is %v", p, got)
				}
			case p.In(rectangle(held)):
				if got.A != 255 {
					t.Fatalf("placeholder at %v is %v", p, got)
				}
			case got != color.NRGBA{10, 60, 110, 255}:
				t.Fatalf("background at %v is %v", p, got)
			}
		}
	}
	// The placeholder is seen as a tile and holds text.
	ground := m.NRGBAAt(held.X+1, held.Y+1)
	if ground == (color.NRGBA{10, 60, 110, 255}) {
		t.Error("a placeholder looks like the background")
	}
	if count(m, held, func(p color.NRGBA) bool { return Contrast(p, ground) > 4.5 }) < 10 {
		t.Error("no text on the placeholder")
	}
}

func count(m *image.NRGBA, r layout.Rect, is func(color.NRGBA) bool) (n int) {
	for y := r.Y; y < r.Bottom(); y++ {
		for x := r.X; x < r.Right(); x++ {
			if is(m.NRGBAAt(x, y)) {
				n++
			}
		}
	}
	return n
}

// extent returns the smallest rectangle round the pixels that satisfy is.
func extent(m *image.NRGBA, is func(color.NRGBA) bool) (r image.Rectangle) {
	for y := range m.Rect.Dy() {
		for x := range m.Rect.Dx() {
			if is(m.NRGBAAt(x, y)) {
				r = r.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return r
}

// TestLabelStaysOnItsPlate sets names of all lengths in tiles of all sizes:
// the plate lies in its tile, the text on the plate with air at every side.
func TestLabelStaysOnItsPlate(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 7))
	c := layout.Canvas{W: 640, H: 360}
	drawn := 0
	for range 150 {
		tile := layout.Rect{X: 2 * r.IntN(60), Y: 2 * r.IntN(40), W: 2 * (8 + r.IntN(240)), H: 2 * (8 + r.IntN(120))}
		name, part := cast[r.IntN(len(cast))][0], cast[r.IntN(len(cast))][1]
		m := overlay(t, c, OverlayOptions{Holes: []layout.Rect{{W: c.W, H: c.H}}, Labels: []Label{{tile, name, part}}})
		plates := extent(m, func(p color.NRGBA) bool { return p.A > 0 })
		text := extent(m, func(p color.NRGBA) bool { return p.A > plate.A+8 })
		if plates.Empty() {
			if tile.H >= 24 && tile.W >= 80 {
				t.Fatalf("no label in %v", tile)
			}
			continue
		}
		drawn++
		if !plates.In(rectangle(tile)) {
			t.Fatalf("%q in %v: plate %v", name, tile, plates)
		}
		if text.Empty() || !text.In(plates.Inset(1)) {
			t.Fatalf("%q in %v: text %v on plate %v", name, tile, text, plates)
		}
	}
	if drawn < 120 {
		t.Errorf("only %d of 150 labels drawn", drawn)
	}
}

// TestLabelIsNotClipped draws each name with and without the plate's limits:
// the pixels of the letters are the same, so nothing was cut off.
func TestLabelIsNotClipped(t *testing.T) {
	s := newSetter(nil)
	for _, k := range cast {
		for _, px := range []float64{9, 13.5, 20, 38} {
			l := s.fit(k[0], medium, px, px*shrink, 300)
			free, held := newPicture(340, 80, dark), newPicture(340, 80, dark)
			b := box{10, 12, 10 + l.width + 2*padX*px, 12 + l.height() + 2*padY*px}
			free.write(l, b.x0+padX*px, b.y0+padY*px+l.ascent, white, free.Rect)
			held.write(l, b.x0+padX*px, b.y0+padY*px+l.ascent, white, inside(b))
			if !bytes.Equal(free.Pix, held.Pix) {
				t.Errorf("%q at %v pixels loses ink at its plate's edge", k[0], px)
			}
		}
	}
}

// TestLabelContrast measures the pixels: the colours of name and part against
// the plate, over a white and over a black picture (WCAG 2.1, 1.4.3: 4.5).
func TestLabelContrast(t *testing.T) {
	tile := layout.Rect{W: 1920, H: 1080}
	m := overlay(t, layout.Canvas{W: 1920, H: 1080},
		OverlayOptions{Holes: []layout.Rect{tile}, Labels: []Label{{tile, "HHHH", "HHHH"}}})
	b := extent(m, func(p color.NRGBA) bool { return p.A > 0 })
	// The fullest ink of each line: the two halves of the plate.
	half := (b.Min.Y + b.Max.Y) / 2
	var inks [2]color.NRGBA
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			p, k := m.NRGBAAt(x, y), 0
			if y > half {
				k = 1
			}
			if p.A == 255 && luminance(p) > luminance(inks[k]) {
				inks[k] = p
			}
		}
	}
	ground := m.NRGBAAt(b.Min.X+b.Dx()/2, b.Min.Y+2)
	for _, behind := range []color.NRGBA{white, black} {
		over := mix(behind, ground, float64(ground.A)/255)
		for k, ink := range inks {
			if got := Contrast(ink, over); ink.A == 0 || got < 4.5 {
				t.Errorf("line %d: %v on %v has contrast %.2f", k+1, ink, over, got)
			}
		}
	}
}

// TestOverlayScales: the rough cut's overlay is the film's, only smaller. A
// quarter of 1080 lines, averaged four by four, differs little.
func TestOverlayScales(t *testing.T) {
	big, little := layout.Canvas{W: 1920, H: 1080}, layout.Canvas{W: 480, H: 270}
	o := ensemble(t, little, 12)
	four := func(r layout.Rect) layout.Rect { return layout.Rect{X: 4 * r.X, Y: 4 * r.Y, W: 4 * r.W, H: 4 * r.H} }
	q := OverlayOptions{Background: o.Background}
	for _, h := range o.Holes {
		q.Holes = append(q.Holes, four(h))
	}
	for _, l := range o.Labels {
		l.Tile = four(l.Tile)
		q.Labels = append(q.Labels, l)
	}
	for _, h := range o.Placeholders {
		h.Tile = four(h.Tile)
		q.Placeholders = append(q.Placeholders, h)
	}
	a, b := overlay(t, little, o), overlay(t, big, q)
	sum := 0
	for y := range little.H {
		for x := range little.W {
			alpha := 0
			for i := range 16 {
				alpha += int(b.NRGBAAt(4*x+i%4, 4*y+i/4).A)
			}
			d := int(a.NRGBAAt(x, y).A) - alpha/16
			sum += max(d, -d)
		}
	}
	if mean := float64(sum) / float64(little.W*little.H); mean > 1 {
		t.Errorf("alpha differs by %.2f code values on average", mean)
	}
}

func TestOverlayIsDeterministic(t *testing.T) {
	o := ensemble(t, small, 9)
	if a, b := overlay(t, small, o), overlay(t, small, o); !bytes.Equal(a.Pix, b.Pix) {
		t.Error("two drawings of one overlay differ")
	}
}

// TestOverlayTiny: canvases and tiles too small for any text still work.
func TestOverlayTiny(t *testing.T) {
	c := layout.Canvas{W: 64, H: 36}
	for _, r := range []layout.Rect{{W: 8, H: 8}, {W: 64, H: 8}, {W: 8, H: 36}, {W: 2, H: 2}} {
		overlay(t, c, OverlayOptions{Holes: []layout.Rect{r}, Labels: []Label{{r, "Mara Voss", "Oboe 1"}}})
		overlay(t, c, OverlayOptions{Placeholders: []Placeholder{{r, "Mara Voss", "Oboe 1", "sound only", true}}})
	}
}

func TestOverlayRefuses(t *testing.T) {
	c := layout.Canvas{W: 640, H: 360}
	tile := layout.Rect{W: 320, H: 180}
	tests := []struct {
		name string
		c    layout.Canvas
		o    OverlayOptions
		want string
	}{
		{"canvas", layout.Canvas{W: 641, H: 360}, OverlayOptions{}, "canvas: 641x360 has an odd side"},
		{"hole", c, OverlayOptions{Holes: []layout.Rect{{X: 400, W: 320, H: 180}}},
			"tile 320x180 at 400,0 is not on a canvas of 640x360"},
		{"label", c, OverlayOptions{Labels: []Label{{Tile: layout.Rect{X: -2, W: 4, H: 4}, Name: "x"}}},
			"tile 4x4 at -2,0 is not on a canvas of 640x360"},
		{"placeholder", c, OverlayOptions{Placeholders: []Placeholder{{Name: "x"}}},
			"tile 0x0 at 0,0 is not on a canvas of 640x360"},
		{"emoji", c, OverlayOptions{Labels: []Label{{tile, "Jo 🎺🎺", ""}}}, `no font can draw "Jo 🎺🎺": 🎺 (U+1F3BA)`},
		{"newline", c, OverlayOptions{Labels: []Label{{tile, "Jo\nMo", ""}}}, `no font can draw "Jo\nMo": U+000A`},
		{"both, the name once", c, OverlayOptions{Labels: []Label{{tile, "שרה", "\x00"}, {tile, "שרה", ""}}},
			"no font can draw \"שרה\": ש (U+05E9), ר (U+05E8), ה (U+05D4)\nno font can draw \"\\x00\": U+0000"},
		{"placeholder's text", c, OverlayOptions{Placeholders: []Placeholder{{tile, "Jo", "七弦琴", "", false}}},
			`no font can draw "七弦琴": 七 (U+4E03), 弦 (U+5F26), 琴 (U+7434)`},
	}
	for _, tt := range tests {
		if _, err := Overlay(tt.c, tt.o); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.want)
		}
	}
	var missing *MissingError
	if _, err := Overlay(c, tests[4].o); !errors.As(err, &missing) || string(missing.Runes) != "🎺" {
		t.Errorf("no MissingError: %v", err)
	}
}

// FuzzLabel: any name is drawn or refused, and what Missing says decides
// which; nothing is drawn outside the tile.
func FuzzLabel(f *testing.F) {
	for _, k := range cast {
		f.Add(k[0])
	}
	for _, s := range []string{"", "  ", "\x00", "a\u202eb", "e\u0301", "\xff", "👩‍🎤", "ﷺ", "a\tb",
		"i\u0300\u0301\u0302\u0303\u0304\u0305", "שלום Jo 12", "\u00ad", "%s%d{}$(x)`"} {
		f.Add(s)
	}
	c, tile := layout.Canvas{W: 160, H: 90}, layout.Rect{X: 10, Y: 10, W: 120, H: 68}
	f.Fuzz(func(t *testing.T, name string) {
		if len(name) > 400 {
			return
		}
		m, err := Overlay(c, OverlayOptions{Holes: []layout.Rect{{W: 160, H: 90}}, Labels: []Label{{tile, name, ""}}})
		if refusedName := len(Missing(trim(name))) > 0; refusedName != (err != nil) {
			t.Fatalf("%q: missing %q, error %v", name, Missing(name), err)
		}
		if err == nil && !extent(m, func(p color.NRGBA) bool { return p.A > 0 }).In(rectangle(tile)) {
			t.Fatalf("%q leaves its tile", name)
		}
	})
}

func BenchmarkOverlay60(b *testing.B) {
	c := layout.Canvas{W: 1920, H: 1080}
	o := ensemble(b, c, 60)
	for b.Loop() {
		overlay(b, c, o)
	}
}

// TestLabelsAlone: names that are laid over later look as those drawn at once.
func TestLabelsAlone(t *testing.T) {
	o := ensemble(t, small, 4)
	whole := overlay(t, small, o)
	alone, err := Labels(small, o.Labels, LabelLook{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	marks := 0
	for _, h := range o.Holes {
		for y := h.Y; y < h.Bottom(); y++ {
			for x := h.X; x < h.Right(); x++ {
				if a, b := whole.NRGBAAt(x, y), alone.NRGBAAt(x, y); a != b {
					t.Fatalf("%d,%d is %v, drawn alone %v", x, y, a, b)
				} else if a.A > 0 {
					marks++
				}
			}
		}
	}
	if marks < 500 {
		t.Errorf("only %d pixels of labels", marks)
	}
	if _, err := Labels(small, []Label{{Tile: layout.Rect{X: -2, W: 20, H: 20}}}, LabelLook{}, nil); err == nil {
		t.Error("a label off the canvas is drawn")
	}
	if _, err := Labels(small, []Label{{Tile: o.Holes[0], Name: "א"}}, LabelLook{}, nil); err == nil {
		t.Error("a label that no font can draw is drawn")
	}
}
