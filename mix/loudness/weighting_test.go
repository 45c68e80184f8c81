package loudness

import (
	"math"
	"testing"
)

// BS.1770-4 tables 1 and 2 give the coefficients at 48 kHz; the row at
// 44.1 kHz was derived from the same prototype by bilinear transform.
func TestCoefficients(t *testing.T) {
	cases := []struct {
		name      string
		got, want Biquad
		tolerance float64
	}{
		{"shelf 48000", Shelf(48000), Biquad{1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241,
			0.73248077421585}, 1e-12},
		{"rlb 48000", RLB(48000), Biquad{1, -2, 1, -1.99004745483398, 0.99007225036621}, 1e-12},
		{"shelf 44100", Shelf(44100), Biquad{1.53084123005035, -2.65097999515473, 1.16907907992159, -1.66365511325602,
			0.71259542807323}, 1e-12},
		{"rlb 44100", RLB(44100), Biquad{1, -2, 1, -1.98916967362980, 0.98919903578704}, 1e-12},
	}
	for _, c := range cases {
		got := []float64{c.got.B0, c.got.B1, c.got.B2, c.got.A1, c.got.A2}
		want := []float64{c.want.B0, c.want.B1, c.want.B2, c.want.A1, c.want.A2}
		for i := range got {
			if math.Abs(got[i]-want[i]) > c.tolerance {
				t.Errorf("%s: coefficient %d is %.14f, want %.14f", c.name, i, got[i], want[i])
			}
		}
	}
}

// Gains of the K curve at 48 kHz, calculated from the tables' coefficients.
func TestWeightingResponse(t *testing.T) {
	for hz, want := range map[float64]float64{100: -1.1335, 997: 0.6910, 1000: 0.6977, 2000: 3.0713, 10000: 4.0419} {
		got := 20 * math.Log10(Shelf(48000).Response(hz, 48000)*RLB(48000).Response(hz, 48000))
		if math.Abs(got-want) > 0.0001 {
			t.Errorf("K at %g Hz is %.4f dB, want %.4f", hz, got, want)
		}
		// Other rates bend a little near their band edge; below 10 kHz the
		// curve stays within a tenth.
		other := 20 * math.Log10(Shelf(96000).Response(hz, 96000)*RLB(96000).Response(hz, 96000))
		if math.Abs(other-want) > 0.1 {
			t.Errorf("K at %g Hz and 96 kHz is %.4f dB, want %.4f", hz, other, want)
		}
	}
}

// The filter's running response to a sine is what its formula says.
func TestApplyMatchesResponse(t *testing.T) {
	const rate = 48000
	x := sine(2000, 1, 0, rate, 0, rate)
	y := make([]float64, len(x))
	w := NewWeighting(rate)
	w.Apply(y, x)
	var sum float64
	for _, v := range y[rate/2:] {
		sum += v * v
	}
	got := math.Sqrt(2 * sum / (rate / 2))
	want := Shelf(rate).Response(2000, rate) * RLB(rate).Response(2000, rate)
	if math.Abs(got-want) > 1e-6 {
		t.Errorf("amplitude %.8f, formula %.8f", got, want)
	}
}

func TestGateForgetsNothingThatCounts(t *testing.T) {
	var g Gate
	if !math.IsInf(float64(g.Integrated()), -1) || g.Range() != 0 {
		t.Error("an empty gate must be silent")
	}
	// Two levels, both above the relative gate: the plain energy mean.
	for range 100 {
		g.Add(LUFS(-20).Energy())
		g.Add(LUFS(-25).Energy())
	}
	want := float64(OfEnergy((LUFS(-20).Energy() + LUFS(-25).Energy()) / 2))
	if got := float64(g.Integrated()); math.Abs(got-want) > 1e-9 {
		t.Errorf("integrated %.12f, want %.12f", got, want)
	}
	// Blocks under the absolute gate change nothing, nor do those under the
	// relative one; broken energies are not blocks.
	before := g.Integrated()
	for _, z := range []float64{LUFS(-71).Energy(), LUFS(-40).Energy(), math.NaN(), math.Inf(1), -1, 0} {
		g.Add(z)
	}
	if math.Abs(float64(g.Integrated()-before)) > 0.05 {
		t.Errorf("quiet blocks moved the loudness from %v to %v", before, g.Integrated())
	}
}

// A tone between the samples: the interpolator may under-read by the grid,
// 20·log10(cos(π·f/(n·fs))) (BS.1770-4 annex 2), and over-read by its ripple.
func TestInterpolatorReadsWithinTheGrid(t *testing.T) {
	for _, factor := range []int{2, 4, 8} {
		in := NewInterpolator(factor)
		for _, f := range []float64{0.05, 0.1, 0.25, 0.333, 0.4, 0.44} {
			worst := 20 * math.Log10(math.Cos(math.Pi*f/float64(factor)))
			for step := range 16 {
				x := sine(f*48000, 1, float64(step)*math.Pi/16, 48000, 0, 2000)
				p := newPeaks(in)
				p.write(x)
				got := 20 * math.Log10(p.highAfter(x))
				if got < worst-0.04 || got > 0.04 {
					t.Errorf("%d-fold, f %.3f, phase %d/16: %.4f dB, want %.4f to 0", factor, f, step, got, worst)
				}
			}
		}
	}
}

// highAfter returns the peak of the steady part: the hard start and end of the
// test tone ring, rightly, above its amplitude.
func (p *peaks) highAfter(x []float64) float64 {
	var high float64
	for i := 2 * Reach; i+2*Reach < len(x)-2*Reach; i++ {
		high = max(high, math.Abs(x[i]), p.in.Peak(x[i:i+2*Reach]))
	}
	return high
}
