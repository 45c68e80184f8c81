package align

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// tune is an uneven rhythm for a piece, and pulse an even one: a note on every
// beat. Both play a constant 12 ms late.
func tune(m *tempo.Map) (tune, pulse []float64) {
	r := rand.New(rand.NewPCG(21, 4))
	for b := range m.Beats() {
		if b.CountIn {
			continue
		}
		pulse = append(pulse, b.Seconds+0.012)
		if b.Downbeat || r.IntN(3) > 0 {
			tune = append(tune, b.Seconds+0.012)
		}
		if r.IntN(3) == 0 {
			tune = append(tune, b.Seconds+b.Length/2+0.012)
		}
	}
	return tune, pulse
}

// since is the notes that a file which begins at a guide time holds.
func since(notes []float64, from float64) []float64 {
	var out []float64
	for _, n := range notes {
		if n > from {
			out = append(out, n)
		}
	}
	return out
}

// A file without a usable cue is placed by its playing where that is safe, and
// otherwise refused with a reason that says what can be done about it: there is
// no cue to listen for.
func TestPlaceWithoutUsableCue(t *testing.T) {
	m := piece(t, 16, 4, 100)
	uneven, even := tune(m)
	beat := 0.6
	middle := m.Start() + 6*4*beat
	band := []Recording{
		{Name: "one", Features: plucks(t, -4.1, m.End()+3, []float64{m.Cue() + 0.02}, uneven, 1)},
		{Name: "two", Features: plucks(t, -8.7, m.End()+2, []float64{m.Cue() - 0.01}, uneven, 2)},
	}
	for _, c := range []struct {
		name  string
		from  float64 // guide time at which the file begins
		end   float64
		notes []float64
		sure  bool
	}{
		{"cue cut off", m.Cue() + 1.03, m.End() + 2, uneven, true},
		{"cue cut off, an even pulse", m.Cue() + 1.03, m.End() + 2, even, false}, // it may lie off the beat
		{"recorded late", middle + 0.17, m.End() + 2, uneven, true},
		{"recorded late, an even pulse", middle + 0.17, m.End() + 2, even, false},
		{"three notes", m.End() - 1.5*beat, m.End() + 2, uneven, false},
	} {
		f := plucks(t, c.from, c.end, nil, since(c.notes, c.from), 9)
		p := Place(m, append(band[:2:2], Recording{Name: "x", Features: f}), nil)[2]
		off := p.Offset - (c.from - 0.012)
		if p.Sure != c.sure {
			t.Errorf("%s: sure is %v, want %v: %+v", c.name, p.Sure, c.sure, p)
		}
		if p.Sure && (math.Abs(off) > 0.01 || p.Method != "playing" || !math.IsNaN(p.CueAt)) {
			t.Errorf("%s: %.0f ms off: %+v", c.name, 1000*off, p)
		}
		if !p.Sure && !strings.Contains(p.Reason, "give") {
			t.Errorf("%s: %q does not say what to do", c.name, p.Reason)
		}
	}
}

// In a file that holds a room and nobody who plays there is nothing to place.
func TestPlaceRoomWithoutPlaying(t *testing.T) {
	m := piece(t, 12, 4, 100)
	f := analyse(t, 16000, sketch(16000, 30, 5))
	p := Place(m, []Recording{{Name: "x", Features: f}}, nil)[0]
	if p.Sure || p.Method == "cue+playing" || !strings.Contains(p.Reason, "give") {
		t.Errorf("%+v", p)
	}
	quiet, err := Analyse(audio.NewMemory(audio.NewBlock(1, 16000*30), 16000))
	if err != nil {
		t.Fatal(err)
	}
	p = Place(m, []Recording{{Name: "x", Features: quiet}}, nil)[0]
	if p.Sure || p.Method != "none" || !strings.Contains(p.Reason, "nothing to hear") || p.Confidence != 0 {
		t.Errorf("%+v", p)
	}
}
