package task

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"time"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// Run makes what is missing. It returns
//   - nil when every needed output is there,
//   - [Failures] when tasks failed; everything that does not come after them
//     was made all the same, and the result says what became of each,
//   - the context's error when the run was cancelled: what was running has then
//     ended, and nothing of it was stored,
//   - any other error for a graph that is wrong in itself.
//
// A full disk stops the run: nothing new is started after it.
func (r Runner) Run(ctx context.Context, tasks []Task) (Result, error) {
	g, err := check(tasks)
	if err != nil {
		return Result{}, err
	}
	if r.Progress == nil {
		r.Progress = progress.New(nil, progress.Quiet)
	}
	looked, err := r.look(ctx, g)
	if err != nil {
		return Result{}, err
	}
	costs, _, err := r.costs(ctx, g, looked)
	if err != nil {
		return Result{}, err
	}
	x := newExecution(r, g, looked, costs)
	x.loop(ctx)
	return x.result(ctx)
}

// execution is one run. Only loop's goroutine touches it; workers send what
// they did on the channel.
type execution struct {
	Runner
	g        *graph
	looked   []looked
	out      []Outcome
	work     []progress.Work
	waitsFor []int     // predecessors that have not ended
	urgency  []float64 // cost of the longest way to an end of the graph
	ready    []int     // those that spread last, most urgent first
	ended    chan ending

	running int // tasks
	memory  int64
	stopped error // the disk is full: start nothing more
}

type ending struct {
	task      int
	made      bool
	cancelled bool
	path      string
	err       error
	seconds   float64
}

func newExecution(r Runner, g *graph, l []looked, costs []float64) *execution {
	n := len(g.tasks)
	x := &execution{Runner: r, g: g, looked: l, out: make([]Outcome, n), work: make([]progress.Work, n),
		waitsFor: make([]int, n), urgency: make([]float64, n), ended: make(chan ending)}
	x.Workers = max(1, x.Workers)
	for _, i := range slices.Backward(g.order) {
		if l[i].runs {
			x.urgency[i] = costs[i]
		}
		var longest float64
		for _, j := range g.before[i] {
			longest = max(longest, x.urgency[j])
		}
		x.urgency[i] += longest
	}
	for i, t := range g.tasks {
		x.out[i] = Outcome{ID: t.ID, Path: l[i].path}
		if l[i].path != "" {
			x.out[i].State = Reused
		}
		if !l[i].runs {
			continue
		}
		x.out[i].State = Cancelled // until it ends otherwise
		x.work[i] = r.Progress.Add(t.stage(), t.name(), costs[i])
		for _, j := range g.after[i] {
			if l[j].runs {
				x.waitsFor[i]++
			}
		}
		if x.waitsFor[i] == 0 {
			x.push(i)
		}
	}
	return x
}

// push keeps ready sorted: tasks that keep to one core, then those that spread,
// each by urgency, then by place in the list. With the longest way first the
// last worker is idle for the shortest time (Graham 1969, list scheduling), and
// the order of starts depends on nothing but the graph.
func (x *execution) push(i int) {
	at, _ := slices.BinarySearchFunc(x.ready, i, func(a, b int) int {
		return cmp.Or(cmp.Compare(x.turn(a), x.turn(b)), cmp.Compare(x.urgency[b], x.urgency[a]), cmp.Compare(a, b))
	})
	x.ready = slices.Insert(x.ready, at, i)
}

// turn is 1 for tasks that wait for those of turn 0.
func (x *execution) turn(i int) int {
	if x.g.tasks[i].Spreads {
		return 1
	}
	return 0
}

// loop starts what fits and takes in what ended, until nothing runs and
// nothing can be started.
func (x *execution) loop(ctx context.Context) {
	for {
		if x.stopped == nil && ctx.Err() == nil {
			x.startReady(ctx)
		}
		if x.running == 0 {
			return
		}
		x.take(<-x.ended)
	}
}

// startReady starts the most urgent ready task as long as it fits. It does not
// look past one that does not fit: small tasks would keep a large one waiting
// for ever.
func (x *execution) startReady(ctx context.Context) {
	for len(x.ready) > 0 {
		i := x.ready[0]
		t := &x.g.tasks[i]
		memory := max(0, t.Memory)
		if x.running >= x.Workers || x.running > 0 && x.Memory > 0 && x.memory+memory > x.Memory {
			return
		}
		x.ready = x.ready[1:]
		x.running++
		x.memory += memory
		x.work[i].Start()
		in := x.inputs(i)
		go func() { x.ended <- x.perform(ctx, i, in) }()
	}
}

