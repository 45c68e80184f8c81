package guide

import (
	"fmt"
	"math"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/mix/tempo"
)

// differences returns in what a guide that was made differs from the job as the
// manifest has it now: all that moves a beat, and nothing that only changes how
// the guide sounds or how its tempo is written.
func (j Job) differences(g manifest.MadeGuide, man *production.Production) []Difference {
	m, err := tempo.New(g.Spec)
	if err != nil {
		return nil // not from ParseMade, which refuses such
	}
	var list []Difference
	add := func(of, made, now string) {
		if made != now {
			list = append(list, Difference{of, made, now})
		}
	}
	was, is := g.Spec, j.Tempo.Spec()
	from, to := 0, 0
	if v := j.Variant; v != nil && v.To > 0 {
		from, to = v.From, v.To-1
	}
	made, now := differentTempo(m, j.Tempo)
	add("tempo", made, now)
	made, now = differentMeter(m, j.Tempo)
	add("meter", made, now)
	add("count-in", countIn(was), countIn(is))
	if was.CountIn.Measures == is.CountIn.Measures {
		add("cue", cue(was), cue(is))
	}
	add("pick-up", pickUp(was), pickUp(is))
	add("measures", measures(g.From, g.To, was), measures(from, to, is))
	made, now = differentHold(was.Holds, is.Holds)
	add("holds", made, now)
	// Another score with the same beats makes the same guide.
	if s := man.Score; len(list) > 0 && s != nil && g.Score != "" && g.Score != s.Hash {
		add("score", "another version of the score", "this score")
	}
	return list
}

// differentTempo returns the tempi of two guides at the first place where one
// goes faster than the other, holds left aside, and nothing when there is none. It
// compares how long each quarter note lasts, to a millionth, since the same tempo can
// be written in many ways.
func differentTempo(was, is *tempo.Map) (made, now string) {
	was, is = withoutHolds(was), withoutHolds(is)
	end := min(was.QuartersAt(was.End()), is.QuartersAt(is.End()))
	for q := 0.0; q < end; q++ {
		step := min(1, end-q)
		a, b := was.SecondsAt(q+step)-was.SecondsAt(q), is.SecondsAt(q+step)-is.SecondsAt(q)
		if math.Abs(a-b) < 1e-6*step {
			continue
		}
		// One tempo for the whole piece needs no measure.
		if x, y := was.SteadyBPM(), is.SteadyBPM(); x > 0 && y > 0 {
			return fmt.Sprintf("%.6g bpm", x), fmt.Sprintf("%.6g bpm", y)
		}
		return bpmAt(was, q, step/a), bpmAt(is, q, step/b)
	}
	return "", ""
}

// withoutHolds returns the map of the same piece whose beat never stops. Holds are
// told by themselves: a longer one would otherwise look like another tempo.
func withoutHolds(m *tempo.Map) *tempo.Map {
	spec := m.Spec()
	if len(spec.Holds) == 0 {
		return m
	}
	spec.Holds = nil
	if plain, err := tempo.New(spec); err == nil {
		return plain
	}
	return m
}

// bpmAt says the tempo at a place in quarter notes, where so many pass in a
// second, in the beats of the meter there.
func bpmAt(m *tempo.Map, q, quarters float64) string {
	n := m.PositionAt(q).Measure
	beat := m.Meter(n).Quarters() / float64(m.Meter(n).Beats())
	return fmt.Sprintf("%.6g bpm in measure %d", 60*quarters/beat, n)
}

// differentMeter returns the meters of two guides in the first measure in which
// they differ.
func differentMeter(was, is *tempo.Map) (made, now string) {
	for n := 1; n <= min(was.Measures(), is.Measures()); n++ {
		a, b := was.Meter(n).String(), is.Meter(n).String()
		switch {
		case a == b:
		case n == 1:
			return a, b
		default:
			return fmt.Sprintf("%s in measure %d", a, n), fmt.Sprintf("%s in measure %d", b, n)
		}
	}
	return "", ""
}

// differentHold returns the first holds that differ. Only the first is told: one that
// was put in would move all others.
func differentHold(was, is []tempo.Hold) (made, now string) {
	hold := func(list []tempo.Hold, i int) string {
		if i >= len(list) {
			return "no hold there"
		}
		return fmt.Sprintf("a hold of %.6g s in %s", list[i].Seconds, list[i].At)
	}
	for i := range max(len(was), len(is)) {
		if made, now = hold(was, i), hold(is, i); made != now {
			return made, now
		}
	}
	return "", ""
}

// countIn returns how long a count-in is, in words.
func countIn(s tempo.Spec) string {
	return countOf(float64(s.CountIn.Measures), "count-in of", "measure", "no count-in")
}

// pickUp returns how long a pick-up is, in words.
func pickUp(s tempo.Spec) string { return countOf(s.PickUp, "pick-up of", "beat", "no pick-up") }

// countOf says how many of something there are.
func countOf(n float64, what, unit, none string) string {
	switch n {
	case 0:
		return none
	case 1:
		return fmt.Sprintf("a %s 1 %s", what, unit)
	}
	return fmt.Sprintf("a %s %.6g %ss", what, n, unit)
}

// cue returns where the cue is, in words.
func cue(s tempo.Spec) string {
	return fmt.Sprintf("the cue on beat %.6g of measure %d", s.CountIn.CueBeat, s.CountIn.CueMeasure)
}

// measures says which measures a guide has: of a part of the piece, or with 0
// all.
func measures(from, to int, s tempo.Spec) string {
	if to > 0 {
		return fmt.Sprintf("measures %d to %d", from, to)
	}
	if s.Measures == 1 {
		return "1 measure"
	}
	return fmt.Sprintf("%d measures", s.Measures)
}
