package align

import (
	"cmp"
	"math"
	"slices"

	"ripieno/mix/robust"
)

// edges are the notes before which a second part may begin.
func (s *breakScan) edges() []int {
	n := len(s.at)
	sum := make([]float64, n+1)
	for i, w := range s.w {
		sum[i+1] = sum[i] + w
	}
	var all []int
	for k := 1; k < n; k++ {
		if sum[k] >= breakNotes && sum[n]-sum[k] >= breakNotes {
			all = append(all, k)
		}
	}
	return all
}

// shifted returns the likeliest places of a break, each with by how much of a beat
// the second part is displaced against the first, whatever whole beats are between.
func (s *breakScan) shifted() []split {
	n := len(s.at)
	bins := make([]int, n)
	for i, at := range s.at {
		bins[i] = s.p.at(at)
	}
	edges := s.edges()
	step := 1 + len(edges)/breakEdges
	var all []split
	for e := 0; e < len(edges); e += step {
		k := edges[e]
		zero := func(int) float64 { return 0 }
		p := s.foldPart(0, k, zero)
		q := s.foldPart(k, n, zero)
		var v [breakBins]float64
		for x := range v {
			for i := k; i < n; i++ {
				if bins[i] >= 0 {
					v[x] += s.w[i] * p[(bins[i]+x)%breakBins]
				}
			}
			for i := 0; i < k; i++ {
				if bins[i] >= 0 {
					v[x] += s.w[i] * q[(bins[i]-x+breakBins)%breakBins]
				}
			}
		}
		for x := range v {
			if v[x] >= v[(x+1)%breakBins] && v[x] > v[(x+breakBins-1)%breakBins] {
				all = append(all, split{k: k, last: float64(x) / breakBins, v: v[x] - v[0]})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	out := []split{}
	for _, x := range all {
		if len(out) == breakPeaks {
			break
		}
		if !slices.ContainsFunc(out, func(y split) bool {
			d := math.Abs(x.last - y.last)
			return math.Min(d, 1-d) < 0.06 && math.Abs(s.at[x.k]-s.at[y.k]) < 6
		}) {
			out = append(out, x)
		}
	}
	return out
}

// hinted returns the splits of a break that something else shows.
func (s *breakScan) hinted(h Hint) []split {
	if math.IsNaN(h.At) {
		return s.somewhere(h)
	}
	at := s.o + (h.At+math.Max(0, -h.Jump))*(1+s.t.ppm*1e-6)
	k, _ := slices.BinarySearch(s.at, at-breakSlack/2)
	if k == 0 || k >= len(s.at) {
		return nil
	}
	out := []split{{k: k, last: h.Jump, by: h.By, at: h.At}, {k: k, first: -h.Jump, by: h.By, at: h.At}}
	for i := range out {
		out[i].v = s.weighed(out[i])
	}
	return out
}

// somewhere returns the likeliest split of a jump that is known, but not where it is.
func (s *breakScan) somewhere(h Hint) []split {
	var best []split
	edges := s.edges()
	step := 1 + len(edges)/breakEdges
	for i := 0; i < len(edges); i += step {
		for _, x := range [...]split{{k: edges[i], last: h.Jump}, {k: edges[i], first: -h.Jump}} {
			x.by, x.at = h.By, h.At
			if x.v = s.weighed(x); len(best) == 0 || x.v > best[0].v {
				best = []split{x}
			}
		}
	}
	for i := range best {
		best[i] = s.tuned(best[i])
	}
	return best
}

// silences are the stretches inside the file that are digitally silent, as breaks:
// what a recorder writes when it has nothing to write.
func (s *breakScan) silences() []Hint {
	f := s.t.f
	most := min(breakSilence, f.NoiseDB-10)
	var out []Hint
	from := -1
	for i := range f.Level {
		if float64(f.Level[i])/2-120 <= most {
			if from < 0 {
				from = i
			}
			continue
		}
		if from > 0 {
			// The steps at both ends are silent in part.
			out = append(out, Hint{At: (float64(from) - 0.5) * levelHop, Jump: -float64(i-from+1) * levelHop, By: "silence"})
		}
		from = -1
	}
	if len(out) > mostSilences {
		return nil // a gate
	}
	return out
}

// jumps returns the likeliest whole jumps of a break whose part of a beat is known.
func (s *breakScan) jumps(x split) []split {
	beat := s.beatAt(s.at[x.k])
	var out []split
	for m := math.Ceil(-breakReach/beat - x.last); m <= breakReach/beat-x.last; m++ {
		d := (m + x.last) * beat
		for _, y := range [...]split{{k: x.k, last: d}, {k: x.k, first: -d}} {
			y.v = s.weighed(y)
			out = append(out, y)
		}
	}
	slices.SortStableFunc(out, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	out = out[:min(6, len(out))]
	for i := range out[:min(breakTuned, len(out))] {
		out[i] = s.tuned(out[i])
	}
	return out
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

// tuned moves the edge and the second part of a split to where they fit best.
func (s *breakScan) tuned(x split) split {
	best := x
	for _, k := range s.edges() {
		if math.Abs(s.at[k]-s.at[x.k]) < 3 {
			y := x
			y.k = k
			if y.v = s.weighed(y); y.v > best.v {
				best = y
			}
		}
	}
	for j := -5; j <= 5; j++ {
		y := best
		if x.first == 0 {
			y.last = x.last + float64(j)*breakStep
		} else {
			y.first = x.first + float64(j)*breakStep
		}
		if y.v = s.weighed(y); y.v > best.v {
			best = y
		}
	}
	return best
}

// polished moves the second part of a split so that its notes are as late as those of
// the first, on average.
func (s *breakScan) polished(x split) split {
	var all [classes]bool
	for c := range all {
		all[c] = true
	}
	d := s.displaced(x)
	var late [2][]float64
	for i, at := range s.at {
		move := d(i)
		if math.IsNaN(move) || s.w[i] < 0.4 {
			continue
		}
		if slot := s.g.nearestOf(at+move, all); slot != nil && math.Abs(slot.at-at-move) < breakLate {
			part := 0
			if i >= x.k {
				part = 1
			}
			late[part] = append(late[part], at+move-slot.at)
		}
	}
	if len(late[0]) < minNotes || len(late[1]) < minNotes {
		return x
	}
	x.last -= robust.Median(late[1]) - robust.Median(late[0])
	return x
}