func (x *execution) inputs(i int) Inputs {
	in := Inputs{}
	for _, j := range x.g.after[i] {
		in[x.g.tasks[j].ID] = x.out[j].Path
	}
	return in
}

// perform runs one task, in its own goroutine. A panic becomes the task's
// error: one bad take must not take the others down with it.
func (x *execution) perform(ctx context.Context, i int, in Inputs) (e ending) {
	t := &x.g.tasks[i]
	began := time.Now()
	e.task = i
	defer func() {
		if p := recover(); p != nil {
			e.err = fmt.Errorf("task: %s panicked: %v\n%s", t.ID, p, debug.Stack())
		}
		// Judged by the run's context and not by the error: a task may well
		// fail on a time limit of its own.
		e.cancelled = e.err != nil && ctx.Err() != nil
		e.seconds = time.Since(began).Seconds()
	}()
	run := func(tmp string) error {
		e.made = true
		return t.Make(ctx, in, tmp, x.work[i].Advance)
	}
	switch {
	case t.Action.IsZero():
		if e.err = run(""); e.err == nil {
			e.err = ctx.Err()
		}
	case x.looked[i].path != "": // only with Verify
		e.path = x.looked[i].path
		e.err = x.Store.Compare(ctx, t.Action, run)
	default:
		e.path, e.err = x.Store.Put(ctx, t.Action.Estimate(t.Cost), run)
	}
	return e
}

// take books what a worker did.
func (x *execution) take(e ending) {
	t := &x.g.tasks[e.task]
	x.running--
	x.memory -= max(0, t.Memory)
	o := &x.out[e.task]
	o.Seconds = e.seconds
	var differs *store.Difference
	blocks := false
	switch {
	case e.cancelled:
		o.State, o.Path, e.err = Cancelled, "", nil
	case errors.As(e.err, &differs):
		o.State, o.Path, o.Err = Failed, e.path, e.err // what is stored still serves the others
	case e.err != nil:
		o.State, o.Path, o.Err, blocks = Failed, "", e.err, true
	case e.made:
		o.State, o.Path = Made, e.path
	default: // another task with the same key made it
		o.State, o.Path = Reused, e.path
	}
	x.work[e.task].Finish(e.err)
	if store.IsNoSpace(e.err) {
		x.stopped = e.err
	}
	if e.cancelled {
		return
	}
	for _, j := range x.g.before[e.task] {
		if !x.looked[j].runs || x.out[j].State == Skipped {
			continue
		}
		if blocks {
			x.skip(j, fmt.Errorf("%s %s failed", t.stage(), t.name()))
		} else if x.waitsFor[j]--; x.waitsFor[j] == 0 {
			x.push(j)
		}
	}
}

// skip marks a task and all behind it that would have run.
func (x *execution) skip(i int, why error) {
	if x.out[i].State == Skipped {
		return
	}
	x.out[i].State, x.out[i].Path, x.out[i].Err = Skipped, "", why
	x.work[i].Finish(nil)
	for _, j := range x.g.before[i] {
		if x.looked[j].runs {
			x.skip(j, why)
		}
	}
}

// result closes the books.
func (x *execution) result(ctx context.Context) (Result, error) {
	res := Result{Outcomes: x.out, byID: x.g.byID}
	var failed Failures
	cancelled := false
	for i := range x.out {
		o := &x.out[i]
		if o.State == Cancelled && x.stopped != nil {
			o.State, o.Err = Skipped, x.stopped
		}
		switch o.State {
		case Made:
			res.Stats.Run++
		case Reused, Unneeded:
			res.Stats.Reused++
		case Failed:
			t := &x.g.tasks[i]
			failed = append(failed, Failure{t.ID, t.name(), t.stage(), o.Err})
		case Cancelled:
			cancelled = true
		}
	}
	if err := ctx.Err(); err != nil && (cancelled || len(failed) > 0) {
		return res, err
	}
	if len(failed) > 0 {
		return res, failed
	}
	return res, nil
}
