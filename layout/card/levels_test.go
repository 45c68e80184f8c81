package card

import (
	"errors"
	"image"
	"image/color"
	"math"
	"path/filepath"
	"testing"
)

// levelsOf returns an invented mix of n strips.
func levelsOf(n int) LevelsOptions {
	o := LevelsOptions{
		Title:   "The Lamplighter's Round · levels",
		Summary: "integrated -16.0 LUFS · range 6.2 LU · true peak -1.2 dBTP · limiter -2.1 dB at most",
		Target:  -16, Seconds: 90, Step: 0.1,
	}
	for i := range n {
		p := cast[i%len(cast)]
		s := LevelStrip{Name: p[0], Part: p[1], Section: []string{"winds", "brass", "strings", ""}[i*4/n],
			Recorded: -18 - 4*float64(i%6), Mixed: -30, Noise: math.Inf(-1)}
		if i%3 == 1 {
			s.Noise = -60
		}
		s.Gain = s.Mixed - s.Recorded
		if i == 4 {
			s.Mixed, s.Recorded = math.Inf(-1), math.Inf(-1)
		}
		o.Strips = append(o.Strips, s)
	}
	for i := range 900 {
		t := float64(i) / 10
		short := -17 + 3*math.Sin(t/9)
		if t < 3 {
			short = math.Inf(-1)
		}
		o.ShortTerm = append(o.ShortTerm, short)
		o.Momentary = append(o.Momentary, -18+4*math.Sin(t/9)+3*math.Sin(3*t))
	}
	for m := range 40 {
		o.Ticks = append(o.Ticks, LevelTick{3 + float64(m)*2.1, "m" + string(rune('0'+m/10)) + string(rune('0'+m%10))})
	}
	return o
}

func TestLevelsGolden(t *testing.T) {
	o := levelsOf(8)
	m, err := Levels(o)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, m, filepath.Join("testdata", "levels.png"))
}

// Bars are as long as the scale says, from −70 to 0 LUFS.
func TestLevelsBars(t *testing.T) {
	o := LevelsOptions{Title: "bars", Strips: []LevelStrip{{Name: "a", Mixed: -35, Recorded: math.Inf(-1),
		Noise: math.Inf(-1)}, {Name: "b", Mixed: math.Inf(-1), Recorded: math.Inf(-1), Noise: math.Inf(-1)}}}
	m, err := Levels(o)
	if err != nil {
		t.Fatal(err)
	}
	isBar := func(c color.NRGBA) bool { return c == barTints[0] }
	r := extent(m, isBar)
	full := 1280 - 2*24 - 250 - 230
	if r.Min.X != 24+250 || math.Abs(float64(r.Dx())-float64(full)/2) > 1 {
		t.Errorf("a bar of -35 LUFS covers %v of %d pixels", r, full)
	}
	if r.Dy() > 26 {
		t.Errorf("silence has a bar: %v", r)
	}
}

// The line of short-term loudness is where the scale says, from −50 to 0.
func TestLevelsCurve(t *testing.T) {
	o := LevelsOptions{Title: "curve", Target: -40, Seconds: 10, Step: 1}
	for range 10 {
		o.ShortTerm, o.Momentary = append(o.ShortTerm, -25), append(o.Momentary, math.Inf(-1))
	}
	m, err := Levels(o)
	if err != nil {
		t.Fatal(err)
	}
	g, err := newLevels(&o)
	if err != nil {
		t.Fatal(err)
	}
	r := extent(m, func(c color.NRGBA) bool { return c == levelLine })
	middle := (g.plot.y0 + g.plot.y1) / 2
	if float64(r.Min.Y) > middle || float64(r.Max.Y) < middle || r.Dy() > 4 || float64(r.Dx()) < 0.85*g.plot.w() {
		t.Errorf("the line covers %v, its place is %.1f", r, middle)
	}
}

func TestLevelsEmptyAndRefused(t *testing.T) {
	if m, err := Levels(LevelsOptions{Title: "nothing"}); err != nil || m.Rect == (image.Rectangle{}) {
		t.Errorf("an empty mix: %v", err)
	}
	for _, o := range []LevelsOptions{
		{Width: 10}, {Momentary: []float64{1}}, {Momentary: []float64{1}, ShortTerm: []float64{1}},
		{Strips: make([]LevelStrip, 5000)},
	} {
		if _, err := Levels(o); err == nil {
			t.Errorf("%d strips, width %d: not refused", len(o.Strips), o.Width)
		}
	}
	var missing *MissingError
	if _, err := Levels(LevelsOptions{Title: "日本"}); !errors.As(err, &missing) {
		t.Errorf("characters without a glyph: %v", err)
	}
}

// Text on the paper reaches WCAG AA (4.5), lines and bars what is asked of
// graphics (3, WCAG 2.1 success criterion 1.4.11).
func TestLevelsContrast(t *testing.T) {
	for _, c := range append(barTints, levelLine, levelTarget) {
		if got := Contrast(c, planPaper); got < 3 {
			t.Errorf("%v has a contrast of %.2f", c, got)
		}
	}
	if got := Contrast(levelTarget, planPaper); got < 4.5 {
		t.Errorf("the target's text has a contrast of %.2f", got)
	}
}
