package audio_test

import (
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// counting is a block whose samples are their own numbers, in thousandths.
func counting(frames int) audio.Block {
	b := audio.NewBlock(2, frames)
	for i := range frames {
		b[0][i], b[1][i] = float64(i)/1000, -float64(i)/1000
	}
	return b
}

func TestSplicePutsEveryPartInItsPlace(t *testing.T) {
	const rate = 1000
	for name, c := range map[string]struct {
		parts audio.Parts
		want  map[int]float64 // samples of the result, in frames of the source; -1: silent
		n     int
	}{
		"none": {nil, map[int]float64{0: 0, 999: 999}, 1000},
		"missing": {audio.Break(0.4, 0.3), map[int]float64{389: 389, 400: -1, 550: -1, 699: -1, 711: 411,
			1299: 999}, 1300},
		"too much":       {audio.Break(0.4, -0.3), map[int]float64{394: 394, 405: 705, 699: 999}, 700},
		"shorter a fade": {audio.Break(0.4, -0.004), map[int]float64{397: 397, 402: 406}, 996},
		"three parts": {audio.Parts{{From: 0, To: 0.2}, {From: 0.2, To: 0.5, Shift: 0.1}, {From: 0.6, To: math.Inf(1)}},
			map[int]float64{150: 150, 250: -1, 400: 300, 700: 700}, 1000},
		"begins late": {audio.Parts{{From: 0.1, To: math.Inf(1)}}, map[int]float64{50: -1, 100: 100, 999: 999}, 1000},
	} {
		open := func() audio.Source {
			src, err := audio.Splice(audio.NewMemory(counting(1000), rate), c.parts)
			if err != nil {
				t.Fatal(name, err)
			}
			return src
		}
		got, err := audio.ReadAll(open())
		if err != nil {
			t.Fatal(name, err)
		}
		if got.Frames() != c.n {
			t.Errorf("%s: %d frames, want %d", name, got.Frames(), c.n)
		}
		for at, want := range c.want {
			want = max(want, 0) / 1000
			if math.Abs(got[0][at]-want) > 1e-12 || math.Abs(got[1][at]+want) > 1e-12 {
				t.Errorf("%s: frame %d is %v and %v, want %v", name, at, got[0][at], got[1][at], want)
			}
		}
		audiotest.Source(t, open)
	}
}

func TestSpliceKeepsItsPower(t *testing.T) {
	// A steady level stays within 3 dB over a seam of what is alike, and does not dip.
	b := audio.NewBlock(1, 1000)
	for i := range b[0] {
		b[0][i] = 0.5
	}
	src, err := audio.Splice(audio.NewMemory(b, 1000), audio.Break(0.4, -0.3))
	if err != nil {
		t.Fatal(err)
	}
	got, _ := audio.ReadAll(src)
	for i, v := range got[0] {
		if v < 0.499 || v > 0.5*math.Sqrt2+0.001 {
			t.Fatalf("frame %d is %v", i, v)
		}
	}
}

func TestSpliceRefusesPartsThatOverlap(t *testing.T) {
	for _, parts := range []audio.Parts{
		{{From: 0, To: 0.5}, {From: 0.4, To: 1}},
		{{From: 0, To: 0.5}, {From: 0.5, To: 1, Shift: -0.1}},
		{{From: 0, To: 0}},
	} {
		if _, err := audio.Splice(audio.NewMemory(counting(1000), 1000), parts); err == nil {
			t.Errorf("%v: no error", parts)
		}
	}
}

func TestPartsMapBothWays(t *testing.T) {
	for _, p := range []audio.Parts{nil, audio.Break(2, 1.5), audio.Break(2, -1.5),
		audio.Break(2, 1).Apply(audio.Break(5, -0.5))} {
		for at := 0.0; at < 10; at += 0.25 {
			inside := len(p) == 0
			for _, x := range p {
				inside = inside || at >= x.From && at < x.To
			}
			if u := p.Whole(at); inside && math.Abs(p.File(u)-at) > 1e-12 {
				t.Errorf("%v: %v is %v whole and %v again", p, at, u, p.File(u))
			}
		}
	}
	// Found one after the other: 1 s missing at 2 s, then half a second too much at
	// second 5 of what that made.
	got := audio.Break(2, 1).Apply(audio.Break(5, -0.5))
	want := audio.Parts{{From: 0, To: 2}, {From: 2, To: 4, Shift: 1}, {From: 4.5, To: math.Inf(1), Shift: 0.5}}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("part %d: %v, want %v", i, got[i], want[i])
		}
	}
}
