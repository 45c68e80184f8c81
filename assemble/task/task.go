// Package task runs a graph of tasks whose outputs the store keeps: only what
// is missing runs, in parallel within the given cores and memory, and one
// failing task stops nobody but those that need it.
//
// A [Task] names its action (the key of its output), the tasks it comes after
// and the function that makes the output. [Runner.Plan] tells what would run
// and why; [Runner.Run] does it. There is no state beside the store: a run that
// was cancelled or killed is resumed by running again.
//
// The package knows nothing of media and starts no processes. Costs and times
// are seconds, memory is bytes.
package task

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// Task is one step.
type Task struct {
	// ID is unique in the graph and stays the same from run to run, such as
	// "conform/oboe-1".
	ID string
	// Name is for people, such as a take's name. Empty is the ID.
	Name string
	// Stage groups tasks in the progress, such as "conform". Empty is the
	// action's rule.
	Stage string
	// Action is the key of the output. A task with the zero Action has no
	// output and runs every time it is needed.
	Action store.Action
	// After lists the IDs of the tasks whose outputs Make reads. They need
	// not be ingredients of the key one by one, but whatever changes the
	// output must be.
	After []string
	// before are those of After that were stated with Needs and Reads.
	before []*Task
	// Cost is the estimated seconds of one core.
	Cost float64
	// Spreads says that the work takes idle cores beside its own, or comes
	// after work that does. Such tasks are begun after others that could: at
	// the end they leave no core idle.
	Spreads bool
	// Memory is the estimated peak in bytes, 0 when it does not matter.
	Memory int64
	// Bytes is the estimated size of the output, 0 when it does not matter.
	Bytes int64
	// Keep asks for the output even when nothing that runs needs it. Tasks
	// that no other comes after are always kept.
	Keep bool
	// Passing says that nobody but the tasks behind it reads the output: when the last of
	// them has ended, the store may let it go before the run is over, if its bound asks
	// for that. What is gone is made again where one of them has to be.
	Passing bool
	// Make writes the output to tmp (see [store.Store.Put]). It may call
	// advance with the fraction done, and must end soon after ctx does.
	Make func(ctx context.Context, in Inputs, tmp string, advance func(fraction float64)) error
	// Errand, when there is one, describes the task to other machines, which make the
	// same bytes.
	Errand *Errand
	// Batch, when there is one, may make this task together with others that
	// have the same and are ready at the same time. The outputs must not
	// depend on which are made together.
	Batch *Batch
}

// Batch makes several tasks at once, where that costs less than one after the
// other because most of the cost is in the beginning. It counts as one of the
// workers.
type Batch struct {
	// Most is how many at once.
	Most int
	// Ahead, when there is one, says that tasks are made together only while so much is
	// ready that every worker has twice their cost to do: what is made together ends late,
	// and who waits for the first of it waits longer. When it returns false, all that is
	// ready is made at once. Nil shares what is ready among the workers.
	Ahead func() bool
	// Make writes the output of every member and returns the error of each. It
	// must end soon after ctx does.
	Make func(ctx context.Context, members []Member) []error
	// Errand, when there is one, describes several of its tasks to another machine, which writes
	// the output of each, one file, under its [PartName] to a folder. Their inputs are the same.
	Errand func(ids []string) Errand
}

// Member is one task of a batch, with what [Task.Make] is given.
type Member struct {
	ID      string
	In      Inputs
	Tmp     string
	Advance func(fraction float64)
}

// Inputs are the outputs of the tasks that a task comes after: paths by ID, to
// be read only. Tasks without an output have the empty path.
type Inputs map[string]string

// paths returns the outputs that lie in the store.
func (in Inputs) paths() []string {
	var list []string
	for _, p := range in {
		if p != "" {
			list = append(list, p)
		}
	}
	return list
}

// name returns what people read: the name, or the ID of a task that has none.
func (t *Task) name() string {
	if t.Name != "" {
		return t.Name
	}
	return t.ID
}

// stage returns what the task is counted under: its own stage, or else the rule of
// its action.
func (t *Task) stage() string {
	switch {
	case t.Stage != "":
		return t.Stage
	case t.Action.Rule() != "":
		return t.Action.Rule()
	}
	return "other"
}

// Runner runs graphs of tasks.
type Runner struct {
	// Store must be open, and locked for Run.
	Store *store.Store
	// Progress is told what runs; nil tells nobody.
	Progress progress.Reporter
	// Workers is how many tasks may run at once; less than 1 is 1.
	Workers int
	// Memory bounds the sum of Task.Memory of what runs at once; 0 is no
	// bound. A task that needs more than the bound runs alone.
	Memory int64
	// Away makes tasks elsewhere that can be; nil is nobody.
	Away Away
	// Observe, when there is one, is told of every task that was made, one after
	// the other.
	Observe func(Ran)
	// Verify makes every stored output again and compares: a task whose
	// output differs fails with a *store.Difference.
	Verify bool
}

// Ran is what a worker did from when to when.
type Ran struct {
	Stage, Name string
	Worker      int // from 0, below Runner.Workers, or Elsewhere
	Began       time.Time
	Ended       time.Time
	Err         error
}

