package declip

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
)

const rate = 48000

// melody is seconds of struck notes of a second each: partials that die away, the upper ones
// sooner. Loudness changes from note to note.
func melody(seconds int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	x := make([]float64, seconds*rate)
	for s := range seconds {
		hz, loud := 150*math.Exp2(2*rng.Float64()), math.Pow(10, -12*rng.Float64()/20)
		for p := 1.0; p <= 8; p++ {
			phase, fall := 2*math.Pi*rng.Float64(), 0.5+p/4
			for i := range rate {
				t := float64(i) / rate
				x[s*rate+i] += loud / p * math.Sin(2*math.Pi*hz*p*t+phase) * math.Exp(-fall*t) * math.Min(1, math.Min(t, 1-t)/0.03)
			}
		}
	}
	return x
}

// clipped returns x cut off where it reaches a level, which is chosen so that the ratio of the
// signal to what is lost is db.
func clipped(x []float64, db float64) (y []float64, level float64) {
	y = make([]float64, len(x))
	low, high := 0.0, 10.0
	for range 50 {
		level = (low + high) / 2
		for i, v := range x {
			y[i] = math.Min(math.Max(v, -level), level)
		}
		if ratio(x, y) < db {
			low = level
		} else {
			high = level
		}
	}
	return y, level
}

// ratio returns the signal-to-distortion ratio of y against x, dB.
func ratio(x, y []float64) float64 {
	signal, off := 0.0, 1e-30
	for i, v := range x {
		signal += v * v
		off += (v - y[i]) * (v - y[i])
	}
	return 10 * math.Log10(signal/off)
}

