package score

import (
	"errors"
	"fmt"
	"slices"

	"ripieno/mix/tempo"
)

// Unroll returns the measures in the order of playing, as indices, and remarks on
// signs that lead nowhere. An error says that no order can be had.
//
// The rules, which are those of MusicXML 4.0 where it has them, and else common
// practice without a source:
//
//   - Jumps are at the ends of measures, signs at their beginnings.
//   - A repeat comes before a jump at the end of the same measure.
//   - A da capo or dal segno is taken once, the first time that no repeat is left
//     where it stands; with TimeOnly in those passes.
//   - After it no repeat is played, and of endings the last, unless it says so
//     (Repeats: con repetizione) or the repeat does (AfterJump).
//   - To coda and fine hold only after a da capo or dal segno: al fine passes every
//     to coda by, al coda every fine before the coda.
//   - Repeats in the coda are played.
//   - Of several signs without a name a dal segno takes the nearest before it, and
//     to coda the nearest behind.
//
// It ends always: every jump is taken a bounded number of times, every repeat
// advances its pass, and more than [tempo.MaxMeasures] measures are an error.
func Unroll(measures []Measure) (order []int, remarks []string, err error) {
	w := walker{measures: measures, endings: spans(measures), visits: make([]int, len(measures)),
		taken: map[[2]int]int{}, repeats: true, pass: 1}
	for i := 0; i < len(measures); {
		if i, err = w.step(i); err != nil {
			return nil, nil, err
		}
	}
	if len(w.order) == 0 {
		return nil, nil, errors.New("no measure is played: all stand in endings that are never reached")
	}
	w.remarkUnused()
	return w.order, w.remarks, nil
}

// walker plays a score measure by measure.
type walker struct {
	measures []Measure
	endings  [][]int // the numbers of the ending that each measure stands in
	order    []int
	remarks  []string

	begin, pass int            // of the passage that is repeated
	repeats     bool           // repeats are played
	jumped      bool           // after a da capo or dal segno
	goal        Goal           // of that jump
	visits      []int          // how often each measure has been played
	taken       map[[2]int]int // how often a jump of a measure has been taken
}

// step plays measure i, or skips it, and returns the next.
func (w *walker) step(i int) (int, error) {
	m := &w.measures[i]
	leaves := w.endings[i] == nil && i > 0 && w.endings[i-1] != nil
	if i != w.begin && (m.Forward || leaves) {
		w.begin, w.pass = i, 1 // a new passage; at begin it is a jump back
	}
	if w.endings[i] != nil && !w.inEnding(i) {
		return i + 1, nil
	}
	if w.order = append(w.order, i); len(w.order) > tempo.MaxMeasures {
		return 0, fmt.Errorf("more than %d measures as played", tempo.MaxMeasures)
	}
	w.visits[i]++
	if w.again(i) {
		w.pass++
		return w.begin, nil
	}
	if m.Backward && w.endings[i] == nil {
		w.begin, w.pass = i+1, 1
	}
	if next, ok := w.leave(i); ok {
		return next, nil
	}
	if next, ok := w.jump(i); ok {
		return next, nil
	}
	return i + 1, nil
}

// inEnding reports whether the ending of measure i is played now.
func (w *walker) inEnding(i int) bool {
	if w.repeats {
		return slices.Contains(w.endings[i], w.pass)
	}
	first := i
	for first > 0 && w.endings[first-1] != nil {
		first--
	}
	return slices.Contains(w.endings[i], lastEnding(w.endings, first))
}

// again reports whether the passage is repeated from the end of measure i. Within
// endings their numbers say how often, whatever Times says.
func (w *walker) again(i int) bool {
	m := &w.measures[i]
	switch {
	case !m.Backward, !w.repeats && !m.AfterJump:
		return false
	case w.endings[i] != nil:
		return w.repeats && w.pass < lastEnding(w.endings, i)
	}
	return w.pass < m.Times
}

// leave takes a to coda or fine at the end of measure i.
func (w *walker) leave(i int) (next int, ok bool) {
	for k, j := range w.measures[i].Jumps {
		if j.Kind != ToCoda && j.Kind != Fine || !w.holds(i, k) {
			continue
		}
		if j.Kind == Fine {
			w.taken[[2]int{i, k}]++
			return len(w.measures), true
		}
		if next = w.coda(i, j.To); next < 0 {
			continue
		}
		w.taken[[2]int{i, k}]++
		w.repeats, w.goal = true, AnyGoal
		w.land(next)
		return next, true
	}
	return 0, false
}

