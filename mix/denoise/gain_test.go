package denoise

import (
	"math"
	"testing"
)

// Abramowitz and Stegun (1964), table 5.1 and its continuation: E₁ of some
// arguments, from memory, confirmed with scipy.special.exp1 1.10.1.
func TestE1(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{
		{0.001, 6.331539364136149}, {0.1, 1.822923958419391}, {0.5, 0.5597735947761608}, {1, 0.21938393439552062},
		{2, 0.04890051070806112}, {5, 0.001148295591275326}, {10, 4.156968929685324e-06},
	} {
		if got := E1(c.x); math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("E1(%v) = %v, want %v", c.x, got, c.want)
		}
	}
}

// The table gives the factor within a hundredth of a decibel everywhere.
func TestLiftIsE1(t *testing.T) {
	worst := 0.0
	for e := -30.0; e < 8; e += 0.0137 {
		v := math.Exp2(e)
		worst = max(worst, math.Abs(20*math.Log10(lift(v)/math.Exp(0.5*E1(v)))))
	}
	if worst > 0.003 {
		t.Errorf("the table is off by %.4f dB", worst)
	}
}

// Gains of the estimator. Figure 1 of Ephraim and Malah (1985) draws them; the
// numbers are its equation 20 evaluated with scipy 1.10.1. A line that stands
// far over the noise is left as it is, whatever comes before.
func TestGain(t *testing.T) {
	for _, c := range []struct{ prior, after, wantDB float64 }{
		{1, 1, -3.5895}, {10, 10, -0.8278}, {0.1, 2, -15.176}, {100, 100, -0.0864}, {0.01, 1, -22.507},
	} {
		v := c.prior / (1 + c.prior) * c.after
		want := 20 * math.Log10(c.prior/(1+c.prior)*math.Exp(0.5*E1(v)))
		if got := 20 * math.Log10(Gain(c.prior, c.after)); math.Abs(got-want) > 0.003 || math.Abs(got-c.wantDB) > 0.05 {
			t.Errorf("prior %v, after %v: %.3f dB, want %.3f (%.3f)", c.prior, c.after, got, want, c.wantDB)
		}
	}
	if g := Gain(1e-3, 1e-9); g > 1 {
		t.Errorf("a gain of %v over 1", g)
	}
}
