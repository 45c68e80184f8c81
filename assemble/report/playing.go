package report

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"ripieno/assemble/report/phrase"
)

// playing returns in sentences how a take was played. They are for whoever
// conducts; no word of them goes into a note to a player.
func (r Review) playing(t Reviewed) []string {
	w, p := r.words(), t.Playing
	all := []string{p.timing(w)}
	if wide := r.widest(*p); wide != "" {
		all = append(all, wide)
	}
	all = append(all, p.tuning(w, r.PitchHz))
	for _, g := range p.Missed {
		all = append(all, w.Say("report.missed-"+g.Why, "where", r.measures(g.From, g.To)))
	}
	return all
}

// timing returns a sentence about how closely notes lie to the beats.
func (p Playing) timing(w *phrase.Book) string {
	notes := strconv.Itoa(p.Notes)
	switch {
	case p.SpreadMS == nil && p.Notes == 0:
		return w.Say("report.timing-none")
	case p.SpreadMS == nil:
		return w.Count("report.timing-few", p.Notes, "count", notes)
	case p.Soft:
		return w.Say("report.timing-soft", "ms", w.Number(*p.SpreadMS, 0), "count", notes)
	}
	return w.Say("report.timing", "ms", w.Number(*p.SpreadMS, 0), "count", notes)
}

// widest names up to four measures that stand out.
func (r Review) widest(p Playing) string {
	w := r.words()
	if p.SpreadMS == nil || p.Soft {
		return ""
	}
	type measure struct {
		number int
		off    float64
	}
	var out []measure
	for k, off := range p.Measures {
		if off >= heatSteps[1] && off > 1.7**p.SpreadMS {
			out = append(out, measure{k + 1, off})
		}
	}
	slices.SortFunc(out, func(a, b measure) int { return cmp.Or(cmp.Compare(b.off, a.off), a.number-b.number) })
	out = out[:min(len(out), 4)]
	slices.SortFunc(out, func(a, b measure) int { return a.number - b.number })
	var names []string
	for _, m := range out {
		names = append(names, r.name(m.number))
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return w.Say("report.listen-place", "measure", names[0])
	}
	return w.Say("report.listen-places", "measures", w.List(names))
}

// tuning returns a sentence about how a take is tuned against a pitch.
func (p Playing) tuning(w *phrase.Book, hz float64) string {
	if p.Cents == nil {
		return w.Say("report.tuning-none")
	}
	key, cents := "report.tuning-on", math.Round(*p.Cents)
	switch {
	case cents >= 1:
		key = "report.tuning-above"
	case cents <= -1:
		key = "report.tuning-below"
	}
	spread := ""
	switch {
	case p.CentsOff == nil:
	case *p.CentsOff < 1:
		spread = w.Say("report.tuning-close")
	default:
		spread = w.Say("report.tuning-round", "cents", w.Number(*p.CentsOff, 0))
	}
	against := "report.tuning-scale"
	if p.Score {
		against = "report.tuning-score"
	}
	return w.Say(key, "hz", w.Number(hz, 2), "cents", w.Number(math.Abs(cents), 0), "spread", spread,
		"against", w.Count(against, p.Tones, "count", strconv.Itoa(p.Tones)))
}
