package align

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// sung is a tone without a break: its pitch at each moment is what hertz says.
func sung(rate int, seconds float64, hertz func(t float64) float64) []float64 {
	x := sketch(rate, seconds, 21)
	phase := 0.0
	for i := range x {
		t := float64(i) / float64(rate)
		phase += 2 * math.Pi * hertz(t) / float64(rate)
		fade := math.Min(1, math.Min(t, seconds-t)/0.05)
		for h := 1.0; h <= 5; h++ {
			x[i] += 0.15 * fade / h * math.Sin(h*phase)
		}
	}
	return x
}

// Slurred notes have no attack: each change of pitch, of a semitone and more,
// must be found; where the pitch jumps at once it is found some 18 ms early.
func TestSlursAreFound(t *testing.T) {
	const rate = 16000
	steps := []float64{0, 2, 4, 5, 4, 7, 6, 0, -3, 2, 12, 11}
	const length = 0.4
	x := sung(rate, length*float64(len(steps)), func(at float64) float64 {
		return 330 * math.Pow(2, steps[min(len(steps)-1, int(at/length))]/12)
	})
	f := analyse(t, rate, x)
	for k := 1; k < len(steps); k++ {
		at := float64(k) * length
		if e, off := nearestEvent(f, at); math.Abs(off) > 0.022 {
			t.Errorf("the step of %g semitones at %g s was found %.0f ms off: %+v", steps[k]-steps[k-1], at, 1000*off,
				e)
		}
	}
	if len(f.Events) > len(steps)+3 {
		t.Errorf("%d events for %d notes", len(f.Events), len(steps))
	}
}

// Vibrato moves the pitch all the time and is not a row of notes.
func TestVibratoIsNoSlur(t *testing.T) {
	const rate = 16000
	x := sung(rate, 6, func(at float64) float64 {
		return 440 * math.Pow(2, 0.25/12*math.Sin(2*math.Pi*5.5*at))
	})
	for _, e := range analyse(t, rate, x).Events {
		if e.Time > 0.3 && e.Time < 5.7 {
			t.Errorf("vibrato made an event: %+v", e)
		}
	}
}

// The spectrum in three parts is that of the whole window as gonum's transform
// has it.
func TestSpectrumIsTheTransform(t *testing.T) {
	x := sung(7000, 0.2, func(at float64) float64 { return 300 + 2000*at })[:fluxSize]
	weighted := make([]float64, fluxSize)
	for i, v := range x {
		weighted[i] = v * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/fluxSize))
	}
	want := fourier.NewFFT(fluxSize).Coefficients(nil, weighted)
	got := make([]float64, len(want))
	newSpectrum(len(want)).magnitudes(got, x)
	for k, w := range want {
		if math.Abs(got[k]-cmplx.Abs(w)) > 1e-12 {
			t.Errorf("line %d is %g, want %g", k, got[k], cmplx.Abs(w))
		}
	}
}

func BenchmarkSpectrum(b *testing.B) {
	s := newSpectrum(374)
	x, out := sung(7000, 0.2, func(float64) float64 { return 300 })[:fluxSize], make([]float64, 374)
	for b.Loop() {
		s.magnitudes(out, x)
	}
}

// The queue must give what looking at every bin gives.
func TestCompare(t *testing.T) {
	p := newPitchFlux(16000)
	n := len(p.tilt)
	before, after := make([]float64, n), make([]float64, n)
	state := uint64(5)
	for round := range 20 {
		var fresh, total float64
		for i := range before {
			state = state*6364136223846793005 + 1442695040888963407
			before[i] = float64(state>>40) * float64(round%3)
			state = state*6364136223846793005 + 1442695040888963407
			after[i] = float64(state >> 40)
		}
		for k, v := range after {
			total += max(v, before[k])
			most := 0.0
			reach := 1 + k*3/100
			for j := max(0, k-reach); j <= min(n-1, k+reach); j++ {
				most = max(most, before[j])
			}
			fresh += max(0, v-most)
		}
		if got := p.compare(before, after); math.Abs(got-fresh/total) > 1e-12 {
			t.Fatalf("round %d: %g, want %g", round, got, fresh/total)
		}
	}
	clear(before)
	clear(after)
	if got := p.compare(before, after); got != 0 {
		t.Errorf("silence is %g new", got)
	}
}
