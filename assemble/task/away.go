package task

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ripieno/assemble/store"
)

// Errand describes a task so that another machine can carry it out: the name of a
// rule that it knows, arguments that can be written as JSON, and the files it reads.
type Errand struct {
	Rule   string
	Args   any
	Inputs []ErrandInput
}

// ErrandInput is one file that an errand reads: the output of a task it depends on,
// or a file from elsewhere.
type ErrandInput struct {
	Ext  string // ending of the file's name, by which it is read
	Edge Edge   // nil for a file from elsewhere, which lies at Path
	// Find returns the file of an output of several; nil for an output that is one.
	Find func(in Inputs) (string, error)
	Path string
	Hash string // SHA-256 that a file from elsewhere must have; "" for an output
}

// Parcel is an errand when its inputs are there.
type Parcel struct {
	Action store.Action
	Errand
	Paths []string // of the inputs
	// Open are the files from elsewhere that were given away and that tasks which are ready read.
	Open []string
}

// Away makes tasks on other machines.
type Away interface {
	// Room returns how many tasks may be away at once now, and Cores how many of them
	// are worked on.
	Room() int
	Cores() int
	// Space returns how many bytes of files from elsewhere have room there; 0 is no bound.
	Space() int64
	// Make writes the output of p to dst as [Task.Make] does. On an error the task
	// is made at home.
	Make(ctx context.Context, p Parcel, dst string) error
	// Doubts reports whether p is to be made here as well, and compared.
	Doubts(p Parcel) bool
	// Differs is told that what was made there has another hash than what was made
	// here, which is what counts.
	Differs(p Parcel, there, here []byte)
}

// errAway wraps why a task was not made elsewhere.
type errAway struct{ error }

func (e errAway) Unwrap() error { return e.error }

// PathsOf returns the files that a task reads which has such inputs, in their order. It
// fails for the output of a task that this one does not depend on.
func PathsOf(inputs []ErrandInput, in Inputs) ([]string, error) {
	var paths []string
	for _, e := range inputs {
		path := e.Path
		if e.Edge != nil {
			if path = in[e.Edge.Task().ID]; path == "" {
				return nil, fmt.Errorf("task: %s is read by a task that does not depend on it", e.Edge.Task().ID)
			}
		}
		if e.Find != nil {
			var err error
			if path, err = e.Find(in); err != nil {
				return nil, err
			}
		}
		paths = append(paths, path)
	}
	return paths, nil
}

// startAway gives ready tasks away as long as there is room elsewhere, and helps with
// one that is away when a worker here has nothing else to do.
func (x *execution) startAway(ctx context.Context) {
	if x.Away == nil {
		return
	}
	for room := x.Away.Room(); len(x.away) < room; {
		group := x.nextLoan(room - x.Away.Cores())
		if len(group) == 0 {
			break
		}
		x.lend(ctx, group)
	}
	if len(x.ready) > 0 || x.running >= x.Workers {
		return
	}
	if l := x.slowest(); l != nil {
		close(l.help)
		l.helped = true
		x.running++
		x.memory += x.memoryOf(l.group)
	}
}

// short is how many seconds a task takes at the most that is made here before all others when
// tasks for other machines wait for it.
const short = 1

// holdsUp returns 1 for a short task that is made here and that tasks for other machines wait
// for, else 0. Behind a master of half a minute, on a home of one core, drawings of 20 ms once
// kept sixteen cores waiting.
func (x *execution) holdsUp(i int) int {
	t := &x.g.tasks[i]
	if x.Away == nil || t.Errand != nil || x.costs[i] > short {
		return 0
	}
	for _, j := range x.g.before[i] {
		if x.g.tasks[j].Errand != nil {
			return 1
		}
	}
	return 0
}

// isForOthers reports whether a ready task may be made elsewhere.
func (x *execution) isForOthers(i int) bool {
	t := &x.g.tasks[i]
	return t.Errand != nil && !x.home[i] && x.looked[i].path == "" && x.keys[t.Action.ID()] == 1 && x.isWorth(i)
}

// nextAway takes a ready task out of the list that may be made by so many machines; -1 for
// none.
func (x *execution) nextAway(machines int) int {
	k := x.chooseAway(machines)
	if k < 0 {
		return -1
	}
	i := x.ready[k]
	x.ready = append(x.ready[:k:k], x.ready[k+1:]...)
	return i
}

// isWorth reports whether a task is made elsewhere in less time than its files travel.
// Files from elsewhere do not count: what takes need for their pictures is sent anyway.
func (x *execution) isWorth(i int) bool {
	t := &x.g.tasks[i]
	bytes := t.Bytes
	for _, in := range t.Errand.Inputs {
		if in.Edge != nil {
			bytes += in.Edge.Task().Bytes
		}
	}
	return x.costs[i] >= float64(bytes)/LinkSpeed
}

// slow is how many times longer than it is expected to take a task is away before a
// worker here makes it as well. Sooner, most of the work would be done twice.
const slow = 3

// isSlow reports whether tasks are away for long.
func (x *execution) isSlow(l *loan) bool {
	cost := 0.0
	for _, i := range l.group {
		cost += x.costs[i] * x.paces[x.g.tasks[i].Errand.Rule].ratio()
	}
	return time.Since(l.since).Seconds() >= slow*cost
}

// pace is what tasks of a rule took that this run made here, and what was expected, in
// seconds.
type pace struct{ took, expected float64 }

// ratio returns how many times longer than expected they take; 1 before the first.
func (p pace) ratio() float64 {
	if p.took <= 0 || p.expected <= 0 {
		return 1
	}
	return p.took / p.expected
}

// learn notes what a task took here. In the first run of a production estimates can be
// wrong by a factor of two, and the home would make again what is not slow at all.
func (x *execution) learn(e ending) {
	if t := &x.g.tasks[e.task]; e.made && e.err == nil && !e.away && t.Errand != nil {
		p := x.paces[t.Errand.Rule]
		x.paces[t.Errand.Rule] = pace{p.took + e.seconds, p.expected + x.costs[e.task]}
	}
}

// slowest returns the most urgent of what is away for long and nobody here makes as well; nil
// for none.
func (x *execution) slowest() (most *loan) {
	for i, l := range x.away {
		if l.helped || !x.isSlow(l) || x.Memory > 0 && x.running > 0 && x.memory+x.memoryOf(l.group) > x.Memory {
			continue
		}
		if most == nil || x.urgency[i] > x.urgency[most.group[0]] ||
			x.urgency[i] == x.urgency[most.group[0]] && i < most.group[0] {
			most = l
		}
	}
	return most
}

// endAway books that what was given away together has ended, and returns all of it that has not
// to be made at home now.
func (x *execution) endAway(ends []ending) (over []ending) {
	l := x.away[ends[0].task]
	if l.helped {
		x.running-- // a worker here made it as well
		x.memory -= x.memoryOf(l.group)
	}
	delete(x.away, ends[0].task)
	for _, e := range ends {
		x.files.end(x.fileOf(e.task))
		var away errAway
		if !errors.As(e.err, &away) || e.cancelled {
			over = append(over, e)
			continue
		}
		x.home[e.task] = true
		x.push(e.task)
	}
	return over
}
