package follow

import (
	"math"
	"slices"
)

// mostStates bounds the memory of one search between two anchors, in bytes.
const mostStates = 64 << 20

// between returns the best train of n intervals from the pulse in frame a to that in
// frame b, which is left out. Here the number of pulses is known, so that each has a
// band of frames in which it can be.
func (t *tracker) between(a, b, n int) []int {
	s := newSpan(t, a, b, n)
	for i := 1; i <= n; i++ {
		s.pulse(i)
	}
	return s.trace()
}

// span is the search between two anchors. Times count from the first.
type span struct {
	*tracker
	a, b, n  int
	period   float64 // even, in frames
	low, q   int     // the shortest period and how many there are
	half     int     // of a band, in frames
	cost     [][]float64
	far      []float64
	last     []float64 // scores of the pulse before, by frame of its band and period
	peaks    []float64 // the highest of each frame
	came     [][]uint8 // of every pulse
	lastFrom int       // first frame of its band
}

// newSpan prepares the search for n pulses between two anchors, at hops a and b. Periods of 1.7
// times the mean and their inverse are the farthest that are tried, and memory bounds how far
// a pulse may lie from its even place.
func newSpan(t *tracker, a, b, n int) *span {
	s := &span{tracker: t, a: a, b: b, n: n, period: float64(b-a) / float64(n)}
	s.low = max(1, int(s.period/1.7))
	s.q = min(int(s.period*1.7)+1, s.low+254) - s.low + 1
	s.half = int(max(3*s.period, 0.2*float64(b-a)))
	s.half = max(min(s.half, mostStates/(2*n*s.q)), int(s.period)+1)
	s.cost = make([][]float64, s.q)
	for p := range s.q {
		s.cost[p] = make([]float64, s.q)
		for q := range s.q {
			l := math.Log(float64(p+s.low) / float64(q+s.low))
			s.cost[p][q] = changeCost * l * l
		}
		l := math.Log(float64(p+s.low) / s.period)
		s.far = append(s.far, farCost*l*l)
	}
	s.last = make([]float64, s.q) // the first pulse, in whatever period
	s.peaks = []float64{0}
	s.came = append(s.came, make([]uint8, s.q))
	return s
}

// band returns the frames that pulse i may have, from the first anchor, the end not
// included. The two anchors have one.
func (s *span) band(i int) (from, to int) {
	if i == 0 || i == s.n {
		at := i / s.n * (s.b - s.a)
		return at, at + 1
	}
	middle := int(math.Round(float64(i) * s.period))
	return max(middle-s.half, i*s.low), min(middle+s.half+1, s.b-s.a-(s.n-i)*s.low+1)
}

// pulse works out the scores of pulse i.
func (s *span) pulse(i int) {
	from, to := s.band(i)
	to = max(to, from+1)
	now := make([]float64, (to-from)*s.q)
	came := make([]uint8, len(now))
	for k := from; k < to; k++ {
		for p := range s.q {
			at := (k-from)*s.q + p
			now[at] = math.Inf(-1)
			before := k - (p + s.low) - s.lastFrom
			if before < 0 || (before+1)*s.q > len(s.last) {
				continue
			}
			best, of := s.from(s.last[before*s.q:(before+1)*s.q], s.peaks[before], p)
			now[at], came[at] = best, uint8(of)
			if now[at] -= s.far[p]; s.a+k < len(s.gain) {
				now[at] += s.gain[s.a+k]
			}
		}
	}
	s.last, s.lastFrom = now, from
	s.came = append(s.came, came)
	s.peaks = s.peaks[:0]
	for at := 0; at < len(now); at += s.q {
		s.peaks = append(s.peaks, slices.Max(now[at:at+s.q]))
	}
}

// from returns the best score with which period p, counted from the shortest, follows the
// pulse of a frame, and the period before it; scores are those of that frame by its period,
// peak the highest. Of equals the shortest counts; where nothing leads, it is −Inf and 0. The
// cost rises with the distance of two periods on both sides, so the search goes outwards from
// p until not even peak could be better.
func (s *span) from(scores []float64, peak float64, p int) (best float64, of int) {
	cost := s.cost[p]
	best = math.Inf(-1)
	if peak == best {
		return best, 0
	}
	for q := p; q < len(scores) && peak-cost[q] >= best; q++ {
		if v := scores[q] - cost[q]; v > best {
			best, of = v, q
		}
	}
	for q := p - 1; q >= 0 && peak-cost[q] >= best; q-- {
		if v := scores[q] - cost[q]; v >= best {
			best, of = v, q
		}
	}
	if math.IsInf(best, -1) {
		return best, 0
	}
	return best, of
}

// trace returns the frames of all pulses but the last. Where no train fits, they are
// evenly apart.
func (s *span) trace() []int {
	var back []int
	p, best := -1, math.Inf(-1)
	for q, v := range s.last {
		if v > best {
			p, best = q, v
		}
	}
	k := s.b - s.a
	for i := s.n; i > 0; i-- {
		if p < 0 {
			k = int(math.Round(float64(i-1) * s.period))
			back = append(back, s.a+k)
			continue
		}
		from, _ := s.band(i)
		q := int(s.came[i][(k-from)*s.q+p])
		k, p = k-(p+s.low), q
		back = append(back, s.a+k)
	}
	slices.Reverse(back)
	return back
}
