package score

import (
	"fmt"
	"slices"

	"ripieno/mix/tempo"
)

// Default tempo of a file that gives none: 120 quarters a minute, as Standard
// MIDI Files have it (from memory).
const defaultBPM = 120

// Assemble plays the written measures in order, indices into w.Measures; remarks are
// those on that order. Wishes are named and not followed: see [Score.Play]. An error
// names the measure; the tempo map of a score that is returned can be built.
func Assemble(w Written, order []int, remarks ...string) (*Score, error) {
	s, err := assemble(w, order, false)
	if err != nil {
		return nil, err
	}
	s.written, s.signs = w, remarks
	s.Remarks = append(s.Remarks, remarks...)
	return s, nil
}

// assemble plays the written measures; with follow wishes are followed.
func assemble(w Written, order []int, follow bool) (*Score, error) {
	if len(order) == 0 {
		return nil, fmt.Errorf("the score has no measures")
	}
	if len(order) > tempo.MaxMeasures {
		return nil, fmt.Errorf("the score has more than %d measures as played", tempo.MaxMeasures)
	}
	w.Remarks = slices.Clone(w.Remarks)
	w.giveTempo()
	plain := w
	if w.Measures = slices.Clone(w.Measures); len(w.Wishes) > 0 {
		w.interpret(follow)
	}
	if !follow { // what it would be is only said
		w.Measures = plain.Measures
	}
	a := assembler{w: w, s: &Score{Title: w.Title, Remarks: slices.Clone(w.Remarks), order: order}, odd: map[int]bool{}}
	a.spread()
	straight := isStraight(order, len(w.Measures))
	for i := 0; i < len(order); {
		pickUp := i == 0 && w.PickUp && order[0] == 0 && len(order) > 1
		n := 1
		// Without repeats every piece of a measure stays one of its own, as the page
		// counts them.
		if !pickUp && !straight {
			n = a.group(order[i:])
		}
		if err := a.play(order[i:i+n], pickUp); err != nil {
			return nil, err
		}
		i += n
	}
	a.place(straight)
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
	keys  []*Key  // in force in each written measure; nil where none is known
	parts []Part
	total int

	numbers []string // on paper, of the measures that are played
	odd     map[int]bool

	quarter float64     // where the next measure begins
	meter   tempo.Meter // in force
	tempo   Tempo       // in force, Quarter unused
}

// place says where the page has the measures, when they are not played as it has
// them.
func (a *assembler) place(straight bool) {
	if !straight {
		a.s.Spec.Paper = tempo.PlacesOf(a.numbers)
	}
}

// giveTempo puts the usual tempo into a score that gives none.
func (w *Written) giveTempo() {
	if slices.ContainsFunc(w.Measures, func(m Measure) bool { return len(m.Tempos) > 0 }) {
		return
	}
	w.Measures = slices.Clone(w.Measures)
	w.Measures[0].Tempos = []Tempo{{Unit: tempo.Unit{Num: 1, Den: 4}, BPM: defaultBPM}}
	w.Remarks = append(w.Remarks, fmt.Sprintf("the score gives no tempo: %d quarters a minute are taken", defaultBPM))
}

// spread finds the tempo in force at each written measure: the last mark
// before it on paper, which is also the one after a jump back.
func (a *assembler) spread() {
	now := a.w.tempoAt(0)
	a.begin = make([]Tempo, len(a.w.Measures))
	a.keys = make([]*Key, len(a.w.Measures))
	for i, m := range a.w.Measures {
		for len(m.Tempos) > 0 && m.Tempos[0].Quarter <= 0 {
			now = m.Tempos[0]
			m.Tempos = m.Tempos[1:]
		}
		a.begin[i] = now
		if n := len(m.Tempos); n > 0 {
			now = m.Tempos[n-1]
		}
		now = now.after()
		if a.keys[i] = m.Key; m.Key == nil && i > 0 {
			a.keys[i] = a.keys[i-1]
		}
	}
	a.parts = make([]Part, len(a.w.Parts))
	for i, p := range a.w.Parts {
		a.parts[i].Name = p.Name
	}
}

// group returns how many written measures of order are one measure as played, from
// the first on: the halves of one that is split at a repeat, where they meet. Each
// is shorter than its signature and together they fill it.
func (a *assembler) group(order []int) int {
	first := a.w.Measures[order[0]]
	full, sum := first.Meter.Quarters(), 0.0
	for n, k := range order {
		m := a.w.Measures[k]
		if m.Meter != first.Meter || m.Length <= 0 || m.Length >= full {
			break
		}
		if sum += m.Length; sum > full {
			break
		}
		if sum == full {
			return n + 1
		}
	}
	return 1
}

