package task

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
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
// A full disk and a store that is taken away stop the run: nothing new is
// started after it.
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
	costs    []float64 // seconds of one core
	urgency  []float64 // cost of the longest way to an end of the graph
	ready    []int     // those that spread last, most urgent first
	ended    chan []ending
	keys     map[store.ID]int // how many tasks have it

	lanes   []bool // which workers are at work
	running int    // workers
	// batching is how many workers make something of a batch; those of nil make what has none.
	batching map[*Batch]int
	memory   int64
	away     map[int]*loan   // what is made elsewhere, by its first task
	home     map[int]bool    // tasks that nobody elsewhere could make
	paces    map[string]pace // by rule
	files    givenFiles
	sizes    map[string]int64 // of files from elsewhere, in bytes, by path; nil with nobody elsewhere
	stopped  error            // the disk is full, or the store is gone: start nothing more
}

type ending struct {
	task      int
	made      bool
	cancelled bool
	path      string
	err       error
	seconds   float64
	away      bool // it was given away
	elsewhere bool // and another machine made it
	ran       Ran
}

// newExecution returns a run of a graph before its first task: what waits for what,
// and how urgent each is.
func newExecution(r Runner, g *graph, l []looked, costs []float64) *execution {
	n := len(g.tasks)
	x := &execution{Runner: r, g: g, looked: l, out: make([]Outcome, n), work: make([]progress.Work, n),
		waitsFor: make([]int, n), urgency: make([]float64, n), ended: make(chan []ending), keys: map[store.ID]int{},
		batching: map[*Batch]int{}, away: map[int]*loan{}, home: map[int]bool{},
		paces: map[string]pace{}, files: givenFiles{}, costs: costs}
	if r.Away != nil {
		x.sizes = sizesOf(g.tasks)
	}
	x.Workers = max(1, x.Workers)
	x.lanes = make([]bool, x.Workers)
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
		x.keys[t.Action.ID()]++
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
// each by urgency, then by place in the list; before them what keeps other machines
// waiting. With the longest way first the last worker is idle for the shortest time
// (Graham 1969, list scheduling), and the order of starts depends on nothing but the graph.
func (x *execution) push(i int) {
	at, _ := slices.BinarySearchFunc(x.ready, i, func(a, b int) int {
		return cmp.Or(cmp.Compare(x.turn(a), x.turn(b)), cmp.Compare(x.holdsUp(b), x.holdsUp(a)),
			cmp.Compare(x.rank(b), x.rank(a)), cmp.Compare(a, b))
	})
	x.ready = slices.Insert(x.ready, at, i)
}

// rank returns the urgency on a scale on which a step is a fifth more. Costs are no better
// known than that, and of tasks that are about as urgent the first of the list is
// to come first: what others need together is then there together.
func (x *execution) rank(i int) int {
	const step = 1.2
	return int(math.Round(math.Log(max(1e-3, x.urgency[i])) / math.Log(step)))
}

// turn returns 1 for tasks that wait for those of turn 0.
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
			x.startAway(ctx)
		}
		if x.running == 0 && len(x.away) == 0 {
			return
		}
		ends := x.nextEnded()
		if ends == nil {
			continue // perhaps what is away has become slow
		}
		if e := ends[0]; e.away {
			ends = x.endAway(ends)
		} else {
			x.running--
			x.batching[x.g.tasks[e.task].Batch]--
		}
		for _, e := range ends {
			x.observe(e)
			x.learn(e)
			x.take(e)
		}
	}
}

// lookAgain is how often a run looks after what is away.
const lookAgain = 250 * time.Millisecond

// nextEnded waits for what ends next; for nothing too long while something is away.
func (x *execution) nextEnded() []ending {
	if len(x.away) == 0 {
		return <-x.ended
	}
	select {
	case ends := <-x.ended:
		return ends
	case <-time.After(lookAgain):
		return nil
	}
}

// startReady starts the most urgent ready task as long as it fits. It does not
// look past one that does not fit: small tasks would keep a large one waiting
// for ever.
func (x *execution) startReady(ctx context.Context) {
	for len(x.ready) > 0 && x.running < x.Workers {
		group, memory := x.nextBatch()
		if x.running > 0 && x.Memory > 0 && x.memory+memory > x.Memory {
			return
		}
		x.ready = slices.DeleteFunc(x.ready, func(i int) bool { return slices.Contains(group, i) })
		x.running++
		x.batching[x.g.tasks[group[0]].Batch]++
		lane := x.takeLane()
		x.memory += memory
		in := make([]Inputs, len(group))
		for k, i := range group {
			x.work[i].Start()
			in[k] = x.inputs(i)
		}
		go func() {
			began := time.Now()
			ends := x.perform(ctx, group, in, func(members []Member) []error { return x.makeHere(ctx, members) })
			tellApart(ends, lane, began)
			x.ended <- ends
		}()
	}
}

