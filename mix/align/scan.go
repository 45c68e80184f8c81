package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// scanStep is how far apart the places are that a scan weighs, in seconds.
const scanStep = 0.01

// template is where the guide lets expect that sounds begin, and where not, as
// places with weights.
type template struct {
	at, weight []float64 // guide seconds, positive or negative weights
	total      float64   // of the positive weights
}

// add lets a template expect a beginning at a guide time; with a negative weight, none.
func (p *template) add(at, weight float64) {
	p.at, p.weight = append(p.at, at), append(p.weight, weight)
	p.total += max(0, weight)
}

// beatTemplate expects notes on the beats, half as much on their halves or
// thirds, and none half way between these.
func (g *grid) beatTemplate() template {
	var p template
	for i, b := range g.beats {
		if b.CountIn || b.Length <= 0 {
			continue
		}
		parts := 2
		for _, s := range g.slots[g.slotOf[i]:g.slotOf[i+1]] {
			if s.class == firstThird {
				parts = 3
			}
			if s.class == onHalf {
				parts = 2
			}
		}
		for k := range parts {
			w := 1.0
			if k > 0 {
				w = 0.5
			}
			p.add(b.Seconds+b.Length*float64(k)/float64(parts), w)
			p.add(b.Seconds+b.Length*(float64(k)+0.5)/float64(parts), -w)
		}
	}
	return p
}

// scan is the evidence of one file for every place it could lie at.
type scan struct {
	g        *grid
	t        *take
	from     float64 // offset of index 0
	act      []float64
	comb     []float64
	clap     []float64
	clock    float64 // guide seconds that a second of the file takes
	onset    []float64
	isolated []float64
	sounds   []float64 // running sum of the sound, −1 quiet to 1 playing, every CurveHop
}

// newScan weighs the places at which at least a quarter of the piece lies in the file: of a
// file that holds less, chance decides. It weighs none where nothing was heard.
func newScan(g *grid, t *take) *scan {
	s := &scan{g: g, t: t, clock: t.ratio()}
	piece := g.end - g.start
	length := t.f.Duration * s.clock
	s.from = g.start + 0.25*piece - length
	n := int((g.start+0.75*piece-s.from)/scanStep) + 1
	if n < 1 || len(t.f.Onset) == 0 {
		return s
	}
	s.prepare()
	s.act, s.clap = make([]float64, n), make([]float64, n)
	s.scanSound()
	s.scanClap()
	s.comb = s.scanOnsets(g.beatTemplate(), n)
	return s
}

// offset returns the place of index i.
func (s *scan) offset(i int) float64 { return s.from + float64(i)*scanStep }

// index returns the place nearest to an offset, within the scan.
func (s *scan) index(o float64) int {
	return max(0, min(len(s.act)-1, int(math.Round((o-s.from)/scanStep))))
}

// holds reports whether the scan reaches an offset.
func (s *scan) holds(o float64) bool {
	return len(s.act) > 0 && o >= s.from && o <= s.offset(len(s.act)-1)
}

// prepare makes from the file's curves what places are weighed by.
func (s *scan) prepare() {
	f := s.t.f
	n := len(f.Onset)
	s.onset = make([]float64, n)
	for i, v := range f.Onset {
		s.onset[i] = float64(v) / 170
	}
	s.onset = smooth(s.onset, 3)
	s.sounds = make([]float64, n+1)
	for i, v := range f.Sound {
		s.sounds[i+1] = s.sounds[i] + float64(v)/127.5 - 1
	}
	s.isolated = isolation(f.Burst)
	for k := range s.isolated {
		if at := float64(k) * CurveHop; s.t.atAnEnd(at) && !s.t.hasCueNear(at) {
			s.isolated[k] = 0
		}
	}
}

// smooth returns v under a Gaussian bell of sigma steps.
func smooth(v []float64, sigma int) []float64 {
	bell := make([]float64, 4*sigma+1)
	var sum float64
	for i := range bell {
		d := float64(i) / float64(sigma)
		bell[i] = math.Exp(-d * d / 2)
		sum += bell[i]
		if i > 0 {
			sum += bell[i]
		}
	}
	out := make([]float64, len(v))
	for i := range v {
		x := bell[0] * v[i]
		for k := 1; k < len(bell); k++ {
			x += bell[k] * (v[max(0, i-k)] + v[min(len(v)-1, i+k)])
		}
		out[i] = x / sum
	}
	return out
}

// isolation returns how much every burst stands alone: less where others lie
// within 0.4 s of it.
func isolation(burst []uint8) []float64 {
	const reach = 80
	var count [101]int // of the values round a place, up to 100
	n := 0
	add := func(i, by int) {
		if i >= 0 && i < len(burst) {
			count[min(100, burst[i])] += by
			n += by
		}
	}
	for i := range reach {
		add(i, 1)
	}
	out := make([]float64, len(burst))
	for i := range burst {
		add(i+reach, 1)
		add(i-reach-1, -1)
		above, value := n/10, 100
		for ; value > 0; value-- {
			if above -= count[value]; above < 0 {
				break
			}
		}
		out[i] = float64(burst[i]) / 100 / (1 + 2*float64(value)/100)
	}
	return out
}

