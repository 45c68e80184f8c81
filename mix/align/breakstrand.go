package align

import (
	"math"
	"sort"
)

// section is a part of a file with where it lies against the base place.
type section struct {
	from, to float64 // guide seconds at the base place
	by       float64 // seconds by which it lies later
	slope    float64 // by how much more for every second after mid
	mid      float64
}

// moved returns where a guide time of the base place lies.
func (x section) moved(at float64) float64 { return at + x.by + (at-x.mid)*x.slope }

// strand is one kind of sign of when somebody plays, as masses in order of time: notes
// that are told apart, and curves of which every step is one. Notes say more of players
// whose attacks are clear, the curves of soft ones.
type strand struct {
	at   []float64 // guide seconds at the base place
	mass []float64
	nats float64 // weight of its likelihood: less than 1 where neighbours say the same
	room float64 // mass taken to be spread evenly over the beat
	soft float64 // scatter over which the masses are smoothed, in bins of the beat
	drop float64 // nats that a unit of mass costs that is in no part
	bars float64 // nats of a unit of mass that lies in the beat of the measure where all do
	even float64 // mass taken to be spread evenly over the beats of the measure, per cell

	cell   []int // of each mass in the table of phases, where the file lies at the base place
	sum    []float64
	kernel [2*bellReach + 1]float64
}

// settled returns the strand with what is looked up of it again and again.
func (r strand) settled(p *beatPhases) strand {
	r.cell = make([]int, len(r.at))
	for i, at := range r.at {
		r.cell[i] = p.index(at)
	}
	r.sum, r.kernel = make([]float64, p.beats*breakBins), bell(r.soft)
	return r
}

// Weights of the curves in nats for every second of a curve whose mean is 1. Windows of
// 5 s of 430 sampled files tell a shift of 60 ms with 85 and 15, one of 130 ms with 58
// and 11 (logistic regression, together with notes); players who are less steady than
// simulated ones take a third off.
const (
	onsetNats  = 40.0
	changeBars = 5.0 // of the beats of a measure, where it is 8 by itself; onsets do not tell them
	noteBars   = 1.0 // where it is 1.5 to 2
	changeNats = 8.0
	curveRoom  = 6.0 // seconds of a curve that is even
	changeHalf = 3   // frames of harmony on each side of a change that are compared
)

// beatProfile holds a value for every place of a beat.
type beatProfile [breakBins]float64

// bell returns the kernel of [strand.profile] for a scatter of so many bins, its sum brought to
// 1: 2*bellReach+1 values.
func bell(soft float64) (b [2*bellReach + 1]float64) {
	var sum float64
	for j := range b {
		x := float64(j-bellReach) / soft
		b[j] = math.Exp(-x * x / 2)
		sum += b[j]
	}
	for j := range b {
		b[j] /= sum
	}
	return b
}

const bellReach = 5

// curveStep is how far apart the values of a curve are taken, in seconds: no beat is a
// multiple of it, else the same places of all beats would be looked at and none between.
// Long files have fewer values, curvePoints to twice as many.
const (
	curveStep   = 0.010237
	curvePoints = 4000
)

// notes returns what sets in and may be a note, by its weight as one.
func (s *breakScan) notes() strand {
	r := strand{nats: 1, room: 4, soft: 2, drop: breakDropped, bars: noteBars, even: 1}
	for i, e := range s.t.f.Events {
		at := s.t.guide(s.o, i) + e.Heard - e.Time
		if w := s.t.weight[i]; w > 0.2 && at > s.g.start-breakReach && at < s.g.end+breakReach {
			r.at, r.mass = append(r.at, at), append(r.mass, w)
		}
	}
	return r
}

// onsets returns how much sets in all along.
func (s *breakScan) onsets() strand {
	v := make([]float64, len(s.t.f.Onset))
	for i, x := range s.t.f.Onset {
		v[i] = float64(x)
	}
	return s.curve(v, CurveHop, onsetNats)
}

// changes returns how much the harmony changes all along: notes that grow out of each other
// change it though nothing sets in.
func (s *breakScan) changes() strand {
	chroma := s.t.f.Chroma
	v := make([]float64, len(chroma))
	for k := changeHalf; k+changeHalf < len(v); k++ {
		var d [12]float64
		for j := 1; j <= changeHalf; j++ {
			for p := range d {
				d[p] += float64(chroma[k+j][p]) - float64(chroma[k-j][p])
			}
		}
		for _, x := range d {
			v[k] += x * x
		}
		v[k] = math.Sqrt(v[k])
	}
	r := s.curve(v, ChromaHop, changeNats)
	r.bars, r.even = changeBars, 0.3
	return r
}

