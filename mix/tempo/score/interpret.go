package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// Wish is what a score asks of the tempo without a number: rit., a fermata. How it is
// meant is a person's decision; [Score.Play] proposes one.
type Wish struct {
	Measure int     // index into Written.Measures
	Quarter float64 // from the barline
	Kind    WishKind
	Text    string  // as written: "poco rit.", "fermata"
	Factor  float64 // of Gradual and AtOnce: of the tempo before; of a Pause: beats that are waited
	End     float64 // of a Pause: where its note ends, in quarters from the barline
}

// WishKind is a kind of wish.
type WishKind int

// The kinds: a ramp, another tempo at once, the tempo before them again, the
// piece's first tempo, and a pause.
const (
	Gradual WishKind = iota
	AtOnce
	ATempo
	TempoPrimo
	Pause
)

// Proposals for words (common practice, no source): what they make of a tempo, and
// how many beats a pause takes. A ramp lasts to the next mark, or to the end of the
// measure after it.
const (
	Slower      = 0.8
	Faster      = 1.25
	LittleShare = 0.5 // poco: half of the change
	MuchShare   = 1.75
	Fermata     = 1.0 // beats
	Caesura     = 0.5
)

// PlayOptions say how a score is played where it leaves that open.
type PlayOptions struct {
	Order     []tempo.Span   // runs of measures by their numbers on paper; nil: as the score says
	Interpret bool           // wishes are followed as proposed
	Changes   []tempo.Change // of tempo, by numbers on paper; they replace what the score says there
}

// Play returns the score as a person wants it played. Its remarks name every wish: how
// it is followed, or how it would be. An error says which measure is not there, or
// why the result cannot be played.
func (s *Score) Play(o PlayOptions) (*Score, error) {
	w := s.written
	w.Measures = slices.Clone(w.Measures)
	w.Remarks = slices.Clone(w.Remarks)
	for i := range w.Measures {
		w.Measures[i].Tempos = slices.Clone(w.Measures[i].Tempos)
	}
	order, remarks := s.order, s.signs
	if o.Order != nil {
		var err error
		if order, err = s.runs(o.Order); err != nil {
			return nil, err
		}
		remarks = nil
	}
	for _, c := range o.Changes {
		if err := w.override(c, s.find); err != nil {
			return nil, err
		}
	}
	out, err := assemble(w, order, o.Interpret)
	if err != nil {
		return nil, err
	}
	out.Remarks = append(out.Remarks, remarks...)
	out.written, out.signs, out.Hash = s.written, s.signs, s.Hash
	return out, nil
}

// override puts a person's tempo into the written score. What the score says in those
// measures is left out: of a ramp in all of them, else in the one measure.
func (w *Written) override(c tempo.Change, find func(int) int) error {
	from := find(c.Measure)
	if from < 0 {
		return fmt.Errorf("the score has no measure %d", c.Measure)
	}
	until := from + 1
	if c.RampTo > 0 {
		if until = find(c.Until); until < 0 && c.Until > c.Measure && find(c.Until-1) == len(w.Measures)-1 {
			until = len(w.Measures)
		}
		if until <= from {
			return fmt.Errorf("the score has no measure %d after measure %d", c.Until, c.Measure)
		}
	}
	unit := c.Beat
	if unit.IsZero() {
		unit = w.Measures[from].Meter.Unit()
	}
	now := w.tempoAt(from)
	if c.BPM > 0 {
		now = Tempo{Unit: unit, BPM: c.BPM}
	}
	w.Wishes = slices.DeleteFunc(slices.Clone(w.Wishes), func(x Wish) bool {
		return x.Measure >= from && x.Measure < until && x.Kind != Pause
	})
	for k := from; k < until; k++ {
		w.Measures[k].Tempos = nil
	}
	w.Measures[from].Tempos = []Tempo{{Unit: now.Unit, BPM: now.BPM}}
	if c.RampTo > 0 {
		w.ramp(spot{from, 0}, spot{until, 0}, now.speed(), c.RampTo*unit.Quarters())
	}
	return nil
}

// spot is a place in the written score.
type spot struct {
	measure int
	quarter float64
}

