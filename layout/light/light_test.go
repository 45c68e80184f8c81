package light

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestMatchBringsTheGroupTogether(t *testing.T) {
	means := []RGB{{.2, .2, .2}, {.15, .14, .13}, {.3, .28, .26}, {.2, .21, .2}, {.19, .2, .22}}
	for i, g := range Match(means) {
		m := means[i]
		after := RGB{m.R * g.R, m.G * g.G, m.B * g.B}
		if r := after.Luminance() / 0.2; math.Abs(math.Log(r)) > 0.12 {
			t.Errorf("picture %d has %.3f of the group's light after %v", i, r, g)
		}
		if r := after.R / after.G; math.Abs(math.Log(r)) > 0.09 {
			t.Errorf("picture %d has red over green of %.3f", i, r)
		}
	}
}

// However far off a picture is, it is changed by a stop and a quarter of tint
// at most.
func TestMatchIsBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	for range 2000 {
		means := make([]RGB, 2+r.IntN(9))
		for i := range means {
			means[i] = RGB{math.Exp(-8 * r.Float64()), math.Exp(-8 * r.Float64()), math.Exp(-8 * r.Float64())}
		}
		for _, g := range Match(means) {
			if g.G > 2+1e-9 || g.G < 0.5-1e-9 || g.R/g.G > 1.25+1e-9 || g.R/g.G < 0.8-1e-9 || g.B/g.G > 1.25+1e-9 ||
				g.B/g.G < 0.8-1e-9 {
				t.Fatalf("gain %v", g)
			}
		}
	}
}

func TestDarknessIsLeftAlone(t *testing.T) {
	one := RGB{1, 1, 1}
	got := Match([]RGB{{0, 0, 0}, {math.NaN(), .1, .1}, {.2, .2, .2}})
	for i, g := range got {
		if g != one {
			t.Errorf("picture %d: %v", i, g)
		}
	}
	if len(Match(nil)) != 0 {
		t.Error("no pictures, no gains")
	}
}

func TestSignalIsTheSameInLinearLight(t *testing.T) {
	g := RGB{1.5, 0.8, 2}
	s := g.Signal()
	for _, v := range []float64{0.05, 0.3, 0.45} {
		if got := Linear(v*s.R) / Linear(v); math.Abs(got-g.R) > 1e-9 {
			t.Errorf("%v becomes %v times the light", v, got)
		}
	}
}
