package align

import (
	"math"

	"ripieno/mix/tempo"
)

// grid is the tempo map as placing needs it: where notes may begin.
type grid struct {
	start, end, cue float64 // guide seconds; cue is NaN without a count-in
	beats           []tempo.Beat
	measureLen      []int // per beat, beats in its measure
	slots           []slot
	density         []densities // every gridStep from origin
	usual           []float32   // log of the density for a player of whom nothing is known
	origin          float64
	first           []int // index of the slot at or before each density step
	slotOf          []int // per beat and one more, index of its first slot
}

// slot is a place on the beat or between beats where a note may begin.
type slot struct {
	at    float64
	class int     // see classes
	beat  int     // index into beats
	phase float64 // within the beat, 0..1
}

// Classes of slots: on the beat, half way, quarters of it, thirds of it. Each
// has one slot in a beat. With both thirds in one class, a player who plays on
// the beat and a third after it would look tidier two thirds of a beat away.
const (
	onBeat = iota
	onHalf
	firstQuarter
	lastQuarter
	firstThird
	lastThird
	classes
)

// usual is how much of the playing lies on each class before anything is
// known of a player.
var usual = [classes]float64{onBeat: 0.45, onHalf: 0.3, firstQuarter: 0.065, lastQuarter: 0.065, firstThird: 0.06,
	lastThird: 0.06}

// densities is, for one moment, how much likelier a note is there than
// anywhere, for a player who plays on slots of one class only.
type densities [classes]float32

// gridStep, in seconds, is the resolution of the tables of densities: an eleventh of the
// scatter that they are smeared by.
const gridStep = 0.002

// gridSigma is the scatter of players about the grid that the search assumes,
// seconds: Rasch (1979) found 27 to 49 ms between trained players of a trio;
// a player against a click in the ear does somewhat better.
const gridSigma = 0.022

// newGrid lists the places of a tempo map at which notes may begin. In the count-in nobody
// plays: its beats have no slots.
func newGrid(m *tempo.Map) *grid {
	g := &grid{start: m.Start(), end: m.End(), cue: m.Cue()}
	for b := range m.Beats() {
		g.beats = append(g.beats, b)
	}
	g.measureLen = make([]int, len(g.beats))
	for i, b := range g.beats {
		g.measureLen[i] = max(1, m.Meter(b.Measure).Beats())
		g.slotOf = append(g.slotOf, len(g.slots))
		if b.CountIn {
			continue
		}
		for _, p := range phases(m, b) {
			at := b.Seconds + p.phase*b.Length
			if p.phase > 0 && b.Length > 0 {
				at = within(m, b, p.phase)
			}
			g.slots = append(g.slots, slot{at: at, class: p.class, beat: i, phase: p.phase})
		}
	}
	g.slotOf = append(g.slotOf, len(g.slots))
	g.tabulate()
	return g
}

// within returns the guide time of a phase inside a beat: not a plain fraction of
// its length when the tempo is changing.
func within(m *tempo.Map, b tempo.Beat, phase float64) float64 {
	q0, q1 := m.QuartersAt(b.Seconds), m.QuartersAt(b.Seconds+b.Length)
	t := m.SecondsAt(q0 + phase*(q1-q0))
	if t < b.Seconds || t > b.Seconds+b.Length {
		return b.Seconds + phase*b.Length // a hold inside the beat
	}
	return t
}

// phase is where in a beat a slot lies, 0 to 1, and of which class it is.
type phase struct {
	phase float64
	class int
}

// phases returns the slots of a beat by its length: in a beat of a third of a second hardly
// anybody plays quarters or thirds, and tables of them would fit any playing a little.
func phases(m *tempo.Map, b tempo.Beat) []phase {
	compound := m.Meter(b.Measure).Unit().Num == 3
	switch {
	case compound:
		return []phase{{0, onBeat}, {1.0 / 3, firstThird}, {2.0 / 3, lastThird}}
	case b.Length < 0.36:
		return []phase{{0, onBeat}, {0.5, onHalf}}
	case b.Length < 0.55:
		return []phase{{0, onBeat}, {0.25, firstQuarter}, {0.5, onHalf}, {0.75, lastQuarter}}
	}
	return []phase{{0, onBeat}, {0.25, firstQuarter}, {1.0 / 3, firstThird}, {0.5, onHalf}, {2.0 / 3, lastThird},
		{0.75, lastQuarter}}
}

// tabulate fills density and first.
func (g *grid) tabulate() {
	g.origin = g.start - 0.3
	n := int((g.end-g.origin+0.3)/gridStep) + 1
	g.density = make([]densities, max(n, 1))
	g.first = make([]int, len(g.density))
	for _, s := range g.slots {
		b := g.beats[s.beat]
		top := b.Length / (gridSigma * math.Sqrt(2*math.Pi))
		c := int((s.at - g.origin) / gridStep)
		reach := int(4 * gridSigma / gridStep)
		for i := max(0, c-reach); i <= min(len(g.density)-1, c+reach); i++ {
			u := (g.origin + float64(i)*gridStep - s.at) / gridSigma
			g.density[i][s.class] += float32(top * math.Exp(-u*u/2))
		}
	}
	for _, d := range g.density {
		var s float64
		for k, v := range d {
			s += usual[k] * float64(v)
		}
		g.usual = append(g.usual, float32(math.Log(strayShare+(1-strayShare)*s)))
	}
	k := 0
	for i := range g.first {
		t := g.origin + float64(i)*gridStep
		for k+1 < len(g.slots) && g.slots[k+1].at <= t {
			k++
		}
		g.first[i] = k
	}
}

// at returns the table's row for a guide time, or nil outside the music.
func (g *grid) at(guide float64) *densities {
	i := int(math.Round((guide - g.origin) / gridStep))
	if i < 0 || i >= len(g.density) {
		return nil
	}
	return &g.density[i]
}

// nearestOf returns the nearest slot among some classes; nil without any.
func (g *grid) nearestOf(guide float64, use [classes]bool) *slot {
	if len(g.slots) == 0 {
		return nil
	}
	i := int((guide - g.origin) / gridStep)
	k := g.first[max(0, min(len(g.first)-1, i))]
	var best *slot
	for j := max(0, k-4); j <= min(len(g.slots)-1, k+5); j++ {
		s := &g.slots[j]
		if use[s.class] && (best == nil || math.Abs(s.at-guide) < math.Abs(best.at-guide)) {
			best = s
		}
	}
	return best
}

// beatNear returns the guide time of the beat nearest to a guide time.
func (g *grid) beatNear(guide float64) float64 {
	lo, hi := 0, len(g.beats)
	for lo < hi {
		if mid := (lo + hi) / 2; g.beats[mid].Seconds < guide {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	switch {
	case lo == len(g.beats):
		return g.beats[lo-1].Seconds
	case lo > 0 && guide-g.beats[lo-1].Seconds < g.beats[lo].Seconds-guide:
		return g.beats[lo-1].Seconds
	}
	return g.beats[lo].Seconds
}

// startBeat returns the first beat of the piece.
func (g *grid) startBeat() tempo.Beat {
	for _, b := range g.beats {
		if !b.CountIn {
			return b
		}
	}
	return g.beats[len(g.beats)-1]
}
