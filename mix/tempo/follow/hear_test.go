package follow

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// strokes returns the sound of struck wood at some times, in a room that hisses.
func strokes(rate int, seconds float64, at ...float64) audio.Source {
	x := make([]float64, int(seconds*float64(rate)))
	seed := uint32(1)
	for i := range x {
		seed = seed*1664525 + 1013904223
		x[i] = 1e-4 * (float64(seed>>8)/(1<<23) - 1)
	}
	for _, t := range at {
		for k := range rate / 10 {
			age := float64(k) / float64(rate)
			if i := int(t*float64(rate)) + k; i < len(x) {
				x[i] += 0.5 * math.Exp(-age/0.02) * math.Sin(2*math.Pi*900*age)
			}
		}
	}
	return audio.NewMemory(audio.Block{x}, rate)
}

// A stroke is heard where it is, at any sample rate.
func TestStrokesAreHeardInTime(t *testing.T) {
	at := []float64{0.7, 1.31, 1.905, 2.48}
	for _, rate := range []int{16000, 44100, 48000} {
		o, err := Hear(strokes(rate, 4, at...))
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range at {
			if got, strength := o.peak(x, 0.05); math.Abs(got-x) > 0.006 || strength < clearOnset {
				t.Errorf("%d Hz: the stroke at %.3f s is heard at %.4f s with strength %.1f", rate, x, got, strength)
			}
		}
		if first, ok := o.first(math.NaN()); !ok || math.Abs(first-at[0]) > 0.006 {
			t.Errorf("the first onset is at %.3f s", first)
		}
		if end := o.end(); math.Abs(end-at[3]) > 0.01 {
			t.Errorf("the last onset is at %.3f s", end)
		}
	}
}

func TestNothingIsHeardInSilence(t *testing.T) {
	o, err := Hear(audio.NewMemory(audio.NewBlock(1, 16000), 16000))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := o.Beats(Ask{First: math.NaN()}); err == nil {
		t.Error("silence has beats")
	}
	if _, err := Hear(audio.NewMemory(audio.NewBlock(1, 1), 100)); err == nil {
		t.Error("a sound of 100 samples a second was taken")
	}
}

// Anchors that contradict one another are told, and those that do not are where they were
// put, to the bit.
func TestAnchorsWin(t *testing.T) {
	var at []float64
	for i := range 24 {
		at = append(at, 1+0.5*float64(i)+0.03*math.Sin(float64(i)/3))
	}
	o, err := Hear(strokes(16000, 14, at...))
	if err != nil {
		t.Fatal(err)
	}
	ask := Ask{First: at[0], Anchors: []Anchor{{at[8] + 0.021, 8}, {at[15] - 0.013, Uncounted}}}
	got, err := o.Beats(ask)
	if err != nil || len(got) != len(at) {
		t.Fatalf("%d pulses, %v", len(got), err)
	}
	for i, p := range got {
		want, tolerance := at[i], 0.012
		switch i {
		case 8:
			want, tolerance = at[8]+0.021, 0
		case 15:
			want, tolerance = at[15]-0.013, 0
		}
		if math.Abs(p.At-want) > tolerance || p.Anchor != (tolerance == 0) {
			t.Errorf("pulse %d is at %.4f s, not %.4f s; anchor %v", i, p.At, want, p.Anchor)
		}
	}
	// Twice as many pulses, because somebody says so.
	got, err = o.Beats(Ask{First: at[0], Anchors: []Anchor{{at[8], 16}}})
	if err != nil || math.Abs(got[8].At-at[4]) > 0.02 {
		t.Errorf("pulse 8 is at %.3f s, not %.3f s (%v)", got[8].At, at[4], err)
	}
	for _, bad := range [][]Anchor{{{3, 2}, {2, 4}}, {{3, 2}, {3.5, 2}}, {{0.2, 3}}, {{-1, 3}}, {{math.NaN(), 3}}} {
		if _, err := o.Beats(Ask{First: at[0], Anchors: bad}); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

// A pulse where nothing begins follows from its neighbours, and is called weak.
func TestWeakPulses(t *testing.T) {
	var at []float64
	for i := range 20 {
		if i != 9 {
			at = append(at, 1+0.6*float64(i))
		}
	}
	o, err := Hear(strokes(16000, 14, at...))
	if err != nil {
		t.Fatal(err)
	}
	got, err := o.Beats(Ask{First: math.NaN(), Pulses: 20})
	if err != nil || len(got) != 20 {
		t.Fatalf("%d pulses, %v", len(got), err)
	}
	for i, p := range got {
		if math.Abs(p.At-1-0.6*float64(i)) > 0.015 || p.Weak != (i == 9) {
			t.Errorf("pulse %d at %.3f s, weak %v", i, p.At, p.Weak)
		}
	}
}

// The equations of even have the solution that elimination of the whole matrix finds.
func TestEven(t *testing.T) {
	at := []float64{0, 1, 2.05, 2.95, 4, 5.05, 6}
	w := []float64{1, 0.5, 1.5, 1, 0.1, 1, 1e6}
	x := even(at, w)
	for i := range x { // the gradient vanishes
		g := w[i] * (x[i] - at[i])
		for j := 1; j+1 < len(x); j++ {
			if a := []float64{1, -2, 1}; j-1 <= i && i <= j+1 {
				g += evenness * (x[j-1] - 2*x[j] + x[j+1]) * a[i-j+1]
			}
		}
		if math.Abs(g) > 1e-6 {
			t.Errorf("at %d the gradient is %g", i, g)
		}
	}
}
