package align

import (
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
)

// A voice that is played five against four of the guide is told by the harmony of at least three others,
// however well its notes lie on the beats; voices at the guide's tempo are not, nor where fewer can tell.
func TestFiveAgainstFour(t *testing.T) {
	t.Parallel()
	e := simulate.New(4400, simulate.Options{Level: simulate.Easy, Players: 5, Seconds: 40, Rate: 16000})
	recs := measured(t, e)
	g := newGrid(e.Map)
	right := Place(e.Map, recs, nil)
	// doubted returns who is doubted of the first n when the recording of index odd, -1 for none, is played
	// slower by a factor from the beginning of the piece on.
	doubted := func(n, odd int, factor float64) (who []int) {
		takes, placed := make([]*take, n), make([]Placement, n)
		for k := range takes {
			takes[k], placed[k] = newTake(&recs[k]), Placement{Name: right[k].Name, Offset: right[k].Offset, Sure: true}
			takes[k].hyps = []hyp{{cue: -1, o: right[k].Offset, p: 1}}
			if k == odd {
				at := audio.Clock{Offset: right[k].Offset}.File(g.start)
				takes[k].ppm = (1/factor - 1) * 1e6
				placed[k].Offset = g.start - at/factor
			}
		}
		doubtFives(g, takes, placed)
		for k, p := range placed {
			if !p.Sure {
				who = append(who, k)
			}
		}
		return who
	}
	if who := doubted(5, -1, 1); len(who) > 0 {
		t.Errorf("at the guide's tempo %v are doubted", who)
	}
	for odd := range 5 {
		for _, factor := range []float64{0.8, 1.25} {
			if who := doubted(5, odd, factor); len(who) != 1 || who[0] != odd {
				t.Errorf("%s at %g: doubted are %v, want %d", recs[odd].Name, factor, who, odd)
			}
		}
	}
	if who := doubted(3, 0, 1.25); len(who) > 0 {
		t.Errorf("among two others %v are doubted", who)
	}
}
