package guide

import (
	"fmt"
	"math"
	"strings"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// Measure is one measure of a guide as it is played. Its fields are part of what
// --json prints.
type Measure struct {
	Number int `json:"measure"` // as played, 0 for the pick-up; of the count-in below zero
	// "17/2": the second time of measure 17 of the page; absent when it is the same
	Page   string   `json:"page,omitempty"`
	Meter  string   `json:"meter"`           // as written
	Unit   string   `json:"beat_unit"`       // what BPM counts
	BPM    float64  `json:"bpm"`             // where it begins
	Begins float64  `json:"begins"`          // guide time in seconds
	Marks  []string `json:"marks,omitempty"` // rehearsal marks, the cue, holds and ramps
	ends   float64  // BPM just before the next measure, another where a ramp goes through it
	ramp   bool     // its tempo changes by a ramp
	own    bool     // its tempo is that of its own beats, which BPM is the mean of
}

// Measures returns all measures of the guide all play to, count-in first.
func Measures(man *production.Production) []Measure {
	var marks []score.Mark
	if man.Score != nil {
		marks = man.Score.Marks
	}
	return measuresOf(man.Tempo, marks)
}

// measuresOf returns the measures of a map.
func measuresOf(m *tempo.Map, marks []score.Mark) []Measure {
	spec := m.Spec()
	notes := map[int][]string{}
	for _, k := range marks {
		notes[k.Measure] = append(notes[k.Measure], k.Text)
	}
	for _, h := range spec.Holds {
		notes[h.At.Measure] = append(notes[h.At.Measure], fmt.Sprintf("hold of %.4g s on beat %.4g", h.Seconds,
			h.At.Beat))
	}
	if c := spec.CountIn; c.Measures > 0 {
		n := c.CueMeasure - c.Measures - 1
		notes[n] = append(notes[n], fmt.Sprintf("all clap on beat %g", c.CueBeat))
	}
	var list []Measure
	for n := -spec.CountIn.Measures; n <= m.Measures(); n++ {
		if n == 0 && spec.PickUp == 0 {
			continue
		}
		list = append(list, measureOf(m, n, notes[n]))
	}
	return list
}

// measureOf returns one measure of a map. A ramp is known by the tempo in the middle
// or at the end being another than at the beginning; the end is taken just before the
// bar line, where the next tempo holds.
func measureOf(m *tempo.Map, n int, marks []string) Measure {
	meter := m.Meter(n)
	begin, _ := m.Quarters(tempo.Position{Measure: n, Beat: 1}) // the map has every measure it counts
	length := meter.Quarters()
	if n == 0 {
		length = -begin
	}
	unit := meter.Unit()
	speed, last := m.SpeedAt(begin), m.SpeedAt(math.Nextafter(begin+length, begin))
	out := Measure{Number: n, Meter: meter.String(), Unit: unit.String(), BPM: speed / unit.Quarters(),
		Begins: m.SecondsAt(begin), Marks: marks}
	out.ramp = math.Abs(m.SpeedAt(begin+length/2)-speed) > 1e-9*speed || math.Abs(last-speed) > 1e-9*speed
	out.ends = last / unit.Quarters()
	out.Page = m.Elsewhere(n)
	if m.Spec().CountIn.Speed > 0 {
		out.own, out.ramp = true, false
		out.BPM = 60 * length / unit.Quarters() / (m.SecondsAt(begin+length) - m.SecondsAt(begin))
	}
	return out
}

// Run is a run of measures that a table prints in one line: those that begin alike and
// follow one another on the page.
type Run struct {
	From, To Measure
	Tempo    string
}

// Runs joins measures for a table.
func Runs(list []Measure) []Run {
	var runs []Run
	for i, m := range list {
		if n := len(runs); n > 0 {
			last := &runs[n-1]
			if continues(list[i-1], m, last.From) {
				last.To = m
				last.Tempo = tempoText(last.From, m)
				continue
			}
		}
		runs = append(runs, Run{m, m, tempoText(m, m)})
	}
	return runs
}

// continues reports whether a measure can stand in the same line as those before it.
// first is the one that begins the line. A measure with marks has a line of its own,
// and so has the pick-up.
func continues(before, m, first Measure) bool {
	switch {
	case len(m.Marks) > 0, m.own && m.Number >= 0, before.Number < 0 != (m.Number < 0), before.Number == 0,
		m.Meter != first.Meter,
		m.ramp != first.ramp:
		return false
	case !m.ramp && math.Abs(m.BPM-first.BPM) > 1e-6:
		return false
	}
	// "17/2" is measure 17 of the page for the second time: it must be followed by
	// 18, 2nd time.
	was, now := strings.Split(before.Page, "/"), strings.Split(m.Page, "/")
	if len(was) != len(now) || len(now) < 2 {
		return len(was) == len(now)
	}
	var a, b int
	if _, err := fmt.Sscan(was[0], &a); err != nil {
		return false
	}
	_, err := fmt.Sscan(now[0], &b)
	return err == nil && b == a+1 && was[1] == now[1]
}

// tempoText says how fast a run is: at its beginning, or at both ends of a ramp.
func tempoText(from, to Measure) string {
	if from.ramp {
		return fmt.Sprintf("%s = %.4g, then %.4g", from.Unit, from.BPM, to.ends)
	}
	return fmt.Sprintf("%s = %.4g", from.Unit, from.BPM)
}

// labels returns the measures, marks and the cue as text: beginning, end and name of
// each, in seconds, with tabs between, as editors of sound import labels. Without a
// head, and sorted by time. White space in names is made one blank: a tab or line
// break would be read as another field or label.
func labels(m *tempo.Map, list []Measure) []byte {
	var b strings.Builder
	for i, x := range list {
		end := m.End()
		if i+1 < len(list) {
			end = list[i+1].Begins
		}
		name := fmt.Sprintf("count-in %d", x.Number+1-list[0].Number)
		if x.Number >= 0 {
			name = fmt.Sprintf("m%d", x.Number)
		}
		if x.Page != "" {
			name += " (m" + x.Page + ")"
		}
		if len(x.Marks) > 0 {
			name += " " + strings.Join(x.Marks, ", ")
		}
		fmt.Fprintf(&b, "%.6f\t%.6f\t%s\n", x.Begins, end, strings.Join(strings.Fields(name), " "))
	}
	return []byte(b.String())
}
