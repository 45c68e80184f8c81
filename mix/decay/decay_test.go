package decay

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// space is a room of the tests, by its own figures.
type space struct {
	decay  float64 // seconds to −60 dB
	direct float64 // of the direct sound over the reverberation, dB
	noise  float64 // under a clap's peak, dB
}

// clapIn returns three seconds at rate in which somebody claps at 1 s, in a room whose
// reverberation is white noise that dies away.
func clapIn(s space, rate int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 5))
	dry := make([]float64, rate/20) // a burst that dies away by 60 dB in 35 ms
	power := 0.0
	for i := range dry {
		dry[i] = rng.NormFloat64() * math.Exp(-float64(i)/float64(rate)/0.005)
		power += dry[i] * dry[i]
	}
	answer := make([]float64, int(1.3*s.decay*float64(rate)))
	sum := 0.0
	for i := range answer {
		answer[i] = rng.NormFloat64() * math.Pow(10, -3*float64(i)/float64(rate)/s.decay)
		sum += answer[i] * answer[i]
	}
	scale := math.Pow(10, -s.direct/20) / math.Sqrt(sum)
	x := make([]float64, 3*rate)
	for i := range x {
		x[i] = math.Pow(10, -s.noise/20) * rng.NormFloat64()
	}
	for i, v := range dry {
		x[rate+i] += v
		for k, a := range answer { // the convolution, plainly
			if at := rate + i + k; at < len(x) {
				x[at] += v * a * scale
			}
		}
	}
	return x
}

// The room's own figures are the truth: its decay is exponential by construction, and the
// ratio is that of the energies of its two parts. A single clap of 5 ms is a sample of 40
// numbers at this rate, so three of them are taken together.
func TestRoomsAreMeasured(t *testing.T) {
	for i, s := range []space{{0.2, 8, 60}, {0.35, 0, 60}, {0.35, 12, 60}, {0.6, 5, 50}, {0.6, 5, 70}} {
		const claps = 3
		var mean Room
		for k := range uint64(claps) {
			r, err := Measure(audio.NewMemory(audio.Block{clapIn(s, 8000, 3*uint64(i)+k)}, 8000), 0.8, 1.2)
			if err != nil || !r.Clap {
				t.Fatalf("%+v: %+v, %v", s, r, err)
			}
			mean.Early, mean.Decay, mean.Direct = mean.Early+r.Early/claps, mean.Decay+r.Decay/claps,
				mean.Direct+r.Direct/claps
		}
		if math.Abs(mean.Decay/s.decay-1) > 0.15 || math.Abs(mean.Direct-s.direct) > 2 {
			t.Errorf("%+v: a decay of %.2f s and %.1f dB of direct sound", s, mean.Decay, mean.Direct)
		}
		// ISO 3382-1: of a room without direct sound the early decay is the decay; with
		// more direct sound it is shorter, and a clap's own length is the least.
		if !(mean.Early > 0.01 && mean.Early < 1.3*s.decay) {
			t.Errorf("%+v: an early decay of %.2f s", s, mean.Early)
		}
	}
}

// A room twice as reverberant, all else equal, has 3 dB less direct sound, and another
// rate or a second channel with the same sound changes nothing that counts.
func TestFiguresGoTheRightWay(t *testing.T) {
	at := func(direct float64, rate, channels int) Room {
		x := clapIn(space{0.4, direct, 65}, rate, 9)
		b := make(audio.Block, channels)
		for c := range b {
			b[c] = x
		}
		r, err := Measure(audio.NewMemory(b, rate), 0.8, 1.2)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	a, b, c := at(6, 8000, 1), at(3, 8000, 1), at(6, 8000, 2)
	if math.Abs(a.Direct-b.Direct-3) > 0.7 || !(b.Early > a.Early) {
		t.Errorf("at 6 dB %+v, at 3 dB %+v", a, b)
	}
	if math.Abs(a.Direct-c.Direct) > 1e-6 || math.Abs(a.Decay-c.Decay) > 1e-9 {
		t.Errorf("one channel %+v, two %+v", a, c)
	}
	if d := at(6, 11025, 1); math.Abs(d.Direct-a.Direct) > 1.5 || math.Abs(d.Decay/a.Decay-1) > 0.2 {
		t.Errorf("at 8 kHz %+v, at 11 kHz %+v", a, d)
	}
}

// What is no clap is none: silence, noise, a note that is not over at once is one whose
// decay says nothing of a room, and a clap outside the time that is asked about.
func TestWhatIsNoClap(t *testing.T) {
	const rate = 8000
	silence := make([]float64, 3*rate)
	if r, err := Measure(audio.NewMemory(audio.Block{silence}, rate), 0.8, 1.2); r != (Room{}) || err != nil {
		t.Errorf("silence: %+v, %v", r, err)
	}
	noise := clapIn(space{0.3, 6, 60}, rate, 3)
	if r, _ := Measure(audio.NewMemory(audio.Block{noise}, rate), 1.9, 2.3); r.Clap {
		t.Errorf("noise: %+v", r)
	}
	loud := clapIn(space{0.3, 6, 12}, rate, 3)
	if r, _ := Measure(audio.NewMemory(audio.Block{loud}, rate), 0.8, 1.2); r.Clap {
		t.Errorf("a clap that the noise nearly covers: %+v", r)
	}
	for _, from := range []float64{-5, 2.95, 7} { // nothing is before it, or nothing is there
		if r, err := Measure(audio.NewMemory(audio.Block{noise[:rate/4]}, rate), from, from+0.1); r.Clap || err != nil {
			t.Errorf("from %v: %+v, %v", from, r, err)
		}
	}
}

// Where the decay cannot be followed for 50 ms and 8 dB nothing is said of the room, but
// the clap was heard: noise hides it, or somebody goes on.
func TestWhatCannotBeTold(t *testing.T) {
	const rate = 8000
	untold := func(r Room) bool {
		return r.Clap && math.IsNaN(r.Early) && math.IsNaN(r.Decay) && math.IsNaN(r.Direct)
	}
	if r, _ := Measure(audio.NewMemory(audio.Block{clapIn(space{0.5, 14, 34}, rate, 4)}, rate), 0.8,
		1.2); !untold(r) {
		t.Errorf("in noise: %+v", r)
	}
	again := clapIn(space{0.5, 6, 60}, rate, 5)
	for i, v := range again[rate : rate+rate/20] {
		again[rate+rate/14+i] += v // claps twice
	}
	if r, _ := Measure(audio.NewMemory(audio.Block{again}, rate), 0.8, 1.05); !untold(r) {
		t.Errorf("two claps 70 ms apart: %+v", r)
	}
}

// A source that fails is told.
func TestMeasuringFails(t *testing.T) {
	broken := errors.New("cut off")
	x := clapIn(space{0.3, 6, 60}, 8000, 6)
	src := &audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, 8000), Left: 7000, Err: broken}
	if r, err := Measure(src, 0.8, 1.2); !errors.Is(err, broken) || r.Clap {
		t.Errorf("%+v, %v", r, err)
	}
}
