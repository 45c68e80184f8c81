package align

import (
	"math"

	"ripieno/mix/audio"
)

// breakScan holds what is needed to weigh the breaks of one file.
type breakScan struct {
	g       *grid
	p       *beatPhases
	t       *take
	c       *company
	o       float64 // the base place
	from    float64 // guide seconds between which a part may begin and end
	to      float64
	strands []strand // the first are the notes
	quiet   float64  // dBFS; see [Features.noise]
	sound   *scan

	splices []splice    // of the piece
	agreed  [][]float64 // see agreeing
}

// split is one way to cut a file in two.
type split struct {
	edge  float64 // guide time, at the base place, at which the second part begins
	first float64 // displacement of the first part, seconds
	last  float64 // of the second
	v     float64 // nats
	by    string  // what shows it beside the playing, and
	at    float64 // the second of the file where it does
	over  float64 // dB of a splice; see [splice]
	extra bool    // what is too much comes after at, not before
	scan  *breakScan
}

// jump returns by how much guide time runs on at the break, in seconds.
func (x split) jump() float64 { return x.last - x.first }

// newBreakScan prepares the weighing of breaks of t, which lies at o.
func newBreakScan(g *grid, p *beatPhases, t *take, o float64, c *company) *breakScan {
	s := &breakScan{g: g, p: p, t: t, c: c, o: o, sound: &scan{g: g, t: t, clock: audio.PPM(t.ppm).Ratio()},
		agreed: make([][]float64, 2*mostShift+1)}
	s.from = math.Max(g.start, o) + breakSide
	s.to = math.Min(g.end, o+t.f.Duration*s.sound.clock) - breakSide
	s.sound.prepare()
	for _, r := range []strand{s.notes(), s.onsets(), s.changes()} {
		s.strands = append(s.strands, r.settled(p))
	}
	s.quiet = t.f.noise()
	s.splices = s.ofThePiece(t.f.Splices)
	return s
}

// enough reports whether the file holds enough to tell a break by.
func (s *breakScan) enough() bool { return len(s.strands[0].at) >= 8 && s.to > s.from }

// weighed returns what speaks for a split, in nats; compare with [breakScan.unbroken].
func (s *breakScan) weighed(x split) float64 {
	return s.phases(s.sections(x)) + s.others(x) + s.ending(x)
}

// phases returns what the signs of playing and the others' rhythm say when the sections of
// the file lie as given, in nats.
func (s *breakScan) phases(parts []section) float64 {
	var v float64
	for i := range s.strands {
		v += s.strands[i].like(s.p, parts)
	}
	notes := &s.strands[0]
	for _, x := range parts {
		from, to := notes.between(x)
		for i := from; i < to; i++ {
			if n := int((x.moved(notes.at[i]) - s.g.start) / CurveHop); n >= 0 && n < len(s.c.begins) {
				v += weights[rhythm] * notes.mass[i] * s.c.begins[n]
			}
		}
	}
	return v
}

// sections returns the two parts of a split.
func (s *breakScan) sections(x split) []section {
	return []section{
		{from: math.Inf(-1), to: s.extraFrom(x), by: x.first},
		{from: x.edge, to: math.Inf(1), by: x.last},
	}
}

// extraFrom returns the guide time, at the base place, from which on to the second part the
// file holds what is in no part; where that part begins when it holds no such thing.
func (s *breakScan) extraFrom(x split) float64 { return x.edge + math.Min(0, x.jump()) }

// ending returns what the end of the sound says, in nats: it ends with the piece.
func (s *breakScan) ending(x split) float64 {
	o := s.o + x.last
	last := s.g.beats[len(s.g.beats)-1].Length
	end, _ := s.sound.span(o, s.g.end-3*last, s.g.end-0.2)
	after, held := s.sound.span(o, s.g.end+0.4, s.g.end+1.4)
	return weights[sound] * (0.5*end - held*after)
}

// inOnePiece returns how well the file lies in one piece by seconds from the base place, in nats.
func (s *breakScan) inOnePiece(by float64) float64 {
	if by == 0 {
		return s.unbroken()
	}
	return s.weighed(split{edge: s.from, first: by, last: by})
}

// unbroken returns how well the file lies in one piece at the base place, with the best clock,
// in nats.
func (s *breakScan) unbroken() float64 {
	best := math.Inf(-1)
	at := s.strands[0].at
	mid := (at[0] + at[len(at)-1]) / 2
	for ppm := -600.0; ppm <= 600; ppm += 100 {
		whole := section{from: math.Inf(-1), to: math.Inf(1), slope: ppm * 1e-6, mid: mid}
		best = math.Max(best, s.phases([]section{whole}))
	}
	return best + s.others(split{}) + s.ending(split{})
}

// beatAt returns the length of the beat at a guide time, seconds.
func (s *breakScan) beatAt(guide float64) float64 {
	length := s.g.startBeat().Length
	for _, b := range s.g.beats {
		if !b.CountIn && b.Seconds <= guide {
			length = b.Length
		}
	}
	return length
}
