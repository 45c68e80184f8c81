package progress

import (
	"math"
	"slices"
)

// Priors of the estimate, chosen by simulation (see the tests), no source:
// how much evidence, in seconds, outweighs the costs as announced and the
// number of workers as announced.
const (
	trustCost    = 2.0
	trustWorkers = 2.0
	smallestCost = 0.01 // for costs that are no positive number
	largestCost  = 1e9
)

// estimator keeps the books of a run and predicts the time left.
//
// Every piece of work is expected to take cost · pace seconds, where the pace
// of a stage is learned from what its pieces really took: finished ones, and
// running ones by their fraction. The sum over what remains, divided by the
// number of pieces that run at once on average, is the time left; it is never
// less than the longest remaining piece. Times are seconds since the
// reporter was made.
type estimator struct {
	workers float64
	stages  []*stage
	works   []*work
	running []*work // in order of their start

	last   float64
	active float64 // seconds in which anything ran
	busy   float64 // seconds times pieces running

	done      int
	totalCost float64
	doneCost  float64
}

// stage is all pieces of work of one name, such as "conform". Times are seconds since the
// reporter was made.
type stage struct {
	name          string
	total, done   int
	first, latest float64 // first start, last finish
	began         bool
	cost, seconds float64 // of its finished pieces that ran
}

// work is one piece: its cost is in seconds of one core, as estimated before, its fraction
// from 0 to 1 what is done of it.
type work struct {
	est         *estimator
	stage       *stage
	name        string
	cost        float64
	fraction    float64
	state       workState
	began, took float64
}

// workState is where a piece of work stands. It goes forward only.
type workState int

const (
	waiting workState = iota
	runs
	ended
)

// newEstimator returns books for a run with that many workers.
func newEstimator(workers int) *estimator { return &estimator{workers: float64(max(1, workers))} }

// add announces a task, whose cost is in seconds of one core.
func (e *estimator) add(stageName, name string, cost float64) *work {
	if !(cost >= smallestCost) { // also NaN
		cost = smallestCost
	}
	i := slices.IndexFunc(e.stages, func(s *stage) bool { return s.name == stageName })
	if i < 0 {
		i = len(e.stages)
		e.stages = append(e.stages, &stage{name: stageName})
	}
	w := &work{est: e, stage: e.stages[i], name: name, cost: min(cost, largestCost)}
	w.stage.total++
	e.works = append(e.works, w)
	e.totalCost += w.cost
	return w
}

// to moves the clock; at never goes back.
func (e *estimator) to(at float64) {
	dt := at - e.last
	e.last = at
	if n := len(e.running); n > 0 {
		e.active += dt
		e.busy += dt * float64(n)
	}
}

// start notes that w runs, and reports whether it had not begun before.
func (w *work) start(at float64) bool {
	if w.state != waiting {
		return false
	}
	w.state, w.began = runs, at
	if !w.stage.began {
		w.stage.began, w.stage.first = true, at
	}
	w.est.running = append(w.est.running, w)
	return true
}

// advance notes how much of w is done. It never goes back.
func (w *work) advance(fraction float64) {
	if w.state == runs && fraction > w.fraction { // false for NaN
		fraction = min(fraction, 1)
		w.est.doneCost += w.cost * (fraction - w.fraction)
		w.fraction = fraction
	}
}

// finish notes that w has ended, whether it ran or not, and reports whether it had
// not ended before.
func (w *work) finish(at float64) bool {
	e := w.est
	switch w.state {
	case ended:
		return false
	case runs:
		w.took = at - w.began
		w.stage.cost += w.cost
		w.stage.seconds += w.took
		e.running = slices.DeleteFunc(e.running, func(x *work) bool { return x == w })
	}
	e.doneCost += w.cost * (1 - w.fraction)
	w.state, w.fraction = ended, 1
	w.stage.latest = at
	w.stage.done++
	e.done++
	return true
}

// seconds returns how long w has run by now.
func (w *work) seconds(at float64) float64 {
	switch w.state {
	case runs:
		return at - w.began
	case ended:
		return w.took
	}
	return 0
}

// left predicts the seconds until everything announced is done; 0 when it is.
func (e *estimator) left(at float64) float64 {
	var cost, seconds float64
	byStage := map[*stage][2]float64{}
	for _, s := range e.stages {
		byStage[s] = [2]float64{s.cost, s.seconds}
	}
	// What runs counts with the part of it that is done: long pieces would else tell nothing
	// until they end.
	for _, w := range e.running {
		x := byStage[w.stage]
		if w.fraction > 0 {
			x[0] += w.cost * w.fraction
			x[1] += w.seconds(at)
		}
		byStage[w.stage] = x
	}
	for _, s := range e.stages {
		cost += byStage[s][0]
		seconds += byStage[s][1]
	}
	// Each pace is drawn towards the pace of all, and that towards the costs as announced, as if
	// trustCost seconds had gone exactly as expected: a few short pieces do not swing it.
	overall := (seconds + trustCost) / (cost + trustCost)
	pace := map[*stage]float64{}
	for s, x := range byStage {
		pace[s] = (x[1] + trustCost*overall) / (x[0] + trustCost)
	}
	var sum, longest, n float64
	for _, w := range e.works {
		if w.state == ended {
			continue
		}
		r := w.remaining(at, pace[w.stage])
		sum, longest, n = sum+r, max(longest, r), n+1
	}
	if n == 0 {
		return 0
	}
	// As many run at once as was seen so far; and what is left takes at least as long as its
	// longest piece.
	atOnce := (e.busy + trustWorkers*e.workers) / (e.active + trustWorkers)
	return max(longest, sum/max(1, min(atOnce, n)))
}

// remaining returns what w still takes at the given pace of its stage.
func (w *work) remaining(at, pace float64) float64 {
	whole := w.cost * pace
	if w.state == waiting {
		return whole
	}
	t := w.seconds(at)
	if w.fraction > 0 {
		// The further it got, the more its own speed counts.
		own := t / w.fraction
		return (1 - w.fraction) * ((1-w.fraction)*whole + w.fraction*own)
	}
	// No word from it: count down, but never to nothing.
	return max(whole-t, 0.05*whole)
}

// state returns the run at one moment, for the printers.
func (e *estimator) state(at float64) state {
	s := state{at: at, done: e.done, total: len(e.works), left: -1}
	if e.totalCost > 0 {
		s.fraction = math.Max(0, math.Min(1, e.doneCost/e.totalCost))
	}
	if e.active >= 1 || s.done == s.total {
		s.left = e.left(at)
	}
	for _, st := range e.stages {
		x := stageState{name: st.name, done: st.done, total: st.total}
		if st.began {
			x.seconds = max(0, st.latest-st.first)
		}
		s.stages = append(s.stages, x)
	}
	if n := len(e.running); n > 0 {
		s.current = e.running[n-1].stage.name + " " + e.running[n-1].name
	}
	return s
}
