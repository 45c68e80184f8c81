package align

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// The vectors were made with scipy 1.10.1 by testdata/gccphat.py: two noisy
// copies of one coloured noise, one of them delayed by a fraction of a sample,
// with and without a reflection; windowed, whitened and transformed back with
// scipy.fft, and the peak taken from the correlation interpolated 64 times.
func TestDelayAgainstSciPy(t *testing.T) {
	data, err := os.ReadFile("testdata/gccphat.json")
	if err != nil {
		t.Fatal(err)
	}
	var v struct {
		Rate  float64
		Cases []struct {
			Delay, Lag float64
			X, Y       []float32
			Around     int
			Corr       []float64
		}
	}
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	nothing := func(float64) float64 { return 0 }
	for _, c := range v.Cases {
		n := len(c.X)
		p := newPHAT(n, v.Rate)
		lag, peak := p.delay(c.X, c.Y, nothing, nothing, v.Rate, 300)
		for i, want := range c.Corr {
			k := (c.Around + i - 4 + n) % n
			if got := p.cor[k] / float64(n); math.Abs(got-want) > 1e-9 {
				t.Errorf("delay %g: correlation at %d is %.12f, scipy has %.12f", c.Delay, k, got, want)
			}
		}
		if math.Abs(lag-c.Lag) > 0.06 {
			t.Errorf("delay %g: found %.3f, scipy's interpolated peak is at %.3f", c.Delay, lag, c.Lag)
		}
		if math.Abs(lag-c.Delay) > 0.15 {
			t.Errorf("delay %g: found %.3f", c.Delay, lag)
		}
		if peak < 8 {
			t.Errorf("delay %g: the peak stands only %.1f above the rest", c.Delay, peak)
		}
	}
}

// Unrelated noise must not look like a delay, and silence must not give NaN.
func TestDelayOfStrangers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const n = 4096
	a, b := make([]float32, n), make([]float32, n)
	for i := range a {
		a[i], b[i] = float32(r.NormFloat64()), float32(r.NormFloat64())
	}
	nothing := func(float64) float64 { return 0 }
	p := newPHAT(n, 16000)
	if _, peak := p.delay(a, b, nothing, nothing, 16000, 1000); peak > 5.5 {
		t.Errorf("unrelated noise gives a peak of %.1f", peak)
	}
	if lag, peak := p.delay(make([]float32, n), b, nothing, nothing, 16000, 1000); lag != 0 || peak != 0 {
		t.Errorf("silence gives lag %g, peak %g", lag, peak)
	}
	loud := func(float64) float64 { return 1e9 }
	if _, peak := p.delay(a, a, loud, nothing, 16000, 1000); peak != 0 {
		t.Errorf("sound below the noise floor gives a peak of %g", peak)
	}
}

// A sine read at shifted, stretched times must be the sine at those times.
func TestWarp(t *testing.T) {
	src := make([]float32, 2000)
	for i := range src {
		src[i] = float32(math.Sin(0.6 * float64(i)))
	}
	dst := make([]float32, 500)
	for _, c := range []struct{ at, ratio float64 }{{100.37, 1}, {700.5, 1.0006}, {20, 0.9994}} {
		warp(dst, src, c.at, c.ratio)
		for i, v := range dst {
			want := math.Sin(0.6 * (c.at + float64(i)*c.ratio))
			if math.Abs(float64(v)-want) > 4e-3 {
				t.Fatalf("at %g ratio %g: sample %d is %g, want %g", c.at, c.ratio, i, v, want)
			}
		}
	}
	warp(dst, src, -2000, 1)
	for i, v := range dst {
		if v != 0 {
			t.Fatalf("before the source: sample %d is %g", i, v)
		}
	}
	warp(dst, src, 1990, 1) // across its end
	if v := dst[400]; v != 0 {
		t.Errorf("after the source: %g", v)
	}
}