// holds reports whether jump k of measure i, a to coda or a fine, is taken now.
func (w *walker) holds(i, k int) bool {
	j := w.measures[i].Jumps[k]
	if j.Kind == ToCoda && w.taken[[2]int{i, k}] > 0 {
		return false
	}
	if len(j.TimeOnly) > 0 {
		return slices.Contains(j.TimeOnly, w.visits[i])
	}
	return w.jumped && !(w.goal == AlFine && j.Kind == ToCoda) && !(w.goal == AlCoda && j.Kind == Fine)
}

// jump takes a da capo or dal segno at the end of measure i.
func (w *walker) jump(i int) (next int, ok bool) {
	for k, j := range w.measures[i].Jumps {
		if j.Kind != DaCapo && j.Kind != DalSegno {
			continue
		}
		key := [2]int{i, k}
		if len(j.TimeOnly) > 0 {
			// Each pass is there once, so that this ends too.
			if !slices.Contains(j.TimeOnly, w.visits[i]) {
				continue
			}
		} else if w.taken[key] > 0 {
			continue
		}
		if next = 0; j.Kind == DalSegno {
			if next = w.segno(i, j.To); next < 0 {
				continue
			}
		}
		w.taken[key]++
		w.jumped, w.repeats, w.goal = true, j.Repeats, j.Goal
		w.land(next)
		return next, true
	}
	return 0, false
}

// land begins a passage where a jump leads. Within an ending it is the pass of that
// ending.
func (w *walker) land(i int) {
	w.begin, w.pass = i, 1
	if w.endings[i] != nil {
		w.pass = slices.Min(w.endings[i])
	}
}

// segno returns the measure of the sign to which a dal segno in measure i leads: the
// one of that name, else the nearest before it, else the first; −1 for none.
func (w *walker) segno(i int, name string) int {
	best := -1
	for k, m := range w.measures {
		if len(m.Segno) == 0 {
			continue
		}
		if name != "" && slices.Contains(m.Segno, name) {
			return k
		}
		if best < 0 || k <= i {
			best = k
		}
	}
	return best
}

// coda returns the measure of the coda to which a to coda in measure i leads: the
// one of that name, else the nearest behind it; −1 for none.
func (w *walker) coda(i int, name string) int {
	best := -1
	for k, m := range w.measures {
		if len(m.Coda) == 0 {
			continue
		}
		if name != "" && slices.Contains(m.Coda, name) {
			return k
		}
		if best < 0 && k > i {
			best = k
		}
	}
	return best
}

// remarkUnused names the signs that were followed nowhere, and jumps back after
// which nothing says where the piece ends.
func (w *walker) remarkUnused() {
	for i, m := range w.measures {
		for k, j := range m.Jumps {
			switch {
			case w.taken[[2]int{i, k}] > 0:
				if j.Kind <= DalSegno && !w.ends() {
					w.remark(i, "%v without fine or coda: the piece is played on to its last measure", j.Kind)
				}
			case j.Kind == DalSegno && w.segno(i, j.To) < 0:
				w.remark(i, "dal segno is not followed: there is no segno")
			case j.Kind == ToCoda && w.coda(i, j.To) < 0:
				w.remark(i, "to coda is not followed: there is no coda behind it")
			case j.Kind == Fine && i == len(w.measures)-1: // the piece ends there anyway
			case j.Kind >= ToCoda && w.jumped: // passed by, as the jump says
			case j.Kind == ToCoda || j.Kind == Fine:
				w.remark(i, "%v is not followed: no da capo or dal segno leads there", j.Kind)
			default:
				w.remark(i, "%v is not followed: it is never reached", j.Kind)
			}
		}
	}
}

// ends reports whether a fine or a to coda has been taken.
func (w *walker) ends() bool {
	for key := range w.taken {
		if k := w.measures[key[0]].Jumps[key[1]].Kind; k == ToCoda || k == Fine {
			return true
		}
	}
	return false
}

// remark adds a remark on measure i.
func (w *walker) remark(i int, format string, args ...any) {
	w.remarks = append(w.remarks, "measure "+w.measures[i].Number+": "+fmt.Sprintf(format, args...))
}

// spans returns for each measure the numbers of the ending it stands in, or nil.
func spans(measures []Measure) [][]int {
	out := make([][]int, len(measures))
	var now []int
	for i, m := range measures {
		if len(m.Endings) > 0 {
			now = m.Endings
		}
		out[i] = now
		if m.EndingStops {
			now = nil
		}
	}
	return out
}

// lastEnding returns the highest number of the endings that follow one another
// from measure i on.
func lastEnding(endings [][]int, i int) int {
	last := 0
	for ; i < len(endings) && endings[i] != nil; i++ {
		last = max(last, slices.Max(endings[i]))
	}
	return last
}
