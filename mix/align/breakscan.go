package align

import (
	"math"
)

// breakScan holds what is needed to weigh the breaks of one file.
type breakScan struct {
	g     *grid
	p     *beatPhases
	t     *take
	c     *company
	o     float64   // the base place
	at    []float64 // guide seconds of what sets in, at the base place
	w     []float64
	sound *scan

	agreed map[int][]float64 // see agreeing
}

// split is one way to cut a file in two.
type split struct {
	k     int     // the second part begins with this note
	first float64 // displacement of the first part
	last  float64 // of the second
	v     float64 // nats
	by    string  // what shows it beside the playing, and
	at    float64 // the second of the file where it does
}

func newBreakScan(g *grid, p *beatPhases, t *take, o float64, c *company) *breakScan {
	s := &breakScan{g: g, p: p, t: t, c: c, o: o, sound: &scan{g: g, t: t, clock: 1 + t.ppm*1e-6},
		agreed: map[int][]float64{}}
	s.sound.prepare()
	for i, e := range t.f.Events {
		at := t.guide(o, i) + e.Heard - e.Time
		if w := t.weight[i]; w > 0.2 && at > g.start-breakReach && at < g.end+breakReach {
			s.at, s.w = append(s.at, at), append(s.w, w)
		}
	}
	return s
}

// profile is how likely a note of this file is at each place of the beat, as the log
// of its density against chance.
type beatProfile [breakBins]float64

// fold returns the profile of the notes displaced by d(i).
func (s *breakScan) fold(d func(i int) float64) beatProfile { return s.foldPart(0, len(s.at), d) }

// foldPart is fold of some of the notes.
func (s *breakScan) foldPart(from, to int, d func(i int) float64) (p beatProfile) {
	var sum [breakBins]float64
	total := 0.0
	for i := from; i < to; i++ {
		x := d(i)
		if math.IsNaN(x) {
			continue
		}
		if k := s.p.at(s.at[i] + x); k >= 0 {
			sum[k] += s.w[i]
			total += s.w[i]
		}
	}
	const reach = 5
	for k := range p {
		var v, bell float64
		for j := -reach; j <= reach; j++ {
			b := math.Exp(-float64(j*j) / 8)
			v += b * sum[(k+j+breakBins)%breakBins]
			bell += b
		}
		p[k] = math.Log((v/bell*breakBins + 4) / (total + 4))
	}
	return p
}

// like returns what the notes displaced by d(i) say under a profile.
func (s *breakScan) like(p *beatProfile, d func(i int) float64) float64 {
	var v float64
	for i := range s.at {
		v += s.one(p, i, d(i))
	}
	return v
}

// one returns what a note says, in nats.
func (s *breakScan) one(p *beatProfile, i int, d float64) float64 {
	if math.IsNaN(d) {
		return -breakDropped * s.w[i]
	}
	if k := s.p.at(s.at[i] + d); k >= 0 {
		return s.w[i] * p[k]
	}
	return 0
}

// weighed returns what speaks for a split, in nats.
func (s *breakScan) weighed(x split) float64 {
	d := s.displaced(x)
	p := s.fold(d)
	return s.like(&p, d) + s.others(x) + s.rhythm(d) + s.ending(x)
}

// displaced returns by how much every note is moved in a split; NaN for one that is
// in no part.
func (s *breakScan) displaced(x split) func(i int) float64 {
	from := s.extra(x)
	return func(i int) float64 {
		switch {
		case i >= x.k:
			return x.last
		case s.at[i] > from:
			return math.NaN()
		}
		return x.first
	}
}

// extra returns the guide time, at the base place, from which on to the second part the
// file holds what is in no part; that part's first note where it holds no such thing.
func (s *breakScan) extra(x split) float64 {
	return s.at[x.k] + math.Min(0, x.last-x.first+breakSlack)
}

// rhythm returns what the others' notes say for the notes displaced by d(i), in nats.
func (s *breakScan) rhythm(d func(i int) float64) float64 {
	var v float64
	for i, at := range s.at {
		x := d(i)
		if math.IsNaN(x) {
			continue
		}
		if n := int((at + x - s.g.start) / CurveHop); n >= 0 && n < len(s.c.begins) {
			v += s.w[i] * s.c.begins[n]
		}
	}
	return breakRhythm * v
}

// ending returns what the end of the sound says: it ends with the piece.
func (s *breakScan) ending(x split) float64 {
	o := s.o + x.last
	last := s.g.beats[len(s.g.beats)-1].Length
	end, _ := s.sound.span(o, s.g.end-3*last, s.g.end-0.2)
	after, held := s.sound.span(o, s.g.end+0.4, s.g.end+1.4)
	return weights[sound] * (0.5*end - held*after)
}

// unbroken returns how well the notes lie in one piece, with the best clock.
func (s *breakScan) unbroken() float64 {
	best := math.Inf(-1)
	mid := (s.at[0] + s.at[len(s.at)-1]) / 2
	for ppm := -600.0; ppm <= 600; ppm += 100 {
		d := func(i int) float64 { return (s.at[i] - mid) * ppm * 1e-6 }
		p := s.fold(d)
		best = math.Max(best, s.like(&p, d)+s.rhythm(d))
	}
	return best + s.others(split{}) + s.ending(split{})
}

// chromaFrames is how many frames of a file's harmony are looked at: of a long file not
// all.
const chromaFrames = 2400

// others returns what the harmony of the others says for a split, in nats.
func (s *breakScan) others(x split) float64 {
	if s.c.voices == 0 {
		return 0
	}
	clock := 1 + s.t.ppm*1e-6
	edge, from := math.Inf(1), math.Inf(1) // seconds of the file
	if x.k > 0 {
		edge, from = (s.at[x.k]-s.o)/clock, (s.extra(x)-s.o)/clock
	}
	first, last := s.agreeing(x.first), s.agreeing(x.last)
	n := len(first) - 1
	step := 1 + len(s.t.f.Chroma)/chromaFrames
	// frames counts those before a second of the file.
	frames := func(file float64) int {
		return int(math.Max(0, math.Min(float64(n), math.Ceil(file/ChromaHop/float64(step)))))
	}
	e := frames(edge)
	sum := first[min(e, frames(from))] + last[n] - last[e]
	return weights[harmony] * sum * float64(step) / 100 / float64(len(s.c.units())) * float64(s.c.voices) / float64(s.c.voices+1)
}

// agreeing returns the running sum of how well the file's harmony, displaced by d, goes with
// that of the others: of every frame that is looked at, of displacements in whole frames.
func (s *breakScan) agreeing(d float64) []float64 {
	shift := int(math.Round(d / ChromaHop))
	if sum, ok := s.agreed[shift]; ok {
		return sum
	}
	unit, f, clock := s.c.units(), s.t.f, 1+s.t.ppm*1e-6
	step := 1 + len(f.Chroma)/chromaFrames
	sum := make([]float64, 1, (len(f.Chroma)+step-1)/step+1)
	for i := 0; i < len(f.Chroma); i += step {
		v := sum[len(sum)-1]
		k := int(math.Round((s.o+float64(i)*ChromaHop*clock-s.g.start)/ChromaHop)) + shift
		if k >= 0 && k < len(unit) {
			u, c := &unit[k], &f.Chroma[i]
			for p := range u {
				v += u[p] * float64(c[p])
			}
		}
		sum = append(sum, v)
	}
	s.agreed[shift] = sum
	return sum
}