// play adds written measures as the next one; pieces are the halves of a measure,
// or one measure alone.
func (a *assembler) play(pieces []int, pickUp bool) error {
	m := a.w.Measures[pieces[0]]
	spec := &a.s.Spec
	number, skipped := 0, 0.0
	meter, length := m.Meter, m.Meter.Quarters()
	if len(pieces) == 1 && m.Length > 0 && m.Length != length {
		length = m.Length
		// A pick-up keeps its full meter, which the count-in needs too.
		if !pickUp {
			var err error
			if meter, err = ofLength(length, m.Meter); err != nil {
				return fmt.Errorf("measure %s: %w", m.Number, err)
			}
			a.remarkLength(pieces[0])
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
		a.numbers = append(a.numbers, m.Number)
	}
	into := 0.0
	a.signatures(pieces, number)
	for _, k := range pieces {
		own := length
		if len(pieces) > 1 {
			own = a.w.Measures[k].Length
		}
		begin := a.begin[k]
		begin.Quarter = into
		begin.End += into
		a.mark(begin, number, meter, skipped)
		for _, t := range a.w.Measures[k].Tempos {
			if t.Quarter > 0 && t.Quarter < own {
				t.Quarter += into
				t.End += into
				a.mark(t, number, meter, skipped)
			}
		}
		for _, h := range a.w.Measures[k].Holds {
			at := tempo.Position{Measure: number, Beat: meter.Beat(skipped+into+h.Quarter) - meter.Beat(skipped) + 1}
			spec.Holds = append(spec.Holds, tempo.Hold{At: at, Seconds: h.Seconds})
		}
		if err := a.notes(k, into); err != nil {
			return err
		}
		into += own
	}
	a.quarter += length
	return nil
}

// remarkLength says once that a measure is played as long as what is in it.
func (a *assembler) remarkLength(k int) {
	m := a.w.Measures[k]
	if m.Free || a.odd[k] {
		return
	}
	a.odd[k] = true
	a.s.Remarks = append(a.s.Remarks, fmt.Sprintf(
		"measure %s: it holds %.6g quarter notes, its time signature %.6g: its own length is taken", m.Number, m.Length,
		m.Meter.Quarters()))
}

// signatures adds the marks of a measure, and its key when it is another one.
func (a *assembler) signatures(pieces []int, number int) {
	rest := true
	for _, k := range pieces {
		if text := a.w.Measures[k].Mark; text != "" {
			a.s.Marks = append(a.s.Marks, Mark{number, text})
		}
		rest = rest && a.w.Measures[k].Rest
	}
	key := a.keys[pieces[0]]
	if key == nil {
		return
	}
	now := KeySpan{Measure: number, Key: *key, Rest: rest}
	if n := len(a.s.Keys); n == 0 || a.s.Keys[n-1].Key != now.Key || a.s.Keys[n-1].Rest != rest {
		a.s.Keys = append(a.s.Keys, now)
	}
}

// notes adds the notes of written measure k, which begins so many quarters into the
// measure that is played.
func (a *assembler) notes(k int, into float64) error {
	for i, p := range a.w.Parts {
		from, _ := slices.BinarySearchFunc(p.Onsets, k, func(o WrittenOnset, k int) int { return o.Measure - k })
		for _, o := range p.Onsets[from:] {
			if o.Measure != k {
				break
			}
			if a.total++; a.total > maxOnsets {
				return fmt.Errorf("the score has more than %d notes as played", maxOnsets)
			}
			a.parts[i].Onsets = append(a.parts[i].Onsets, Onset{a.quarter + into + o.Quarter, o.Note})
		}
	}
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
	if t.Unit != a.tempo.Unit || t.BPM != a.tempo.BPM || t.To > 0 {
		c.Beat, c.BPM = t.Unit, t.BPM
		a.tempo = t
	}
	if t.To > 0 {
		c.RampTo = t.To
		if c.Until, c.UntilBeat = number, meter.Beat(skipped+t.End)-meter.Beat(skipped)+1; t.End >= meter.Quarters()-
			skipped {
			c.Until, c.UntilBeat = number+1, 0
		}
		a.tempo = t.after()
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