// takeLane returns the first worker that has nothing to do and gives it something.
func (x *execution) takeLane() int {
	lane := slices.Index(x.lanes, false)
	x.lanes[lane] = true
	return lane
}

// observe tells what a worker did, if anybody wants to know.
func (x *execution) observe(e ending) {
	if e.ran.Worker != Elsewhere {
		x.lanes[e.ran.Worker] = false
	}
	if x.Observe == nil || !e.made {
		return
	}
	t := &x.g.tasks[e.task]
	e.ran.Stage, e.ran.Name, e.ran.Err = t.stage(), t.name(), e.err
	x.Observe(e.ran)
}

// inputs returns the outputs that task i reads.
func (x *execution) inputs(i int) Inputs {
	in := Inputs{}
	for _, j := range x.g.after[i] {
		in[x.g.tasks[j].ID] = x.out[j].Path
	}
	return in
}

// tellApart tells of what one worker began together as if it were made one after the other.
func tellApart(ends []ending, worker int, began time.Time) {
	each := time.Since(began) / time.Duration(len(ends))
	for k := range ends {
		from := began.Add(time.Duration(k) * each)
		ends[k].ran = Ran{Worker: worker, Began: from, Ended: from.Add(each)}
	}
}

// perform has the outputs of a group made, in a goroutine of its own. make writes those of the
// members that are not there already, and returns the error of each.
func (x *execution) perform(ctx context.Context, group []int, in []Inputs,
	make func(members []Member) []error) []ending {
	ends := slices.Repeat([]ending{{}}, len(group))
	var members []Member
	var wrong []error
	// The places of all outputs are opened one inside the other; when the
	// last one is open, they are made.
	var open func(k int)
	open = func(k int) {
		if k == len(group) {
			if len(members) > 0 {
				wrong = make(members)
			}
			return
		}
		i, opened := group[k], false
		ends[k] = x.keep(ctx, i, len(group), in[k], func(tmp string) error {
			opened = true
			m := len(members)
			members = append(members, Member{x.g.tasks[i].ID, in[k], tmp, x.work[i].Advance})
			open(k + 1)
			if m >= len(wrong) {
				return errBatch
			}
			return wrong[m]
		})
		if !opened { // it is there already, or never will be
			open(k + 1)
		}
	}
	open(0)
	return ends
}

// makeHere makes one task, or several of a batch, and returns the error of each.
func (x *execution) makeHere(ctx context.Context, members []Member) []error {
	t := &x.g.tasks[x.g.byID[members[0].ID]]
	if len(members) == 1 {
		return []error{t.Make(ctx, members[0].In, members[0].Tmp, members[0].Advance)}
	}
	return t.Batch.Make(ctx, members)
}

// makeBeside is makeHere in a goroutine of its own, where nothing else catches a panic.
func (x *execution) makeBeside(ctx context.Context, members []Member) (wrong []error) {
	defer func() {
		if p := recover(); p != nil {
			wrong = slices.Repeat([]error{panicked(members[0].ID, p)}, len(members))
		}
	}()
	return x.makeHere(ctx, members)
}

// panicked returns the error of a task that panicked with p, and where.
func panicked(id string, p any) error {
	return fmt.Errorf("task: %s panicked: %v\n%s", id, p, debug.Stack())
}

// errBatch is why the others of a batch that panicked were not made.
var errBatch = errors.New("task: it was to be made with another that failed")

// keep has the store keep what run makes of one task, of which there are among
// at once. A panic becomes the task's error: one bad take must not take the
// others down with it. When the store or an input is gone, that is the error.
func (x *execution) keep(ctx context.Context, i, among int, in Inputs, run func(tmp string) error) (e ending) {
	t := &x.g.tasks[i]
	began := time.Now()
	e.task = i
	defer func() {
		if p := recover(); p != nil {
			e.err = panicked(t.ID, p)
		}
		// Judged by the run's context and not by the error: a task may well
		// fail on a time limit of its own.
		e.cancelled = e.err != nil && ctx.Err() != nil
		e.seconds = time.Since(began).Seconds() / float64(among)
	}()
	make := func(tmp string) error {
		e.made = true
		err := run(tmp)
		if err != nil && x.Store != nil {
			if lost := x.Store.Lost(in.paths()...); lost != nil {
				return lost
			}
		}
		return err
	}
	switch {
	case t.Action.IsZero():
		if e.err = make(""); e.err == nil {
			e.err = ctx.Err()
		}
	case x.looked[i].path != "": // only with Verify
		e.path = x.looked[i].path
		e.err = x.Store.Compare(ctx, t.Action, make)
	default:
		e.path, e.err = x.Store.Put(ctx, t.Action.Estimate(t.Cost).Among(among), make)
	}
	return e
}
