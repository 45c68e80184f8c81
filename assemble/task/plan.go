package task

import (
	"context"
	"errors"
	"slices"
	"strings"

	"ripieno/assemble/store"
)

// Planned is one line of a plan.
type Planned struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Stage string   `json:"stage"`
	Key   string   `json:"key,omitempty"`
	Runs  bool     `json:"runs"`
	Why   []string `json:"why,omitempty"`   // for what runs
	Cost  float64  `json:"cost,omitempty"`  // seconds of one core
	There bool     `json:"there,omitempty"` // another machine may make it
}

// String returns "run    conform oboe-1: input take: changed".
func (p Planned) String() string {
	verb := "reuse "
	if p.Runs {
		verb = "run   "
	}
	s := verb + " " + p.Stage + " " + p.Name
	if len(p.Why) > 0 {
		s += ": " + strings.Join(p.Why, "; ")
	}
	return s
}

// Plan tells what [Runner.Run] would do with the same tasks now, in the order of the
// list. It makes and changes nothing and needs no lock. It fails for tasks that are no
// graph, when the store cannot be read, and when ctx ends.
func (r Runner) Plan(ctx context.Context, tasks []Task) ([]Planned, error) {
	g, err := check(tasks)
	if err != nil {
		return nil, err
	}
	looked, err := r.look(ctx, g)
	if err != nil {
		return nil, err
	}
	costs, history, err := r.costs(ctx, g, looked)
	if err != nil {
		return nil, err
	}
	plan := make([]Planned, len(tasks))
	for i, t := range tasks {
		l := looked[i]
		p := Planned{ID: t.ID, Name: t.name(), Stage: t.stage(), Runs: l.runs}
		if !t.Action.IsZero() {
			p.Key = t.Action.ID().String()
		}
		if l.runs {
			p.Cost, p.There = costs[i], t.Errand != nil
			if p.Why = []string{l.why}; l.new {
				if changes := history.Changes(t.Action); changes != nil {
					p.Why = changes
				}
			}
		}
		plan[i] = p
	}
	return plan, nil
}

// looked is what is known of a task before anything runs.
type looked struct {
	path string // its output, when the store has it
	why  string // why not
	new  bool   // nothing was ever stored of it
	runs bool
}

// look asks the store for every output and then decides, from the ends of the
// graph back to its beginnings, what has to run: what is kept and missing, and
// what that reads and is missing. An output that is missing but that nothing
// needs stays missing; so trimming early steps from the store costs nothing
// while the late ones stand.
func (r Runner) look(ctx context.Context, g *graph) ([]looked, error) {
	l := make([]looked, len(g.tasks))
	for i, t := range g.tasks {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if t.Action.IsZero() {
			l[i].why = "runs every time"
			continue
		}
		path, err := r.Store.Get(ctx, t.Action)
		if err != nil {
			l[i].why, l[i].new = err.Error(), errors.Is(err, store.NotMade)
		} else if r.Verify {
			l[i].path, l[i].why = path, "verify"
		} else {
			l[i].path = path
		}
	}
	for _, i := range slices.Backward(g.order) {
		needed := g.tasks[i].Keep || len(g.before[i]) == 0 || l[i].path != ""
		for _, j := range g.before[i] {
			needed = needed || l[j].runs
		}
		l[i].runs = needed && l[i].why != ""
	}
	return l, nil
}

// costs corrects the estimates of what runs by what earlier runs measured: the
// stored outputs of a rule know what they were estimated at and what they took.
// The history is nil when it was not needed: nothing with an output runs.
func (r Runner) costs(ctx context.Context, g *graph, l []looked) ([]float64, *store.History, error) {
	costs := make([]float64, len(g.tasks))
	var history *store.History
	for i, t := range g.tasks {
		costs[i] = t.Cost
		if !l[i].runs || t.Action.IsZero() {
			continue
		}
		if history == nil {
			var err error
			if history, err = r.Store.History(ctx); err != nil {
				return nil, nil, err
			}
		}
		costs[i] *= history.Pace(t.Action.Rule())
	}
	return costs, history, nil
}
