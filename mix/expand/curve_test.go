package expand

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/quick"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/denoise"
)

// curveOf returns a curve of spans that lie a number of milliseconds apart and last as
// many.
func curveOf(apart []uint16) Curve {
	var c Curve
	at := audio.Frames(0)
	for i := 0; i+1 < len(apart) && i < 12; i += 2 {
		from := at + 48*(1+audio.Frames(apart[i]%3000))
		at = from + 48*(1+audio.Frames(apart[i+1]%3000))
		c = append(c, Span{from, at})
	}
	return c
}

// Whatever the spans, the gain is 0 dB inside of them and nowhere positive, never below
// the depth, and rises before a span as it falls behind one: without a jump of more than
// half a decibel.
func TestGainsOfAnyCurve(t *testing.T) {
	laws := func(apart []uint16) bool {
		c := curveOf(apart)
		if len(c) == 0 {
			return c.DB(123) == -float64(Depth)
		}
		end := c[len(c)-1].To + 2*audio.Rate
		last := c.DB(-audio.Rate)
		for f := -audio.Frames(audio.Rate) + 97; f < end; f += 97 {
			g := c.DB(f)
			inside := slices.ContainsFunc(c, func(s Span) bool { return s.From <= f && f < s.To })
			if g > 0 || g < -float64(Depth) || inside && g != 0 || g-last > 97*60/float64(Rise)*1.6 ||
				last-g > 97*Fall/audio.Rate+1e-9 {
				t.Logf("frame %d: %v after %v, in a span %v", f, g, last, inside)
				return false
			}
			last = g
		}
		return true
	}
	if err := quick.Check(laws, &quick.Config{MaxCount: 40}); err != nil {
		t.Error(err)
	}
}

// How long a curve is open adds up over any cut, and is nothing outside of its spans.
func TestOpenAddsUp(t *testing.T) {
	laws := func(apart []uint16, cut uint32) bool {
		c := curveOf(apart)
		const end = 20_000 * 48
		at := audio.Frames(cut % end)
		all := audio.Frames(0)
		for _, s := range c {
			all += s.To - s.From
		}
		return c.Open(0, at)+c.Open(at, 1<<40) == all && c.Open(at, at) == 0 && c.Open(at, at-1) <= 0
	}
	if err := quick.Check(laws, nil); err != nil {
		t.Error(err)
	}
}

// A curve of nothing closes everything by its depth, and a block of nothing stays so.
func TestNothingIsOpen(t *testing.T) {
	b := audio.Block{{1, -1, 0.5}, {1, 1, 1}}
	Curve(nil).Apply(b, 0)
	want := math.Pow(10, -float64(Depth)/20)
	for ch := range b {
		for i, v := range b[ch] {
			if math.Abs(math.Abs(v)-want*[2][3]float64{{1, 1, 0.5}, {1, 1, 1}}[ch][i]) > 1e-12 {
				t.Errorf("channel %d: %v", ch, b[ch])
			}
		}
	}
	Curve{{0, 10}}.Apply(audio.Block{}, 0)
	Curve{{0, 10}}.Apply(audio.NewBlock(2, 0), 5)
	open := audio.Block{{1, 2, 3}}
	if (Curve{{-5, 100}}).Apply(open, 0); !slices.Equal(open[0], []float64{1, 2, 3}) {
		t.Errorf("an open curve changes %v", open)
	}
}

// A source that fails is told, and one of nothing has no phrases.
func TestFindingInNothing(t *testing.T) {
	x := hiss(3, 2, -60)
	noise, err := denoise.Listen(audio.NewMemory(audio.Block{x}, rate), rate)
	if err != nil {
		t.Fatal(err)
	}
	broken := errors.New("cut off")
	if _, err := Find(&audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, rate), Left: 30_000, Err: broken},
		noise, Piece{From: 0, To: 2}); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	p, err := Find(audio.NewMemory(audio.Block{nil}, rate), noise, Piece{From: 0, To: 2})
	if err != nil || len(p.Phrases) != 0 || !math.IsNaN(p.Distance) {
		t.Errorf("%+v, %v", p, err)
	}
}

// Whatever the rate of a recording, telephones' among them, its phrases have a beginning
// and an end, and the end is behind what was played.
func TestPhrasesAtAllRates(t *testing.T) {
	for _, hz := range []int{4000, 6000, 8000, 8533, 11025, 16000, 44100, 96000, 192000, 384000} {
		rng := rand.New(rand.NewPCG(9, uint64(hz)))
		x := make([]float64, 6*hz)
		for i := range x {
			x[i] = 1e-4 * rng.NormFloat64()
			if at := float64(i) / float64(hz); at > 2 && at < 4 {
				x[i] += 0.1 * math.Sin(2*math.Pi*300*at)
			}
		}
		src := audio.NewMemory(audio.Block{x}, hz)
		_, p, err := Hear(src, int64(3*hz/2), Piece{From: 2, To: 5})
		if err != nil || len(p.Phrases) != 1 || math.IsNaN(p.Distance) {
			t.Errorf("%d Hz: %+v, %v", hz, p, err)
			continue
		}
		if f := p.Phrases[0]; !(f.From < 2.02 && f.From > 1.5) || !(f.To > 4 && f.To < 6) {
			t.Errorf("%d Hz: played from %v to %v", hz, f.From, f.To)
		}
	}
}