// span returns the mean sound over guide seconds of a file at o, and the share of them
// that the file holds.
func (s *scan) span(o, from, to float64) (mean, share float64) {
	n := len(s.sounds) - 1
	index := func(guide float64) int {
		return max(0, min(n, int(math.Round((guide-o)/s.clock/CurveHop))))
	}
	a, b := index(from), index(to)
	if b <= a {
		return 0, 0
	}
	return (s.sounds[b] - s.sounds[a]) / float64(b-a), float64(b-a) * CurveHop * s.clock / (to - from)
}

// leastSound is the most that can speak against a place because of where there is sound: a player
// who rests, whose notes die away at once, who walks about before the guide begins or plays on
// after its end is not elsewhere. Without a bound two of 864 sampled files were sure of a place
// seconds off, against their own clap; −1 leaves one of them, 0 does as this does.
const leastSound = -0.5

// scanSound weighs where there is sound: in the piece, above all at its
// beginning and end, and not in the rest of the count-in nor after the end.
func (s *scan) scanSound() {
	g := s.g
	beat := g.startBeat().Length
	last := g.beats[len(g.beats)-1].Length
	for i := range s.act {
		o := s.offset(i)
		inside, held := s.span(o, g.start, g.end)
		first, _ := s.span(o, g.start+0.1, g.start+4*beat)
		end, _ := s.span(o, g.end-3*last, g.end-0.2)
		var quiet float64
		if !math.IsNaN(g.cue) {
			before, h := s.span(o, 0, g.cue-0.25)
			quiet += math.Min(h, 1) * before
			between, h := s.span(o, g.cue+0.45, g.start-0.1)
			quiet += 2 * h * between
		}
		after, h := s.span(o, g.end+0.4, g.end+1.4)
		quiet += 2 * h * after
		s.act[i] = math.Max(leastSound, inside+0.5*end+0.25*first-0.5*quiet) - 2*(1-math.Max(0, math.Min(1, held)))
	}
}

// scanClap weighs a burst that stands alone where the cue should be.
func (s *scan) scanClap() {
	if math.IsNaN(s.g.cue) {
		return
	}
	const reach = 16 // steps of CurveHop, 80 ms
	for i := range s.clap {
		at := int(math.Round((s.g.cue - s.offset(i)) / s.clock / CurveHop))
		var best float64
		for k := max(0, at-reach); k <= min(len(s.isolated)-1, at+reach); k++ {
			best = math.Max(best, s.isolated[k])
		}
		s.clap[i] = math.Min(best, 1.6)
	}
}

// scanOnsets weighs whether sounds begin where p expects them, for n places, in
// scatters of the onset curve.
func (s *scan) scanOnsets(p template, n int) []float64 {
	// On the guide's clock, every scanStep.
	curve := make([]float64, int(float64(len(s.onset))*CurveHop*s.clock/scanStep))
	for i := range curve {
		curve[i] = s.onset[min(len(s.onset)-1, int(float64(i)*scanStep/s.clock/CurveHop+0.5))]
	}
	origin := s.g.start - 1
	last := s.g.end
	for _, at := range p.at {
		last = math.Max(last, at)
	}
	want := make([]float64, int((last-origin+1)/scanStep)+1)
	for i, at := range p.at {
		want[int((at-origin)/scanStep+0.5)] += p.weight[i]
	}
	// result[i] = Σ want[k]·curve[k + shift - i], shift = (origin - from)/step
	shift := int(math.Round((origin - s.from) / scanStep))
	size := 1
	for size < len(curve)+len(want)+1 {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	a, b := make([]float64, size), make([]float64, size)
	copy(a, curve)
	copy(b, want)
	ca, cb := fft.Coefficients(nil, a), fft.Coefficients(nil, b)
	for i := range ca {
		ca[i] *= complex(real(cb[i]), -imag(cb[i]))
	}
	corr := fft.Sequence(a, ca) // corr[d] = Σ want[k]·curve[k+d]
	scatter := deviation(s.onset) + 1e-9
	held := sumWeights(p)
	out := make([]float64, n)
	for i := range out {
		d := shift - i
		if d <= -len(want) || d >= len(curve) {
			continue
		}
		o := s.offset(i)
		count := held.between(o, o+float64(len(s.onset))*CurveHop*s.clock)
		v := corr[(d+size)%size] / float64(size) / math.Max(count, 1)
		out[i] = v / scatter * math.Sqrt(math.Max(count, 1)/p.total)
	}
	return out
}

// weightsUpTo is a running sum of a template's positive weights.
type weightsUpTo struct{ at, sum []float64 }

// sumWeights returns the running sum of a template, by which what it holds between any two
// times costs two searches.
func sumWeights(p template) weightsUpTo {
	order := make([]int, 0, len(p.at))
	for i, w := range p.weight {
		if w > 0 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		if p.at[a] < p.at[b] {
			return -1
		}
		return 1
	})
	w := weightsUpTo{sum: []float64{0}}
	for _, i := range order {
		w.at = append(w.at, p.at[i])
		w.sum = append(w.sum, w.sum[len(w.sum)-1]+p.weight[i])
	}
	return w
}

// between returns the weight of places from one guide time to another.
func (w weightsUpTo) between(from, to float64) float64 {
	a, _ := slices.BinarySearch(w.at, from)
	b, _ := slices.BinarySearch(w.at, to)
	return w.sum[max(a, b)] - w.sum[a]
}

// deviation returns the standard deviation of v.
func deviation(v []float64) float64 {
	var mean, square float64
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		square += (x - mean) * (x - mean) / float64(len(v))
	}
	return math.Sqrt(square)
}
