package align

import (
	"math"
	"slices"
	"sort"
)

// written is a part's notes as a score gives them. Where it is known it takes
// the place of the grid: it says where notes begin, and where none do.
type written struct {
	at  []float64 // guide seconds at which notes begin, in order
	log []float32 // log of how much likelier a note is there than anywhere, every gridStep from the grid's origin
}

// strayShare is the share of notes that are not where they are written.
const strayShare = 0.15

// newWritten returns nil where nothing is written. Times that are not finite or not in the piece are left aside.
func newWritten(g *grid, onsets []float64) *written {
	w := &written{}
	for _, at := range onsets {
		if at > g.start-0.1 && at < g.end {
			w.at = append(w.at, at)
		}
	}
	slices.Sort(w.at)
	w.at = slices.Compact(w.at)
	if len(w.at) == 0 {
		return nil
	}
	density := make([]float64, len(g.density))
	top := (g.end - g.start) / float64(len(w.at)) / (gridSigma * math.Sqrt(2*math.Pi))
	reach := int(4 * gridSigma / gridStep)
	for _, at := range w.at {
		c := int((at - g.origin) / gridStep)
		for i := max(0, c-reach); i <= min(len(density)-1, c+reach); i++ {
			u := (g.origin + float64(i)*gridStep - at) / gridSigma
			density[i] += top * math.Exp(-u*u/2)
		}
	}
	for _, d := range density {
		w.log = append(w.log, float32(math.Log(strayShare+(1-strayShare)*d)))
	}
	return w
}

// nearest returns the written note nearest to a guide time.
func (w *written) nearest(guide float64) float64 {
	i := sort.SearchFloat64s(w.at, guide)
	if i == len(w.at) || i > 0 && guide-w.at[i-1] < w.at[i]-guide {
		i--
	}
	return w.at[i]
}

// noteReach is how far from its place a note still counts as played, seconds.
const noteReach = 0.07

// fit returns how much better the playing of t at o lies on the written notes than
// on any others, and how many of those that the file holds nobody plays.
func (w *written) fit(g *grid, t *take, o float64) (like, missed float64) {
	played := make([]bool, len(w.at))
	for i := range t.f.Events {
		at := t.guide(o, i)
		k := int((at-g.origin)/gridStep + 0.5)
		if t.weight[i] < 0.1 || k < 0 || k >= len(w.log) {
			continue
		}
		like += t.weight[i] * float64(w.log[k])
		for j := sort.SearchFloat64s(w.at, at-noteReach); j < len(w.at) && w.at[j] <= at+noteReach; j++ {
			played[j] = true
		}
	}
	for j, at := range w.at {
		if !played[j] && at > o && at < o+t.f.Duration {
			missed++
		}
	}
	return like, missed
}

// follows reports whether the file at o plays what is written at all: most of
// its clear notes are, and most written ones it holds are played. Otherwise the
// score is another edition, or the player took another part.
func (w *written) follows(g *grid, t *take, o float64) bool {
	var on, all float64
	for i := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.3 && at > g.start-0.1 && at < g.end {
			all++
			if math.Abs(at-w.nearest(at)) < noteReach {
				on++
			}
		}
	}
	held := 0.0
	for _, at := range w.at {
		if at > o && at < o+t.f.Duration {
			held++
		}
	}
	_, missed := w.fit(g, t, o)
	return on > 0.6*all && missed < 0.5*held
}