// curve returns the strand of values that are hop seconds of the file apart, between which
// it draws lines, brought to a mean of 1 over the piece.
func (s *breakScan) curve(v []float64, hop, nats float64) strand {
	r := strand{nats: nats, room: curveRoom, soft: 1}
	clock := s.t.ratio()
	first := math.Max(s.o, s.g.start-breakReach)
	last := math.Min(s.o+float64(len(v)-1)*hop*clock, s.g.end+breakReach)
	step := curveStep * (1 + math.Floor((last-first)/curveStep/curvePoints))
	var sum, held float64
	for at := first; at < last; at += step {
		x := (at - s.o) / clock / hop
		i := min(int(x), len(v)-2)
		m := (v[i] + (v[i+1]-v[i])*(x-float64(i))) * step
		r.at, r.mass = append(r.at, at), append(r.mass, m)
		if at >= s.g.start && at < s.g.end {
			sum, held = sum+m, held+step
		}
	}
	if sum > 0 {
		for i := range r.mass {
			r.mass[i] *= held / sum
		}
	}
	return r
}

// between returns the range of masses that a section holds.
func (r *strand) between(x section) (from, to int) {
	to = len(r.at)
	if !math.IsInf(x.from, -1) {
		from = sort.SearchFloat64s(r.at, x.from)
	}
	if !math.IsInf(x.to, 1) {
		to = sort.SearchFloat64s(r.at, x.to)
	}
	return from, max(from, to)
}

// like returns the likelihood of the masses of some sections that follow each other when they
// follow one profile of the beat, and of the measure, the one that explains them best, against
// chance; in nats.
func (r *strand) like(p *beatPhases, parts []section) float64 {
	clear(r.sum)
	var dropped float64
	end := 0
	for _, x := range parts {
		from, to := r.between(x)
		if r.drop > 0 {
			for ; end < from; end++ {
				dropped += r.mass[end]
			}
			end = to
		}
		r.fold(p, r.sum, x, from, to)
	}
	beat := oneBeat(r.sum)
	log := r.profile(&beat)
	var v float64
	for k, m := range beat {
		v += m * log[k]
	}
	v = r.nats * (v - r.drop*dropped)
	if r.bars > 0 && p.beats > 1 {
		v += r.bars * r.measure(p)
	}
	return v
}

// fold adds the masses of a range, which lie in a section, to the cells of the measure.
func (r *strand) fold(p *beatPhases, sum []float64, x section, from, to int) {
	if x.slope == 0 {
		shift := p.steps(x.by)
		for i := from; i < to; i++ {
			if k := r.cell[i] + shift; k >= 0 && k < len(p.cell) {
				sum[p.cell[k]] += r.mass[i]
			}
		}
		return
	}
	for i := from; i < to; i++ {
		if k := p.cellAt(x.moved(r.at[i])); k >= 0 {
			sum[k] += r.mass[i]
		}
	}
}

// oneBeat returns the sum over the beats of a measure.
func oneBeat(cells []float64) (beat beatProfile) {
	for k, v := range cells {
		beat[k%breakBins] += v
	}
	return beat
}

// measure returns the likelihood of the masses in r.sum by the profile of the measure that
// explains them best, against all its beats being alike; a unit of mass counts 1.
func (r *strand) measure(p *beatPhases) float64 {
	const per = breakBins / coarseBins
	var room [mostBeats * coarseBins]float64
	cells := room[:p.beats*coarseBins]
	var beat [coarseBins]float64
	for k, v := range r.sum {
		cells[k/per] += v
		beat[k/per%coarseBins] += v
	}
	var sum float64
	for k, m := range cells {
		at, in := k/coarseBins*coarseBins, k%coarseBins
		before, after := (in+coarseBins-1)%coarseBins, (in+1)%coarseBins
		have := (cells[at+before] + m + cells[at+after]) / 3
		want := (p.share[at+before]*beat[before] + p.share[k]*beat[in] + p.share[at+after]*beat[after]) / 3
		sum += m * math.Log((have+r.even)/(want+r.even))
	}
	return sum
}

// profile returns how likely a mass is at each place of the beat, as the log of its
// density against chance, where masses lie as sum says.
func (r *strand) profile(sum *beatProfile) (log beatProfile) {
	var total float64
	for _, v := range sum {
		total += v
	}
	for k := range log {
		var v float64
		for j, w := range r.kernel {
			v += w * sum[(k+j-bellReach+breakBins)%breakBins]
		}
		log[k] = math.Log((v*breakBins + r.room) / (total + r.room))
	}
	return log
}
