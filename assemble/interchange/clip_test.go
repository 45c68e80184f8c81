package interchange

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

var rates = []shot.Rate{ntsc, {Num: 24, Den: 1}, {Num: 25, Den: 1}, {Num: 30, Den: 1}, {Num: 50, Den: 1}, double,
	{Num: 24000, Den: 1001}}

// someTimeline returns a film with one random recording in it.
func someTimeline(r *rand.Rand) (Timeline, Media, int, int) {
	t := Timeline{Name: "Small Round", Rate: rates[r.IntN(len(rates))], Zero: 20 * (r.Float64() - 0.2),
		Frames: 1 + r.IntN(3000)}
	m := Media{Name: "a.mov", URL: "../a.mov", Rate: []float64{25, 29.97, 60, 48000, 44100}[r.IntN(5)],
		Channels: 1 + r.IntN(2)}
	m.First = float64(r.IntN(2)) * r.Float64()
	m.Last = m.First + 100*r.Float64()
	m.Clock.Offset, m.Clock.Drift = 60*(r.Float64()-0.5), audio.PPM(800*(r.Float64()-0.5))
	if r.IntN(4) == 0 {
		m.Clock.Drift = 0
	}
	from := r.IntN(t.Frames)
	return t, m, from, from + r.IntN(t.Frames)
}

// TestCut: what a clip plays lies where the recording lies, by the meaning of
// drift and not by the program's own formula turned round; it never leaves the
// file; and no frame is missing that the file could fill.
func TestCut(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 4))
	cut := 0
	for range 3000 {
		tl, m, from, to := someTimeline(r)
		guide := func(second float64) float64 { return m.Clock.Offset + second*(1+float64(m.Clock.Drift)*1e-6) }
		c, ok := tl.Cut(m, from, to)
		// Frames that begin and end inside the file, one by one.
		first, count := -1, 0
		for k := max(from, 0); k < min(to, tl.Frames); k++ {
			if tl.Seconds(k) >= guide(m.First)+1e-6 && tl.Seconds(k+1) <= guide(m.Last)-1e-6 {
				if first < 0 {
					first = k
				}
				count++
			}
		}
		if !ok {
			if count > 1 { // one may go for the reader that knows no speed
				t.Fatalf("%+v: nothing, and %d frames lie inside %+v", tl, count, m)
			}
			continue
		}
		cut++
		if err := (Timeline{Rate: tl.Rate, Frames: tl.Frames, Tracks: []Track{{Clip: c}}}).check(); err != nil {
			t.Fatal(err)
		}
		if got := guide(c.Source); math.Abs(got-tl.Seconds(c.From)) > 1e-9 {
			t.Fatalf("the clip begins at %g, its frame is at %g", got, tl.Seconds(c.From))
		}
		end := c.Source + tl.Rate.Seconds(c.To-c.From)*c.Speed
		if got := guide(end); math.Abs(got-tl.Seconds(c.To)) > 1e-9 {
			t.Fatalf("the clip ends at %g, its frame is at %g", got, tl.Seconds(c.To))
		}
		if plain := c.Source + tl.Rate.Seconds(c.To-c.From); c.Source < m.First || end > m.Last || plain > m.Last {
			t.Fatalf("from %g to %g or %g of a file from %g to %g", c.Source, end, plain, m.First, m.Last)
		}
		// 100 s at 400 ppm are 40 ms: two frames at 59.94.
		if lost := count - (c.To - c.From); first >= 0 && (c.From > first || lost > 3) {
			t.Fatalf("frames %d to %d of %d from %d", c.From, c.To, count, first)
		}
	}
	if cut < 500 {
		t.Fatalf("only %d clips", cut)
	}
	for _, m := range []Media{{First: math.NaN(), Last: 1, Rate: 25}, {Last: math.NaN(), Rate: 25},
		{Last: 1, Rate: 25, Clock: audio.Clock{Offset: math.NaN()}},
		{Last: 1, Rate: 25, Clock: audio.Clock{Offset: 1e300}},
		{Last: 1, Rate: 25, Clock: audio.Clock{Drift: audio.PPM(math.NaN())}}} {
		if c, ok := (Timeline{Rate: ntsc, Frames: 100}).Cut(m, 0, 100); ok {
			t.Errorf("%+v gives %+v", m, c)
		}
	}
}

// TestSpeed: a clock that runs slow by 100 ppm counts 0.9999 s in a second of
// guide time.
func TestSpeed(t *testing.T) {
	tl := Timeline{Rate: shot.Rate{Num: 30, Den: 1}, Frames: 3000}
	c, ok := tl.Cut(Media{Rate: 30, Last: 1000, Clock: audio.Clock{Drift: 100}}, 0, 3000)
	if !ok || math.Abs(c.Speed-0.99990000999900010) > 1e-15 {
		t.Errorf("speed %.17g", c.Speed)
	}
}
