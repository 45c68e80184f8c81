package flash

import (
	"math"
	"testing"
)

// watch runs a film of 64x36 whose grey value at a place and time f gives.
func watch(t *testing.T, fps, seconds float64, f func(x, y, now float64) float64) Result {
	t.Helper()
	return watchColour(t, fps, seconds, func(x, y, now float64) [3]float64 {
		v := f(x, y, now)
		return [3]float64{v, v, v}
	})
}

// watchColour returns watch with red, green and blue.
func watchColour(t *testing.T, fps, seconds float64, f func(x, y, now float64) [3]float64) Result {
	t.Helper()
	c := NewCounter(fps)
	pix := make([]byte, 3*64*36)
	for k := range int(seconds * fps) {
		for i := range 64 * 36 {
			for n, v := range f(float64(i%64)/64, float64(i/64)/36, float64(k)/fps) {
				pix[3*i+n] = byte(math.Round(v))
			}
		}
		if err := c.Add(pix); err != nil {
			t.Fatal(err)
		}
	}
	return c.Result()
}

// square returns a value that alternates so many times a second.
func square(now, hertz, a, b float64) float64 {
	if math.Mod(now*hertz+1e-9, 1) < 0.5 {
		return a
	}
	return b
}

// grey returns the value of a luminance.
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
		{"15 cd/m² of change", 30, func(_, _, now float64) float64 { return square(now, 5, grey(50), grey(65)) }, 0,
			false},
		{"25 cd/m² of change", 30, func(_, _, now float64) float64 { return square(now, 5, grey(50), grey(75)) }, 5,
			true},
		{"bright states", 30, func(_, _, now float64) float64 { return square(now, 5, grey(165), grey(199)) }, 0,
			false},
		{"a slow fade", 30, func(_, _, now float64) float64 { return 127 + 120*math.Sin(2*math.Pi*now) }, 1, false},
		{"one cut a beat", 30, func(_, _, now float64) float64 { return square(now, 1, 30, 220) }, 1, false},
	} {
		r := watch(t, c.fps, 4, c.f)
		if r.Red != 0 { // grey is never red
			t.Errorf("%s: %d red flashes", c.name, r.Red)
		}
		if r.TooMany() != c.bad || r.Flashes < c.flashes-1 || r.Flashes > c.flashes+1 {
			t.Errorf("%s: %+v, want %d", c.name, r, c.flashes)
		}
	}
}

// The limits of saturated red, each from both sides, in the terms of WCAG 2.1:
// R/(R+G+B) of 0.8 at either end, (R-G-B)·320 changing by more than 20, zero
// where it is negative. The colours are light, 1 is full.
func TestRedLimits(t *testing.T) {
	for _, c := range []struct {
		name  string
		a, b  [3]float64
		hertz float64
		part  float64 // of the picture
		red   int     // in the worst second, ±1 for where the second begins
		bad   bool
	}{
		{"red and black", [3]float64{.4, 0, 0}, [3]float64{}, 5, 1, 5, true},
		{"three a second", [3]float64{.2, 0, 0}, [3]float64{}, 3, 1, 3, false},
		// As bright as each other (0.0425), so nothing else is seen of it.
		{"red and a grey as bright", [3]float64{.2, 0, 0}, [3]float64{.0425, .0425, .0425}, 5, 1, 5, true},
		{"red and a blue", [3]float64{.2, 0, 0}, [3]float64{0, 0, .5}, 5, 1, 5, true},
		{"a fifth of the picture", [3]float64{.4, 0, 0}, [3]float64{}, 8, .2, 0, false},
		{"a third of the picture", [3]float64{.4, 0, 0}, [3]float64{}, 5, .34, 5, true},
		{"a change of 18", [3]float64{.3, 0, 0}, [3]float64{.3 - 18./320, 0, 0}, 5, 1, 0, false},
		{"a change of 22", [3]float64{.3, 0, 0}, [3]float64{.3 - 22./320, 0, 0}, 5, 1, 5, true},
		{"79 % red", [3]float64{.25, .066, 0}, [3]float64{.05, .05, .05}, 5, 1, 0, false},
		{"81 % red", [3]float64{.25, .058, 0}, [3]float64{.05, .05, .05}, 5, 1, 5, true},
		{"green", [3]float64{0, .08, 0}, [3]float64{}, 5, 1, 0, false},
		{"two reds, less saturated and more", [3]float64{.25, .05, .05}, [3]float64{.3, .01, .01}, 5, 1, 5, true},
	} {
		code := func(l [3]float64) (v [3]float64) {
			for i := range v {
				v[i] = 255 * math.Pow(l[i], 1/2.4)
			}
			return v
		}
		r := watchColour(t, 30, 4, func(x, _, now float64) [3]float64 {
			if x > c.part {
				return [3]float64{90, 90, 90}
			}
			if square(now, c.hertz, 0, 1) == 0 {
				return code(c.a)
			}
			return code(c.b)
		})
		if r.TooMany() != c.bad || r.Red < c.red-1 || r.Red > c.red+1 || c.red == 0 && r.Red != 0 {
			t.Errorf("%s: %+v, want %d red flashes", c.name, r, c.red)
		}
	}
}

// Luminance is of the colours, not of their code values: full blue is 14 cd/m²
// on this display, full red 43, full green 143 (ITU-R BT.709-6 item 3.2).
func TestLuminanceIsThatOfTheColours(t *testing.T) {
	for name, c := range map[string]struct {
		colour [3]float64
		most   int
	}{"blue": {[3]float64{0, 0, 255}, 0}, "green": {[3]float64{0, 255, 0}, 5}} {
		r := watchColour(t, 30, 3, func(_, _, now float64) [3]float64 {
			if square(now, 5, 0, 1) == 0 {
				return c.colour
			}
			return [3]float64{}
		})
		if r.Flashes < c.most-1 || r.Flashes > c.most || r.Red != 0 {
			t.Errorf("%s and black: %+v", name, r)
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
	if c.Add(make([]byte, 12)) != nil || c.Add(make([]byte, 9)) == nil || c.Add(make([]byte, 13)) == nil ||
		NewCounter(30).Add(nil) == nil {
		t.Error("frames of one size go in, others do not")
	}
}

func BenchmarkAdd(b *testing.B) {
	c := NewCounter(30)
	pix := make([]byte, 3*64*36)
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
