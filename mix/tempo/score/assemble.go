package score

import (
	"fmt"
	"slices"

	"ripieno/mix/tempo"
)

// Default tempo of a file that gives none: 120 quarters a minute, as Standard
// MIDI Files have it (from memory).
const defaultBPM = 120

// Assemble plays the written measures in order, indices into w.Measures. An
// error names the measure; the tempo map of a score that is returned can be
// built.
func Assemble(w Written, order []int) (*Score, error) {
	if len(order) == 0 {
		return nil, fmt.Errorf("the score has no measures")
	}
	if len(order) > tempo.MaxMeasures {
		return nil, fmt.Errorf("the score has more than %d measures as played", tempo.MaxMeasures)
	}
	a := assembler{w: w, s: &Score{Title: w.Title, Remarks: w.Remarks}}
	a.spread()
	for i, k := range order {
		pickUp := i == 0 && w.PickUp && k == 0 && len(order) > 1
		if err := a.play(k, pickUp); err != nil {
			return nil, err
		}
	}
	for _, p := range a.parts {
		if len(p.Onsets) > 0 {
			// Voices of a part come one after another in the file.
			slices.SortStableFunc(p.Onsets, func(x, y Onset) int {
				switch {
				case x.Quarter < y.Quarter:
					return -1
				case x.Quarter > y.Quarter:
					return 1
				}
				return x.Note - y.Note
			})
			a.s.Parts = append(a.s.Parts, p)
		}
	}
	// Files can say what no map can be, such as absurd tempos.
	if _, err := tempo.New(a.s.Spec); err != nil {
		return nil, err
	}
	return a.s, nil
}

// assembler plays measures one after another and writes down only what
// changes from one to the next.
type assembler struct {
	w     Written
	s     *Score
	begin []Tempo // in force where each written measure begins
	parts []Part
	total int

	quarter float64     // where the next measure begins
	meter   tempo.Meter // in force
	tempo   Tempo       // in force, Quarter unused
}

// spread finds the tempo in force at each written measure: the last mark
// before it on paper, which is also the one after a jump back.
func (a *assembler) spread() {
	now := Tempo{}
	for _, m := range a.w.Measures {
		for _, t := range m.Tempos {
			if now.BPM == 0 {
				// What comes before the first mark is played in its tempo.
				now = t
			}
		}
	}
	if now.BPM == 0 {
		now = Tempo{Unit: tempo.Unit{Num: 1, Den: 4}, BPM: defaultBPM}
		a.s.Remarks = append(a.s.Remarks, fmt.Sprintf("the score gives no tempo: %d quarters a minute are taken",
			defaultBPM))
	}
	a.begin = make([]Tempo, len(a.w.Measures))
	for i, m := range a.w.Measures {
		for len(m.Tempos) > 0 && m.Tempos[0].Quarter <= 0 {
			now = m.Tempos[0]
			m.Tempos = m.Tempos[1:]
		}
		a.begin[i] = now
		if n := len(m.Tempos); n > 0 {
			now = m.Tempos[n-1]
		}
	}
	a.parts = make([]Part, len(a.w.Parts))
	for i, p := range a.w.Parts {
		a.parts[i].Name = p.Name
	}
}

// play adds written measure k as the next one.
func (a *assembler) play(k int, pickUp bool) error {
	m := a.w.Measures[k]
	spec := &a.s.Spec
	number, skipped := 0, 0.0
	meter, length := m.Meter, m.Meter.Quarters()
	if m.Length > 0 && m.Length != length {
		length = m.Length
		// A pick-up keeps its full meter, which the count-in needs too.
		if !pickUp {
			var err error
			if meter, err = ofLength(length, m.Meter); err != nil {
				return fmt.Errorf("measure %s: %w", m.Number, err)
			}
		}
	}
	if pickUp {
		skipped = meter.Quarters() - length
		if skipped <= 0 {
			pickUp = false // it fills its measure and is measure 1
		}
	}
	if pickUp {
		spec.PickUp = float64(meter.Beats()+1) - meter.Beat(skipped)
		a.quarter = -length
	} else {
		spec.Measures++
		number = spec.Measures
		a.s.Printed = append(a.s.Printed, m.Number)
	}
	a.mark(Tempo{0, a.begin[k].Unit, a.begin[k].BPM}, number, meter, 0)
	for _, t := range m.Tempos {
		if t.Quarter > 0 && t.Quarter < length {
			a.mark(t, number, meter, skipped)
		}
	}
	for i, p := range a.w.Parts {
		from, _ := slices.BinarySearchFunc(p.Onsets, k, func(o WrittenOnset, k int) int { return o.Measure - k })
		for _, o := range p.Onsets[from:] {
			if o.Measure != k {
				break
			}
			if a.total++; a.total > maxOnsets {
				return fmt.Errorf("the score has more than %d notes as played", maxOnsets)
			}
			a.parts[i].Onsets = append(a.parts[i].Onsets, Onset{a.quarter + o.Quarter, o.Note})
		}
	}
	a.quarter += length
	return nil
}

// mark adds the change that t makes in a played measure, if it makes one; a
// new meter counts for marks on the downbeat.
func (a *assembler) mark(t Tempo, number int, meter tempo.Meter, skipped float64) {
	c := tempo.Change{Measure: number}
	if t.Quarter > 0 {
		c.At = meter.Beat(skipped+t.Quarter) - meter.Beat(skipped) + 1
	} else if meter != a.meter {
		c.Meter, a.meter = meter, meter
	}
	if t.Unit != a.tempo.Unit || t.BPM != a.tempo.BPM {
		c.Beat, c.BPM = t.Unit, t.BPM
		a.tempo = t
	}
	if !c.Meter.IsZero() || c.BPM != 0 {
		a.s.Spec.Changes = append(a.s.Spec.Changes, c)
	}
}

// ofLength returns a meter of that many quarters, on like's note value or the
// longest shorter one that fits: for measures that are shorter or longer than
// their signature.
func ofLength(quarters float64, like tempo.Meter) (tempo.Meter, error) {
	_, den := like.Fraction()
	for ; den <= 64; den *= 2 {
		n := quarters * float64(den) / 4
		if n == float64(int(n)) && n >= 1 && n <= 64 {
			return tempo.MeterOf([]int{int(n)}, den)
		}
	}
	return tempo.Meter{}, fmt.Errorf("it is %.6g quarter notes long, which no time signature can say", quarters)
}
