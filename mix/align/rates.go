package align

import (
	"cmp"
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// labelRates are the rates in hertz that recordings have and are taken for.
var labelRates = []int{32000, 44100, 48000}

// WrongRate is a rate that a recording's sound may have been recorded with, other than
// the file says.
type WrongRate struct {
	Name string  // of the recording
	Rate int     // hertz
	Gain float64 // nats by which it places the file better
}

// Bounds of the search for wrong rates.
const (
	rateGain   = 3.0  // nats by which the other rate must place the file better
	rateAgrees = 0.06 // harmony of the others below which a file is looked at all the same, and
	rateLoss   = -6.0 // then the other rate may place it worse by so many nats
	rateFits   = 0.5  // notes on the beats, from which a sure file is not looked at
)

// SuspectRates returns the recordings that would be placed far better had they been
// recorded with another rate than rates says, in hertz by name: faster or slower and
// higher or lower alike. Only what is not sure, or sure without fitting the beats, is
// looked at, and what the harmony of the others does not agree with. A recording's
// likeliest rate comes first. It is the caller's to listen again at that rate and to see
// whether the harmony agrees, see [Harmony].
func SuspectRates(m *tempo.Map, recs []Recording, placed []Placement, rates map[string]int) []WrongRate {
	g := newGrid(m)
	agrees := Harmony(m, recs, placed)
	var out []WrongRate
	for k := range recs {
		r := &recs[k]
		label := rates[r.Name]
		if r.Offset != nil || r.CueAt != nil || r.Features == nil || !slices.Contains(labelRates, label) {
			continue
		}
		least := rateGain
		if agrees[r.Name] < rateAgrees {
			// A tempo that is half as fast again has its notes on the beats as well.
			least = rateLoss
		} else if p := placed[k]; p.Sure && p.OtherTempo == 0 && p.fit >= rateFits {
			continue
		}
		own := bestScore(g, *r, r.Features)
		var list []WrongRate
		for _, rate := range labelRates {
			if rate == label {
				continue
			}
			w := WrongRate{r.Name, rate, bestScore(g, *r, r.Features.stretched(float64(label)/float64(rate))) - own}
			if w.Gain >= least {
				list = append(list, w)
			}
		}
		slices.SortStableFunc(list, func(a, b WrongRate) int { return cmp.Compare(b.Gain, a.Gain) })
		out = append(out, list...)
	}
	return out
}

// bestScore returns how well the best place of a recording fits, by itself, in nats.
func bestScore(g *grid, r Recording, f *Features) float64 {
	r.Features, r.Onsets = f, nil
	t := newTake(&r)
	t.candidates(g)
	if len(t.hyps) == 0 {
		return 0
	}
	return t.hyps[0].score
}

// stretched returns what the features of a file would be had it lasted k times as long,
// but for its harmony, of which there is none.
func (f *Features) stretched(k float64) *Features {
	out := *f
	out.Duration *= k
	out.Events, out.Leaked, out.Splices = slices.Clone(f.Events), nil, nil
	for i := range out.Events {
		e := &out.Events[i]
		e.Time, e.Heard, e.Rise, e.Decay = e.Time*k, e.Heard*k, math.Min(0.15, e.Rise*k), math.Min(0.6, e.Decay*k)
	}
	resampled := func(v []uint8) []uint8 {
		s := make([]uint8, int(float64(len(v))*k))
		for i := range s {
			s[i] = v[min(len(v)-1, int(float64(i)/k))]
		}
		return s
	}
	out.Level = resampled(f.Level)
	out.Curves = Curves{Onset: resampled(f.Onset), Burst: resampled(f.Burst), Sound: resampled(f.Sound)}
	return &out
}

// Harmony returns how well the harmony of every recording agrees with that of the sure ones
// of other players, -1 to 1; NaN where there are none.
func Harmony(m *tempo.Map, recs []Recording, placed []Placement) map[string]float64 {
	g := newGrid(m)
	takes := make([]*take, len(recs))
	for k := range recs {
		takes[k] = newTake(&recs[k])
	}
	p, all := newBeatPhases(g), gatherCompany(g, takes, placed)
	out := map[string]float64{}
	for k, t := range takes {
		c := all.without(g, p, takes, placed, t.voice())
		out[t.rec.Name] = math.NaN()
		if c.voices > 0 {
			t.ppm = placed[k].DriftPPM
			out[t.rec.Name] = c.agreement(g, t, placed[k].Offset)
		}
	}
	return out
}
