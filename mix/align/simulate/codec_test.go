package simulate

import (
	"math"
	"math/rand/v2"
	"testing"
)

// noise returns white, with a clap's sudden start in its middle.
func noise(n int, number uint64) []float64 {
	r := rand.New(rand.NewPCG(number, 3))
	x := make([]float64, n)
	for i := range x {
		x[i] = 0.001 * r.NormFloat64()
		if i >= n/2 {
			x[i] *= 100 * math.Exp(-float64(i-n/2)/400)
		}
	}
	return x
}

// A transform by the definition: X[k] = Σ x[n] cos(π/N (n+½)(k+½)).
func TestDCT4ByDefinition(t *testing.T) {
	const n = 16
	x, want := noise(n, 1), make([]float64, n)
	for k := range want {
		for i, v := range x {
			want[k] += v * math.Cos(math.Pi/n*(float64(i)+0.5)*(float64(k)+0.5))
		}
	}
	d := newDCT4(n)
	d.transform(x)
	for k := range x {
		if math.Abs(x[k]-want[k]) > 1e-12 {
			t.Errorf("line %d is %g, want %g", k, x[k], want[k])
		}
	}
}

// Blocks all but without rounding add up to what went in, in place and without
// delay: what is left is 60 dB below the loudest.
func TestCodecWithoutRounding(t *testing.T) {
	for _, n := range []int{1, 1000, 1024, 5000} {
		x := noise(n, 2)
		y := append([]float64(nil), x...)
		codec{noise: -250, top: 1e9}.apply(y, 48000)
		for i := range x {
			if math.Abs(x[i]-y[i]) > 2e-3*peak(x) {
				t.Fatalf("%d samples: sample %d was %g and is %g", n, i, x[i], y[i])
			}
		}
	}
}

// Rounding makes the noise that was asked for, above the limit nothing is
// left, and a poor coder lets a clap be heard before it begins.
func TestCodecMakesNoise(t *testing.T) {
	const n = 1 << 15
	r := rand.New(rand.NewPCG(4, 4))
	x := make([]float64, n)
	for i := range x {
		x[i] = 0.1 * r.NormFloat64()
	}
	y := append([]float64(nil), x...)
	codec{noise: -12, top: 1e9}.apply(y, 48000)
	var change []float64
	for i := range x {
		change = append(change, y[i]-x[i])
	}
	if db := 10 * math.Log10(power(change)/power(x)); math.Abs(db+12) > 1.5 {
		t.Errorf("the noise of rounding is %.1f dB, want -12", db)
	}
	echo := map[bool]float64{}
	for _, sharp := range []bool{false, true} {
		y = noise(n, 5)
		codec{noise: -10, top: 16000, sharp: sharp}.apply(y, 48000)
		echo[sharp] = 10 * math.Log10(power(y[n/2-400:n/2-10]))
	}
	if echo[false] < -45 || echo[true] > echo[false]-8 {
		t.Errorf("before the clap %.1f dB, with finer steps %.1f dB", echo[false], echo[true])
	}
	y = append(y[:0], x...)
	codec{noise: -20, top: 4000}.apply(y, 48000)
	rough := 0.0
	for i := 2; i < n; i++ {
		rough += math.Pow(y[i]-2*y[i-1]+y[i-2], 2) // 10 kHz and more, chiefly
	}
	if rough /= n * power(y); rough > 0.05 {
		t.Errorf("%g is left above the limit", rough)
	}
}

// Coders are drawn as the levels promise.
func TestNewCodec(t *testing.T) {
	for _, l := range []Level{Easy, Typical, Hard} {
		none, blunt := 0, 0
		for n := range 400 {
			c := newCodec(rng(uint64(n), "codec", 0), l)
			if c.noise == 0 {
				none++
			} else if c.noise > -7 || c.noise < -26 || c.top < 3600 || c.top > 18000 {
				t.Errorf("%s: %+v", l, c)
			}
			if c.noise != 0 && !c.sharp {
				blunt++
			}
		}
		if share := float64(none) / 400; math.Abs(share-[...]float64{0.5, 0.3, 0.2}[l]) > 0.07 {
			t.Errorf("%s: %.2f of the files are not coded", l, share)
		}
		if l == Easy && blunt > 0 || l == Hard && blunt < 30 {
			t.Errorf("%s: %d coders without finer steps", l, blunt)
		}
	}
}
