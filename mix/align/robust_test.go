package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A third of the points may be anywhere; the line must not notice.
func TestFitLineResistsOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, slope := range []float64{0, 80e-6, -600e-6} {
		var x, y []float64
		for i := range 120 {
			x = append(x, float64(i)*2.5)
			v := 0.25 + slope*x[i] + 1e-4*r.NormFloat64()
			if i%3 == 0 {
				v = 0.2 * r.NormFloat64()
			}
			y = append(y, v)
		}
		l := fitLine(x, y, nil, 1e-5)
		if math.Abs(l.slope-slope) > 1e-6 || math.Abs(l.at-0.25) > 1.5e-4 {
			t.Errorf("slope %g: found %g and %g", slope, l.slope, l.at)
		}
		if l.n < 70 || l.n > 90 {
			t.Errorf("slope %g: %d points on the line, want about 80", slope, l.n)
		}
		if l.slopeErr > 1e-6 || l.slopeErr <= 0 {
			t.Errorf("slope %g: standard error %g", slope, l.slopeErr)
		}
	}
}

func TestFitLineSmall(t *testing.T) {
	if l := fitLine(nil, nil, nil, 1); !math.IsNaN(l.at) || !math.IsInf(l.slopeErr, 1) {
		t.Errorf("no points: %+v", l)
	}
	if l := fitLine([]float64{3}, []float64{7}, nil, 1); l.value(3) != 7 || l.slope != 0 {
		t.Errorf("one point: %+v", l)
	}
	same := fitLine([]float64{5, 5, 5}, []float64{1, 2, 3}, nil, 0.1)
	if same.slope != 0 || math.Abs(same.value(5)-2) > 0.2 {
		t.Errorf("one moment: %+v", same)
	}
	weighted := fitLine([]float64{0, 0, 0, 0}, []float64{0, 0.01, 1, 1.01}, []float64{1, 1, 0, 0}, 5)
	if math.Abs(weighted.at-0.005) > 1e-3 {
		t.Errorf("weights ignored: %g", weighted.at)
	}
}

// Points on a line among points anywhere are found even when they are few.
func TestConsensus(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var x, y []float64
	for i := range 40 {
		x = append(x, float64(i)*3)
		y = append(y, 0.2*(r.Float64()-0.5))
		if i%4 == 0 {
			y[i] = 0.01 + 100e-6*x[i]
		}
	}
	kx, ky := consensus(x, y, 0.0005, 200e-6)
	if len(kx) < 10 || len(kx) > 12 {
		t.Fatalf("%d points kept, want 10", len(kx))
	}
	for i := range kx {
		if math.Abs(ky[i]-0.01-100e-6*kx[i]) > 0.001 {
			t.Errorf("kept %g, %g", kx[i], ky[i])
		}
	}
	if kx, _ := consensus(x, y, 0.0005, 10e-6); len(kx) > 6 {
		t.Errorf("a line steeper than allowed was found: %d points", len(kx))
	}
}