// length returns how many quarters measure k has.
func (w *Written) length(k int) float64 {
	if m := w.Measures[k]; m.Length > 0 {
		return m.Length
	}
	return w.Measures[k].Meter.Quarters()
}

// speed returns a tempo in quarters a minute where it begins.
func (t Tempo) speed() float64 { return t.BPM * t.Unit.Quarters() }

// after returns the tempo that a mark leaves behind it.
func (t Tempo) after() Tempo {
	if t.To > 0 {
		return Tempo{Unit: tempo.Unit{Num: 1, Den: 4}, BPM: t.To}
	}
	return Tempo{Unit: t.Unit, BPM: t.BPM}
}

// tempoAt returns the tempo in force where measure k begins, marks there included.
func (w *Written) tempoAt(k int) Tempo { return w.tempoBefore(spot{k, math.SmallestNonzeroFloat64}) }

// tempoBefore returns the tempo in force just before a place; the first mark holds
// before it too.
func (w *Written) tempoBefore(p spot) Tempo {
	var now Tempo
	for k := range w.Measures {
		for _, t := range w.Measures[k].Tempos {
			beyond := k > p.measure || k == p.measure && t.Quarter >= p.quarter
			switch {
			case beyond && now.BPM == 0:
				return Tempo{Unit: t.Unit, BPM: t.BPM}
			case beyond:
				return now
			}
			now = t.after()
		}
	}
	if now.BPM == 0 {
		return Tempo{Unit: tempo.Unit{Num: 1, Den: 4}, BPM: defaultBPM}
	}
	return now
}

// ramp writes a ramp from one place to another, linear in the score, into all its
// measures: each has its own part, so that it is right after a jump too.
func (w *Written) ramp(from, to spot, speed, target float64) {
	total := -from.quarter
	for k := from.measure; k < to.measure; k++ {
		total += w.length(k)
	}
	total += to.quarter
	done := 0.0
	for k := from.measure; k <= to.measure && k < len(w.Measures); k++ {
		begin, end := 0.0, w.length(k)
		if k == from.measure {
			begin = from.quarter
		}
		if k == to.measure {
			end = to.quarter
		}
		if end <= begin {
			continue
		}
		at := func(q float64) float64 { return speed + (target-speed)*q/total }
		w.mark(k, Tempo{Quarter: begin, Unit: tempo.Unit{Num: 1, Den: 4}, BPM: at(done), To: at(done + end - begin),
			End: end})
		done += end - begin
	}
}

// mark puts a tempo mark into measure k in its place, instead of one that is there.
func (w *Written) mark(k int, t Tempo) {
	marks := slices.DeleteFunc(slices.Clone(w.Measures[k].Tempos), func(o Tempo) bool { return o.Quarter == t.Quarter })
	marks = append(marks, t)
	slices.SortStableFunc(marks, func(a, b Tempo) int { return cmp.Compare(a.Quarter, b.Quarter) })
	w.Measures[k].Tempos = marks
}

// interpret turns wishes into tempos and holds, or with follow false only says what it
// would do.
func (w *Written) interpret(follow bool) {
	wishes := slices.Clone(w.Wishes)
	slices.SortStableFunc(wishes, func(a, b Wish) int {
		return cmp.Or(cmp.Compare(a.Measure, b.Measure), cmp.Compare(a.Quarter, b.Quarter))
	})
	first := w.tempoAt(0)
	var before Tempo // what a tempo leads back to
	for i, x := range wishes {
		at := spot{x.Measure, x.Quarter}
		now := w.tempoBefore(spot{x.Measure, math.Nextafter(x.Quarter, math.Inf(1))})
		var what string
		switch x.Kind {
		case Pause:
			what = w.pause(x, now)
		case Gradual:
			what = w.gradual(x, wishes[i+1:], now)
			if before.BPM == 0 {
				before = now
			}
		case AtOnce:
			w.mark(x.Measure, Tempo{Quarter: x.Quarter, Unit: now.Unit, BPM: now.BPM * x.Factor})
			what = fmt.Sprintf("%s = %s from beat %s", now.Unit, figure(now.BPM*x.Factor), w.beat(at))
			if before.BPM == 0 {
				before = now
			}
		default:
			to := before
			if x.Kind == TempoPrimo {
				to = first
			}
			if before = (Tempo{}); to.BPM == 0 || w.hasMark(at) {
				continue // it is in tempo, or a number says which
			}
			w.mark(x.Measure, Tempo{Quarter: x.Quarter, Unit: to.Unit, BPM: to.BPM})
			what = fmt.Sprintf("%s = %s from beat %s", to.Unit, figure(to.BPM), w.beat(at))
		}
		text := fmt.Sprintf("%q is not followed; interpret: yes would make it %s", x.Text, what)
		if follow {
			text = fmt.Sprintf("%q is followed as %s", x.Text, what)
		}
		w.Remarks = append(w.Remarks, "measure "+w.Measures[x.Measure].Number+": "+text)
	}
}

