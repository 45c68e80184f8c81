package card

import (
	"image/color"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/go-text/typesetting/bidi"
	"github.com/go-text/typesetting/shaping"
)

func trim(s string) string { return strings.TrimSpace(s) }

// TestContrast: WCAG's own examples of a grey that just passes and one that
// just fails, and the two ends of the scale.
func TestContrast(t *testing.T) {
	grey := func(v uint8) color.NRGBA { return color.NRGBA{v, v, v, 255} }
	for _, tt := range []struct {
		a, b color.NRGBA
		want float64
	}{{grey(0x76), white, 4.5422}, {grey(0x77), white, 4.4781}, {black, white, 21}, {white, black, 21},
		{dark, dark, 1}} {
		if got := Contrast(tt.a, tt.b); math.Abs(got-tt.want) > 5e-5 {
			t.Errorf("%v on %v: %.4f, want %.4f", tt.a, tt.b, got, tt.want)
		}
	}
}

// TestTextColours: on every grey and many colours both text colours reach AA.
func TestTextColours(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for i := range 2000 {
		bg := color.NRGBA{uint8(i), uint8(i), uint8(i), 255}
		if i > 255 {
			bg = color.NRGBA{uint8(r.UintN(256)), uint8(r.UintN(256)), uint8(r.UintN(256)), 255}
		}
		if c := Contrast(on(bg), bg); c < 4.5 {
			t.Fatalf("text %v on %v: %.2f", on(bg), bg, c)
		}
		if c := Contrast(quietColour(bg), bg); c < 4.5 {
			t.Fatalf("quiet text %v on %v: %.2f", quietColour(bg), bg, c)
		}
	}
	for _, tint := range planTints {
		if c := Contrast(planQuiet, mix(tint, planLine, 0.17)); c < 4.5 {
			t.Errorf("plan text on the hatched tint %v: %.2f", tint, c)
		}
	}
}

func TestMissing(t *testing.T) {
	for _, ok := range []string{"", "Mara Voss", "Ödön Szőke", "Łukasz Żółć", "Ştefan Țărnă", "Анна Крылова", "Їжак",
		"Νίκος Παππάς", "e\u0301", "%{pts}", "“quoted” — it’s…", `a\b:c'd"e`, "soft\u00adhyphen", "no\u00a0break"} {
		if got := Missing(ok); len(got) > 0 {
			t.Errorf("%q: missing %q", ok, got)
		}
	}
	for text, want := range map[string]string{
		"Jo 🎺": "🎺", "七弦": "七弦", "שרה": "שרה", "a\nb\n": "\n", "a\tb": "\t", "\x1b[31m": "\x1b",
		"a\u202eb\u2066c": "\u202e\u2066", "\u2028": "\u2028",
	} {
		if got := string(Missing(text)); got != want {
			t.Errorf("%q: missing %q, want %q", text, got, want)
		}
	}
	if got := Missing("a\xffb"); len(got) != 1 || got[0] != utf8.RuneError {
		t.Errorf("broken UTF-8: missing %q", got)
	}
}

// TestCombining: a letter with a combining accent is the same glyph as the
// ready-made letter, which only shaping can know.
func TestCombining(t *testing.T) {
	s := newSetter(nil)
	a, b := s.set("Ode\u0301", medium, 40), s.set("Od\u00e9", medium, 40)
	if len(b.runs) != 1 || len(a.runs) != 1 || len(a.runs[0].Glyphs) != len(b.runs[0].Glyphs) || a.width != b.width {
		t.Errorf("widths %v and %v", a.width, b.width)
	}
}

// TestFit: never too wide, whole when there is room, shrunk before cut, cut at
// whole characters.
func TestFit(t *testing.T) {
	s := newSetter(nil)
	for _, k := range cast {
		full := s.set(k[0], medium, 30)
		for f := 1.2; f > 0; f -= 0.045 {
			l := s.fit(k[0], medium, 30, 24, full.width*f)
			if l.width > full.width*f+1e-9 {
				t.Fatalf("%q: %v wide, %v allowed", k[0], l.width, full.width*f)
			}
			if l.px < 24-1e-9 || l.px > 30 {
				t.Fatalf("%q at %v pixels", k[0], l.px)
			}
			switch {
			case f >= 1 && (l.text != k[0] || l.px != 30):
				t.Fatalf("%q changed to %q at %v though it fits", k[0], l.text, l.px)
			case f < 1 && f >= 0.82 && l.text != k[0]:
				t.Fatalf("%q cut to %q though shrinking is enough", k[0], l.text)
			case l.text != k[0] && l.text != "" && (!strings.HasSuffix(l.text, ellipsis) ||
				!strings.HasPrefix(k[0], strings.TrimSuffix(l.text, ellipsis))):
				t.Fatalf("%q cut to %q", k[0], l.text)
			}
		}
	}
	// An accent stays with its letter.
	name := "Ze\u0301ze\u0301ze\u0301"
	for w := 20.0; w < 120; w += 3 {
		if l := s.cut(name, medium, 30, w); strings.HasSuffix(l.text, "e"+ellipsis) {
			t.Errorf("%q lost an accent", l.text)
		}
	}
	if l := s.fit("Mara", medium, 30, 24, 3); l.text != "" || len(l.runs) > 0 {
		t.Errorf("%q in 3 pixels", l.text)
	}
}

func TestWrap(t *testing.T) {
	s := newSetter(nil)
	text := "one two three four five six seven eight nine ten\nand a second paragraph"
	for w := 60.0; w < 900; w += 37 {
		for name, lines := range map[string][]line{"wrap": s.wrap(text, regular, 20, w),
			"balanced": s.wrapEvenly(text, regular, 20, w)} {
			var words []string
			for _, l := range lines {
				if l.width > w {
					t.Fatalf("%s at %v: %q is %v wide", name, w, l.text, l.width)
				}
				words = append(words, strings.Fields(l.text)...)
			}
			if w > 110 && strings.Join(words, " ") != strings.Join(strings.Fields(text), " ") {
				t.Fatalf("%s at %v: %q", name, w, words)
			}
			if n := len(s.wrap(text, regular, 20, w)); len(lines) > n {
				t.Fatalf("%s at %v: %d lines instead of %d", name, w, len(lines), n)
			}
		}
	}
	if l := s.wrap("Hohenlindenaltstetten", regular, 20, 100); len(l) != 1 || !strings.HasSuffix(l[0].text, ellipsis) {
		t.Errorf("a long word: %d lines, %q", len(l), l[0].text)
	}
}

// TestVisual is rule L2 of UAX 9 on levels worked out by hand.
func TestVisual(t *testing.T) {
	for _, tt := range []struct {
		levels []bidi.Level
		want   string
	}{
		{[]bidi.Level{0, 0, 0}, "abc"},
		{[]bidi.Level{1, 1, 1}, "cba"},
		{[]bidi.Level{0, 1, 0}, "abc"},
		{[]bidi.Level{0, 1, 2, 1, 0}, "adcbe"},
		{[]bidi.Level{1, 2, 2, 1}, "dbca"},
		{[]bidi.Level{0, 1, 1, 0, 1, 1}, "acbdfe"},
	} {
		var runs []shaping.Output
		for i := range tt.levels {
			runs = append(runs, shaping.Output{Runes: shaping.Range{Offset: i, Count: 1}})
		}
		got := ""
		for _, r := range visual(runs, tt.levels) {
			got += string(rune('a' + r.Runes.Offset))
		}
		if got != tt.want {
			t.Errorf("levels %v: %s, want %s", tt.levels, got, tt.want)
		}
	}
}
