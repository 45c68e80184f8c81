package playing

import (
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// Compare describes every take, in the same order. m is the tempo of the piece
// and hz its reference pitch (A4).
func Compare(m *tempo.Map, hz float64, takes []Take) []Report {
	grid := slots(m)
	bars := measures(m)
	out := make([]Report, len(takes))
	for i := range takes {
		t := &takes[i]
		r := &out[i]
		r.Name, r.Measures = t.Name, make([]Measure, len(bars))
		for k, bar := range bars {
			r.Measures[k] = Measure{Off: math.NaN(), Late: math.NaN(), Sounds: t.sounds(bar)}
		}
		notes, soft := t.onsets(max(m.Start(), t.From), min(m.End(), t.To))
		r.timing(t.place(m, grid, notes), soft)
		r.Tuning = t.tuning(max(m.Start(), t.From), min(m.End(), t.To), hz)
	}
	for i := range takes {
		out[i].expect(takes, out, i, bars)
	}
	return out
}

// measures returns the spans of the measures of the piece.
func measures(m *tempo.Map) []Span {
	out := make([]Span, 0, m.Measures())
	for n := 1; n <= m.Measures(); n++ {
		from, err := m.Seconds(tempo.Position{Measure: n, Beat: 1})
		to, err2 := m.Seconds(tempo.Position{Measure: n + 1, Beat: 1})
		if err != nil || err2 != nil {
			break // every measure of a map has a place
		}
		out = append(out, Span{from, to})
	}
	return out
}

// guide returns the guide time of a file time.
func (t *Take) guide(file float64) float64 { return t.Clock.Guide(file) }

// file returns the file time of a guide time.
func (t *Take) file(guide float64) float64 { return t.Clock.File(guide) }

// isMuted reports whether a guide time lies where the take is muted.
func (t *Take) isMuted(at float64) bool {
	return slices.ContainsFunc(t.Quiet, func(s Span) bool { return at >= s.From && at < s.To })
}

// covers reports whether the recording lasts over all of a span, and nothing of
// it was cut or muted: only then can something be missed in it.
func (t *Take) covers(s Span) bool {
	if t.Features == nil || s.From < t.From-1e-6 || s.To > t.To+1e-6 {
		return false
	}
	if t.file(s.From) < 0 || t.file(s.To) > t.Features.Duration+0.05 {
		return false
	}
	return !slices.ContainsFunc(t.Quiet, func(q Span) bool { return q.From < s.To && q.To > s.From })
}

// sounds reports whether anything is heard in a span: for a tenth of it, or a
// note's clear beginning. What counts lies 9 dB over the file's noise, or, in
// a file that hardly rests, within 30 dB of its loud passages.
func (t *Take) sounds(s Span) bool {
	f := t.Features
	if f == nil {
		return false
	}
	gate := min(f.NoiseDB+9, f.LoudDB-12)
	gate = max(gate, f.LoudDB-30, -70)
	const cell = 0.01
	loud, all := 0, 0
	// The ends are left out: a last note rings on, the next comes early.
	inset := min(0.06, (s.To-s.From)/10)
	for at := s.From + inset; at < s.To-inset; at += cell {
		all++
		if f.LevelAt(t.file(at)) > gate {
			loud++
		}
	}
	if all > 0 && float64(loud) >= 0.1*float64(all) {
		return true
	}
	for _, e := range f.Events {
		if at := t.guide(e.Time); at >= s.From-near/2 && at < s.To-near && e.Strength >= 4 &&
			e.Level > max(gate, f.LoudDB-24) {
			return true
		}
	}
	return false
}

// expect finds the measures in which take i is expected and not heard.
//
// Without a score there is only what others do: those who play the same part,
// two at least, of whom three quarters sound; or, for two measures on end and
// more, all others, three at least. That is a reason to listen and no more: a
// part may rest while all others play.
func (r *Report) expect(takes []Take, all []Report, i int, bars []Span) {
	t := &takes[i]
	written := make([]bool, len(bars))
	for _, n := range t.Score {
		k, found := slices.BinarySearchFunc(bars, n.At+1e-6, func(s Span, at float64) int {
			switch {
			case s.To <= at:
				return -1
			case s.From > at:
				return 1
			}
			return 0
		})
		if found {
			written[k] = true
		}
	}
	for k, bar := range bars {
		if !t.covers(bar) {
			continue
		}
		why := ""
		if len(t.Score) > 0 {
			if written[k] {
				why = ByScore
			}
		} else {
			why = expectedByOthers(takes, all, i, k, bar)
		}
		r.Measures[k].Expected = why != ""
		if why != "" && !r.Measures[k].Sounds {
			r.miss(k+1, why)
		}
	}
	r.Missed = slices.DeleteFunc(r.Missed, func(m Missed) bool { return m.Why == ByOthers && m.From == m.To })
}

// miss adds a measure to the runs.
func (r *Report) miss(measure int, why string) {
	if n := len(r.Missed); n > 0 && r.Missed[n-1].To == measure-1 && r.Missed[n-1].Why == why {
		r.Missed[n-1].To = measure
		return
	}
	r.Missed = append(r.Missed, Missed{measure, measure, why})
}

// expectedByOthers returns why the other takes let expect take i in measure k; "" for no
// reason.
func expectedByOthers(takes []Take, all []Report, i, k int, bar Span) string {
	same, sameSound, rest, restSound := 0, 0, 0, 0
	for j := range takes {
		if j == i || !takes[j].covers(bar) {
			continue
		}
		rest++
		sounds := all[j].Measures[k].Sounds
		if sounds {
			restSound++
		}
		if takes[i].Part != "" && takes[j].Part == takes[i].Part {
			same++
			if sounds {
				sameSound++
			}
		}
	}
	switch {
	case same >= 2 && 4*sameSound >= 3*same:
		return ByPart
	case rest >= 3 && restSound == rest:
		return ByOthers
	}
	return ""
}