// pause adds a hold on the last beat of a note and says how long it is.
func (w *Written) pause(x Wish, now Tempo) string {
	m := &w.Measures[x.Measure]
	beat := m.Meter.Unit().Quarters()
	at := max(x.Quarter, x.End-beat)
	hold := WrittenHold{Quarter: at, Seconds: math.Round(x.Factor*beat*60/now.speed()*1000) / 1000}
	m.Holds = append(slices.Clone(m.Holds), hold)
	return fmt.Sprintf("a hold of %s s on beat %s", figure(hold.Seconds), w.beat(spot{x.Measure, at}))
}

// gradual adds a ramp and says where it leads.
func (w *Written) gradual(x Wish, later []Wish, now Tempo) string {
	from, speed := spot{x.Measure, x.Quarter}, now.speed()
	to, target := spot{min(x.Measure+2, len(w.Measures)), 0}, speed*x.Factor
	// The next wish that is about the tempo ends it.
	ended := false
	for _, y := range later {
		if next := (spot{y.Measure, y.Quarter}); y.Kind != Pause && next != from && next.before(to) {
			to, ended = next, true
			break
		}
	}
	// So does a tempo. One in the same direction is what it leads to, a little farther
	// away too.
	if next, mark, ok := w.nextMark(from); ok && mark.To == 0 {
		leads := (mark.speed()-speed)*(target-speed) > 0 && next.measure <= x.Measure+4
		if next.before(to) || next == to || leads && !ended {
			if to = next; leads {
				target = mark.speed()
			}
		}
	}
	w.ramp(from, to, speed, target)
	unit := now.Unit.Quarters()
	return fmt.Sprintf("%s = %s to %s from beat %s until %s", now.Unit, figure(now.BPM), figure(target/unit),
		w.beat(from), w.name(to))
}

// before reports whether a place comes before another.
func (p spot) before(q spot) bool {
	return p.measure < q.measure || p.measure == q.measure && p.quarter < q.quarter
}

// hasMark reports whether there is a tempo mark at a place.
func (w *Written) hasMark(p spot) bool {
	return slices.ContainsFunc(w.Measures[p.measure].Tempos, func(t Tempo) bool { return t.Quarter == p.quarter })
}

// nextMark returns the first tempo mark after a place.
func (w *Written) nextMark(p spot) (spot, Tempo, bool) {
	for k := p.measure; k < len(w.Measures); k++ {
		for _, t := range w.Measures[k].Tempos {
			if k > p.measure || t.Quarter > p.quarter {
				return spot{k, t.Quarter}, t, true
			}
		}
	}
	return spot{}, Tempo{}, false
}

// beat returns the beat of a place within its measure.
func (w *Written) beat(p spot) string { return figure(w.Measures[p.measure].Meter.Beat(p.quarter)) }

// name returns a place in words, with the beat when it is not the first.
func (w *Written) name(p spot) string {
	switch {
	case p.measure >= len(w.Measures):
		return "the end of measure " + w.Measures[len(w.Measures)-1].Number
	case p.quarter == 0:
		return "measure " + w.Measures[p.measure].Number
	}
	return "measure " + w.Measures[p.measure].Number + "." + w.beat(p)
}

// figure prints a number as people write it.
func figure(x float64) string { return fmt.Sprintf("%.4g", x) }
