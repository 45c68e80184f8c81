package mix

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// A strip whose recording is clipped has its tops back before anything else is done to it; of
// a whole one nothing is heard, and its samples stay.
func TestTopsOfAStrip(t *testing.T) {
	const rate = audio.Rate
	whole, cut := make([]float64, 8*rate), make([]float64, 8*rate)
	for i := range whole {
		at := float64(i) / rate
		whole[i] = 0.9 * math.Sin(2*math.Pi*220*at) * (0.6 + 0.4*math.Sin(2*math.Pi*0.5*at))
		cut[i] = math.Min(math.Max(whole[i], -0.6), 0.6)
	}
	strip := func(x []float64) Strip {
		return Strip{Name: "horn", LowCut: -1, To: 8 * rate,
			Open: func() (audio.Source, error) { return audio.NewMemory(audio.Block{x}, rate), nil }}
	}
	for _, c := range []struct {
		x    []float64
		clip bool
	}{{cut, true}, {whole, false}} {
		s := strip(c.x)
		h, err := Hear(s, Span{From: rate, To: 8 * rate})
		if err != nil || h.Clip.Any() != c.clip {
			t.Fatalf("heard %+v, %v", h.Clip, err)
		}
		s.Clip = h.Clip
		got := sounding(t, s)
		before, after := 0.0, 0.0
		for i := rate; i < 7*rate; i++ {
			before += math.Pow(c.x[i]-whole[i], 2)
			after += math.Pow(got[i]-whole[i], 2)
		}
		// 1.5 times what is left of it, the loudest moments more: 5.6 dB nearer when this was written.
		if c.clip && after > before/3 || !c.clip && after != 0 {
			t.Errorf("clipped %v: off by %.3g, was %.3g", c.clip, after, before)
		}
	}
}