// Elsewhere is the worker of tasks that other machines made.
const Elsewhere = -1

// State is how a task ended.
type State int

// The states.
const (
	Unneeded  State = iota // its output is missing, and nothing needed it
	Reused                 // its output was in the store
	Made                   // it ran
	Failed                 // it ran and failed
	Skipped                // a task it comes after failed, or the disk ran full
	Cancelled              // the run was cancelled before it had ended
)

var stateNames = []string{"unneeded", "reused", "made", "failed", "skipped", "cancelled"}

// String returns the state in one word.
func (s State) String() string {
	if s < 0 || int(s) >= len(stateNames) {
		return fmt.Sprintf("state %d", int(s))
	}
	return stateNames[s]
}

// Outcome is what became of a task.
type Outcome struct {
	ID      string
	State   State
	Path    string  // the output; empty unless Reused or Made
	Err     error   // why it Failed; for Skipped, whose failure it was
	Seconds float64 // how long it ran
	Away    bool    // another machine made it
}

// Stats counts outcomes. Every task of a successful run is in one of the two.
type Stats struct {
	Run    int `json:"run"`    // made in this run
	Reused int `json:"reused"` // not made in this run: stored, or not needed
	Away   int `json:"away"`   // of Run: by other machines
}

// Result is what became of a graph, in the order of its tasks.
type Result struct {
	Outcomes []Outcome
	Stats    Stats
	byID     map[string]int
}

// Path returns the output of a task, empty when there is none.
func (r Result) Path(id string) string { return r.Of(id).Path }

// Of returns the outcome of a task, the zero Outcome for an unknown ID.
func (r Result) Of(id string) Outcome {
	if i, ok := r.byID[id]; ok {
		return r.Outcomes[i]
	}
	return Outcome{}
}

// Failures is what [Runner.Run] returns when tasks failed: their errors in the
// order of the graph. Skipped tasks are not in it.
type Failures []Failure

// Failure is the error of one task.
type Failure struct {
	ID, Name, Stage string
	Err             error
}

// Error returns one line a task.
func (f Failures) Error() string {
	lines := make([]string, len(f))
	for i, x := range f {
		lines[i] = fmt.Sprintf("%s %s: %v", x.Stage, x.Name, x.Err)
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives errors.Is and errors.As every task's error.
func (f Failures) Unwrap() []error {
	errs := make([]error, len(f))
	for i, x := range f {
		errs[i] = x.Err
	}
	return errs
}

// Run does what [Runner.Run] does, for the usual case.
func Run(ctx context.Context, s *store.Store, p progress.Reporter, workers int, tasks []Task) (Result, error) {
	return Runner{Store: s, Progress: p, Workers: workers}.Run(ctx, tasks)
}

// graph is a checked list of tasks.
type graph struct {
	tasks  []Task
	byID   map[string]int
	after  [][]int // indices of what a task comes after, without repeats
	before [][]int // indices of what comes after a task
	order  []int   // every task behind all it comes after
}

// check builds the graph, or says what is wrong with it. The mistakes it finds
// are bugs of the caller.
func check(tasks []Task) (*graph, error) {
	g := &graph{tasks: tasks, byID: map[string]int{}, after: make([][]int, len(tasks)),
		before: make([][]int, len(tasks))}
	for i, t := range tasks {
		if _, twice := g.byID[t.ID]; twice || t.ID == "" {
			return nil, fmt.Errorf("task: ID %q is empty or used twice", t.ID)
		}
		g.byID[t.ID] = i
		if t.Make == nil {
			return nil, fmt.Errorf("task: %s has nothing to do", t.ID)
		}
		if !t.Action.IsZero() {
			if err := t.Action.Err(); err != nil {
				return nil, fmt.Errorf("task: %s: %w", t.ID, err)
			}
		}
	}
	for i, t := range tasks {
		for _, id := range t.After {
			j, ok := g.byID[id]
			if !ok {
				return nil, fmt.Errorf("task: %s comes after %q, which is not in the graph", t.ID, id)
			}
			if !slices.Contains(g.after[i], j) {
				g.after[i] = append(g.after[i], j)
				g.before[j] = append(g.before[j], i)
			}
		}
	}
	return g, g.sort()
}

// sort fills in the order, by always taking the first task of the list whose
// predecessors are done (Kahn 1962).
func (g *graph) sort() error {
	open := make([]int, len(g.tasks))
	var ready []int
	for i := range g.tasks {
		if open[i] = len(g.after[i]); open[i] == 0 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := ready[0]
		ready = ready[1:]
		g.order = append(g.order, i)
		for _, j := range g.before[i] {
			if open[j]--; open[j] == 0 {
				ready = append(ready, j)
			}
		}
	}
	if len(g.order) == len(g.tasks) {
		return nil
	}
	var circle []string
	for i, n := range open {
		if n > 0 {
			circle = append(circle, g.tasks[i].ID)
		}
	}
	return errors.New("task: in or behind a circle: " + strings.Join(circle, ", "))
}
