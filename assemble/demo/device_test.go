package demo

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/assemble/demo/instrument"
)

func chance() *rand.Rand { return rand.New(rand.NewPCG(1, 2)) }

// Two short swells a minute apart arrive in the file at the seconds that
// offset and drift say, to a microsecond, at any rate: the definition
// guide = offset + t·(1 + drift·1e-6) turned round.
func TestClock(t *testing.T) {
	const start, first, second, width = -2.0, 0.7313, 60.2219, 0.002
	air := make([]float64, 64*instrument.Rate)
	for i := range air {
		at := start + float64(i)/instrument.Rate
		for _, g := range []float64{first, second} {
			if d := (at - g) / width; math.Abs(d) < 6 {
				air[i] += math.Exp(-d * d / 2)
			}
		}
	}
	for _, c := range []clock{{-1.5, 0, 62.5}, {-1.5, 80, 62.5}, {0.2004, -80, 61}, {-0.33, 450, 61}} {
		for _, rate := range []int{44100, 48000} {
			out := make([]float64, int(c.length*float64(rate)))
			c.sample(out, rate, air, start, 0.5)
			for _, g := range []float64{first, second} {
				want := (g - c.offset) / (1 + c.drift*1e-6)
				sum, weight := 0.0, 0.0
				for i := int((want - 0.02) * float64(rate)); i < int((want+0.02)*float64(rate)); i++ {
					sum += out[i] * float64(i) / float64(rate)
					weight += out[i]
				}
				if got := sum / weight; math.Abs(got-want) > 1e-6 {
					t.Errorf("%+v at %d Hz: %.7f s into the file, want %.7f", c, rate, got, want)
				}
				if area := weight / float64(rate) * (1 +
					c.drift*1e-6); math.Abs(area/(0.5*width*math.Sqrt(2*math.Pi))-1) > 1e-4 {
					t.Errorf("%+v at %d Hz: gain is off by %g", c, rate, area/(0.5*width*math.Sqrt(2*math.Pi)))
				}
			}
			if g := 17.77; math.Abs(c.guide(c.file(g))-g) > 1e-12 {
				t.Errorf("%+v: file and guide do not undo each other", c)
			}
		}
	}
}

// The interpolator keeps a tone: what is left of 997 Hz and 9 kHz after the
// ideal one is taken away.
func TestClockIsClean(t *testing.T) {
	c := clock{offset: 0.1, drift: 61.3, length: 0.8}
	for _, hz := range []float64{997, 9000} {
		air := make([]float64, instrument.Rate)
		for i := range air {
			air[i] = math.Sin(2 * math.Pi * hz * float64(i) / instrument.Rate)
		}
		out := make([]float64, int(c.length*44100))
		c.sample(out, 44100, air, 0, 1)
		worst := 0.0
		for i := 100; i < len(out)-100; i++ {
			worst = max(worst, math.Abs(out[i]-math.Sin(2*math.Pi*hz*c.guide(float64(i)/44100))))
		}
		if worst > 1e-3 {
			t.Errorf("%g Hz: off by %.1f dB", hz, 20*math.Log10(worst))
		}
	}
}

func TestLimit(t *testing.T) {
	last := -1.0
	for i := -400; i <= 400; i++ {
		x := float64(i) / 100
		y := limit(x)
		if y < last || math.Abs(y) > 0.99 || math.Abs(x) <= 0.8 && y != x || y != -limit(-x) {
			t.Errorf("limit(%g) = %g after %g", x, y, last)
		}
		last = y
	}
}

// tone returns a second of silence, two of a steady tone, one of silence.
func tone() []float64 {
	x := make([]float64, 4*instrument.Rate)
	for i := instrument.Rate; i < 3*instrument.Rate; i++ {
		x[i] = 0.05 * math.Sin(2*math.Pi*440*float64(i)/instrument.Rate)
	}
	return x
}

func decibels(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x)))
}

// Playing comes out at the level asked for, noise at its own.
func TestRecordLevels(t *testing.T) {
	for _, m := range []microphone{
		{rate: 48000, channels: 1, level: -24, noise: -70, cut: 30},
		{rate: 44100, channels: 2, level: -43, noise: -60, cut: 30},
		{rate: 48000, channels: 1, level: -13, noise: -54, cut: 30},
	} {
		m.clock = clock{0.3, 50, 3.5}
		b := m.record(tone(), 0, chance())
		if len(b) != m.channels || b.Frames() != int(3.5*float64(m.rate)) {
			t.Fatalf("%d channels of %d frames", len(b), b.Frames())
		}
		at := func(sec float64) int { return int(sec * float64(m.rate)) }
		for c := range b {
			if got := decibels(b[c][at(1):at(2.5)]); math.Abs(got-m.level) > 0.7 {
				t.Errorf("channel %d: playing at %.1f dB, want %g", c, got, m.level)
			}
			// White noise in ±level has a mean square a third of it; the
			// murmur as much again and a bit.
			if got := decibels(b[c][at(3.0):at(3.2)]); math.Abs(got-m.noise+1.4) > 1.5 {
				t.Errorf("channel %d: noise at %.1f dB, want about %g", c, got, m.noise)
			}
		}
		if m.channels == 2 && decibels(minus(b[0], b[1])) < -90 {
			t.Error("both channels hear the same")
		}
	}
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

func TestHum(t *testing.T) {
	x := make([]float64, 44100)
	microphone{rate: 44100, noise: -90, hum: -50}.addNoise(x, chance())
	s, c := 0.0, 0.0
	for i, v := range x {
		a, b := math.Sincos(2 * math.Pi * 50 * float64(i) / 44100)
		s, c = s+v*a, c+v*b
	}
	if got := 20 * math.Log10(math.Hypot(s, c)*2/44100/math.Sqrt2); got < -55 || got > -48 {
		t.Errorf("50 Hz at %.1f dB RMS, want about -53 of -50 in all", got)
	}
	if got := decibels(x); math.Abs(got+50) > 1 {
		t.Errorf("hum at %.1f dB, want -50", got)
	}
}

// A room rings on, and dies.
func TestRoom(t *testing.T) {
	x := make([]float64, 2*instrument.Rate)
	x[1000] = 1
	out := make([]float64, len(x))
	echo(out, x, 0.6, chance())
	reverberate(out, x, 0.6, chance())
	for i := range 1000 {
		if out[i] != 0 {
			t.Fatalf("the room sounds before the clap, at %d", i)
		}
	}
	near, far := decibels(out[4000:8000]), decibels(out[4000+19200:8000+19200])
	if fall := near - far; fall < 45 || fall > 90 { // 60 dB in 0.4 s, high tones faster
		t.Errorf("the room falls by %.0f dB in 0.4 s", fall)
	}
}

func TestLoudnessIsOfThePlaying(t *testing.T) {
	if got := 20 * math.Log10(loudness(tone())); math.Abs(got-(-26.02-3.01)) > 0.1 {
		t.Errorf("a tone of -29.03 dB between silences is %.2f dB", got)
	}
	if got := loudness(nil); got != 0 {
		t.Errorf("nothing is %g loud", got)
	}
}

func BenchmarkRecord(b *testing.B) {
	m := phone("x", 44100, 1)
	m.clock = clock{0.1, 40, 3.5}
	dry := tone()
	for b.Loop() {
		m.record(dry, 0, chance())
	}
}
