package flash

import (
	"math"
	"testing"
)

// watch runs a film of 64x36 whose grey value at a place and time f gives.
func watch(t *testing.T, fps, seconds float64, f func(x, y, now float64) float64) Result {
	t.Helper()
	c := NewCounter(fps)
	pix := make([]byte, 64*36)
	for k := range int(seconds * fps) {
		for i := range pix {
			pix[i] = byte(f(float64(i%64)/64, float64(i/64)/36, float64(k)/fps))
		}
		if err := c.Add(pix); err != nil {
			t.Fatal(err)
		}
	}
	return c.Result()
}

// square is a value that alternates so many times a second.
func square(now, hertz, a, b float64) float64 {
	if math.Mod(now*hertz+1e-9, 1) < 0.5 {
		return a
	}
	return b
}

// grey is the value of a luminance.
func grey(cd float64) float64 { return 255 * math.Pow(cd/200, 1/2.4) }

// The limits of ITU-R BT.1702-2, each from both sides.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		name    string
		fps     float64
		f       func(x, y, now float64) float64
		flashes int // in the worst second, ±1 for where the second begins
		bad     bool
	}{
		{"a still picture", 30, func(_, _, _ float64) float64 { return 200 }, 0, false},
		{"three a second", 30, func(_, _, now float64) float64 { return square(now, 3, 20, 240) }, 3, false},
		{"five a second", 30, func(_, _, now float64) float64 { return square(now, 5, 20, 240) }, 5, true},
		{"five a second at 25", 25, func(_, _, now float64) float64 { return square(now, 5, 20, 240) }, 5, true},
		{"twelve a second", 60, func(_, _, now float64) float64 { return square(now, 12, 20, 240) }, 12, true},
		{"a fifth of the picture", 30, func(x, _, now float64) float64 {
			if x > 0.2 {
				return 100
			}
			return square(now, 8, 20, 240)
		}, 0, false},
		{"a third of the picture", 30, func(x, _, now float64) float64 {
			if x > 0.34 {
				return 100
			}
			return square(now, 5, 20, 240)
		}, 5, true},
		{"15 cd/m² of change", 30, func(_, _, now float64) float64 { return square(now, 5, grey(50), grey(65)) }, 0, false},
		{"25 cd/m² of change", 30, func(_, _, now float64) float64 { return square(now, 5, grey(50), grey(75)) }, 5, true},
		{"bright states", 30, func(_, _, now float64) float64 { return square(now, 5, grey(165), grey(199)) }, 0, false},
		{"a slow fade", 30, func(_, _, now float64) float64 { return 127 + 120*math.Sin(2*math.Pi*now) }, 1, false},
		{"one cut a beat", 30, func(_, _, now float64) float64 { return square(now, 1, 30, 220) }, 1, false},
	} {
		r := watch(t, c.fps, 4, c.f)
		if r.TooMany() != c.bad || r.Flashes < c.flashes-1 || r.Flashes > c.flashes+1 {
			t.Errorf("%s: %+v, want %d", c.name, r, c.flashes)
		}
	}
}

func TestTheWorstSecondIsNamed(t *testing.T) {
	r := watch(t, 30, 10, func(_, _, now float64) float64 {
		if now < 6 || now > 7.5 {
			return 30
		}
		return square(now, 6, 30, 230)
	})
	if !r.TooMany() || r.At < 5.9 || r.At > 6.6 {
		t.Errorf("%+v", r)
	}
}

func TestFramesOfAnotherSizeAreRefused(t *testing.T) {
	c := NewCounter(30)
	if c.Add(make([]byte, 10)) != nil || c.Add(make([]byte, 9)) == nil || NewCounter(30).Add(nil) == nil {
		t.Error("frames of one size go in, others do not")
	}
}

func BenchmarkAdd(b *testing.B) {
	c := NewCounter(30)
	pix := make([]byte, 64*36)
	k := 0
	for b.Loop() {
		for i := range pix {
			pix[i] = byte(k * 31)
		}
		k++
		if err := c.Add(pix); err != nil {
			b.Fatal(err)
		}
	}
}