// readAll reads a source of one channel in pieces of n.
func readAll(t *testing.T, src audio.Source, n int) (out []float64) {
	t.Helper()
	b := audio.NewBlock(src.Channels(), n)
	for {
		got, err := src.Read(b)
		out = append(out, b[0][:got]...)
		if err == io.EOF {
			return out
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// heard returns where samples are clipped.
func heard(t *testing.T, x []float64) Clip {
	t.Helper()
	l := Listen(audio.NewMemory(audio.Block{x}, rate))
	if got := readAll(t, l, 1000); len(got) != len(x) {
		t.Fatalf("%d samples of %d went through", len(got), len(x))
	}
	return l.Clip()
}

// What is drawn again is nearer to what was played, at every depth; what was whole stays to
// the bit. The truth is the signal before it was clipped. Its notes are 12 dB apart, so that the
// loud ones have lost far more than the ratio says; sampled instruments gain more (mix/README).
func TestDrawnAgainstTruth(t *testing.T) {
	x := melody(8, 1)
	for _, c := range []struct{ at, gain float64 }{{7, 1.2}, {10, 1.8}, {15, 2.5}, {20, 5}} {
		y, level := clipped(x, c.at)
		clip := heard(t, y)
		if !clip.Any() {
			t.Errorf("at %g dB nothing is heard to be clipped", c.at)
			continue
		}
		l := clip.Levels[0]
		if !(l.High <= level && l.High > 0.9*level && l.Low <= level && l.Low > 0.9*level) {
			t.Errorf("clipped at %.3f, heard %+v", level, l)
		}
		z := readAll(t, New(audio.NewMemory(audio.Block{y}, rate), clip), 777)
		if got := ratio(x, z) - ratio(x, y); got < c.gain {
			t.Errorf("at %g dB: %.1f dB nearer, want %g", c.at, got, c.gain)
		} else {
			t.Logf("at %g dB: %.1f dB nearer", c.at, got)
		}
		share := 0
		for i, v := range y {
			switch whole := l.clips(v) == 0; {
			case whole && z[i] != v:
				t.Fatalf("sample %d was whole and went from %v to %v", i, v, z[i])
			case !whole && math.Abs(z[i]) < math.Abs(v):
				t.Fatalf("the top at %d went down from %v to %v", i, v, z[i])
			case !whole:
				share++
			}
		}
		if want := float64(share) / float64(len(y)); math.Abs(clip.Share-want) > 0.1*want {
			t.Errorf("%.4f of the samples are said to be clipped, and %.4f are", clip.Share, want)
		}
	}
}

// Clipping is heard behind a later gain and behind a filter that blurs the flat tops, as a
// codec does, and on one side alone.
func TestClippingIsHeardLater(t *testing.T) {
	y, _ := clipped(melody(8, 2), 10)
	soft, blurred, oneSide := make([]float64, len(y)), make([]float64, len(y)), make([]float64, len(y))
	for i, v := range y {
		soft[i] = 0.13 * v
		oneSide[i] = math.Max(v, -1) // the lower side nearly whole
		for k := -6; k <= 6; k++ {   // a low-pass at 12 kHz: a sinc under a Hann window
			if j := i + k; j >= 0 && j < len(y) {
				h := 0.5
				if k != 0 {
					h = math.Sin(math.Pi*float64(k)/2) / (math.Pi * float64(k))
				}
				blurred[i] += y[j] * h * (0.5 + 0.5*math.Cos(math.Pi*float64(k)/7))
			}
		}
	}
	for name, x := range map[string][]float64{"soft": soft, "blurred": blurred} {
		if c := heard(t, x); !c.Any() || c.Levels[0].High == 0 || c.Levels[0].Low == 0 {
			t.Errorf("%s: %+v", name, c)
		}
	}
	top, _ := clipped(melody(8, 2), 10)
	for i, v := range melody(8, 2) {
		if v < 0 {
			top[i] = v
		}
	}
	if c := heard(t, top); !c.Any() || c.Levels[0].High == 0 || c.Levels[0].Low != 0 {
		t.Errorf("clipped above alone: %+v", c)
	}
}

// Nothing is taken for clipped that is not: notes, a tone of one height from end to end and
// with a slow fade, a square wave, noise, silence. Their samples go through as they are.
func TestWholeTakesStay(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	tone, faded, square := make([]float64, 8*rate), make([]float64, 8*rate), make([]float64, 8*rate)
	noise, silence := make([]float64, 8*rate), make([]float64, 8*rate)
	for i := range tone {
		at := float64(i) / rate
		tone[i] = 0.5 * math.Sin(2*math.Pi*220*at)
		faded[i] = tone[i] * math.Min(1, at/4)
		square[i] = math.Copysign(0.3, tone[i]) * math.Min(1, at/4)
		noise[i] = 0.1 * rng.NormFloat64()
	}
	for name, x := range map[string][]float64{"notes": melody(8, 3), "tone": tone, "faded": faded, "square": square,
		"noise": noise, "silence": silence, "none": nil} {
		c := heard(t, x)
		if c.Any() || c.Share != 0 {
			t.Errorf("%s is taken for clipped: %+v", name, c)
		}
		src := audio.NewMemory(audio.Block{x}, rate)
		if got := New(src, c); got != audio.Source(src) {
			t.Errorf("%s is not left alone", name)
		}
	}
}

// broken fails after some frames.
type broken struct {
	audio.Source
	left int
}

var errGone = errors.New("the cable is out")

// Read implements [audio.Source].
func (b *broken) Read(dst audio.Block) (int, error) {
	if b.left -= dst.Frames(); b.left < 0 {
		return 0, errGone
	}
	return b.Source.Read(dst)
}

// The same samples come in pieces of any size, as many as went in, for both channels by their
// own levels; a failure comes through.
func TestDrawingStreams(t *testing.T) {
	y, level := clipped(melody(1, 4), 12)
	y = y[:len(y)-123]
	clip := Clip{Levels: []Level{{High: level, Low: level}, {}}}
	open := func() audio.Source { return New(audio.NewMemory(audio.Block{y, y}, rate), clip) }
	all := audio.NewBlock(2, len(y)+5000)
	n, err := audio.ReadFull(open(), all)
	if n != len(y) || err != io.EOF && err != nil {
		t.Fatalf("%d frames of %d, %v", n, len(y), err)
	}
	drawnAgain := false
	for i, v := range y {
		drawnAgain = drawnAgain || all[0][i] != v
		if all[1][i] != v {
			t.Fatalf("the whole channel changed at %d", i)
		}
	}
	if !drawnAgain {
		t.Error("nothing is drawn again")
	}
	for _, size := range []int{1, 333, 9000} {
		for i, v := range readAll(t, open(), size) {
			if v != all[0][i] {
				t.Fatalf("in pieces of %d, sample %d is %v and not %v", size, i, v, all[0][i])
			}
		}
	}
	bad := New(&broken{audio.NewMemory(audio.Block{y}, rate), 10000}, clip)
	for err = nil; err == nil; {
		_, err = bad.Read(audio.NewBlock(1, 4000))
	}
	if err != errGone {
		t.Errorf("a failure comes as %v", err)
	}
	if got := drawn(-0.5, 7); got != -2 {
		t.Errorf("a top rises without bounds, to %v", got)
	}
}
