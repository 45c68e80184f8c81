package task

import (
	"math"
	"slices"
)

// nextBatch returns the most urgent ready task with those that are made with it, and
// the memory they take: of what is ready of its batch so much that every worker
// that makes nothing of it gets its share, since who does other work is free soon, or as
// Ahead says, and no more than memory allows. A task whose key another one has as well is
// made by itself, or batches could wait for each other.
func (x *execution) nextBatch() (group []int, memory int64) {
	first := x.ready[0]
	group, memory = []int{first}, max(0, x.g.tasks[first].Memory)
	batch := x.g.tasks[first].Batch
	single := func(i int) bool {
		t := &x.g.tasks[i]
		return t.Batch != batch || x.keys[t.Action.ID()] > 1
	}
	if batch == nil || single(first) {
		return group, memory
	}
	rest := slices.DeleteFunc(slices.Clone(x.ready[1:]), single)
	share, spare := batch.Most, math.Inf(1)
	switch {
	case batch.Ahead == nil:
		others := x.Workers - x.batching[batch]
		share = min(share, (len(rest)+others)/others) // of len(rest)+1, rounded up
	case batch.Ahead():
		spare = x.ahead() - x.costs[first]
	}
	for _, i := range rest {
		need := max(0, x.g.tasks[i].Memory)
		spare -= x.costs[i]
		if len(group) >= share || spare < 0 || x.Memory > 0 && x.memory+memory+need > x.Memory {
			break
		}
		group, memory = append(group, i), memory+need
	}
	return group, memory
}

// ahead returns what each worker, here and elsewhere, has to do of all that is ready, in
// seconds. Groups of that cost become smaller and smaller, so that workers end together
// (guided self-scheduling, Polychronopoulos and Kuck 1987, from memory). Half of it needs
// more processes, and ended no sooner when runs were played through.
func (x *execution) ahead() float64 {
	all := 0.0
	for _, i := range x.ready {
		all += x.costs[i]
	}
	workers := x.Workers
	if x.Away != nil {
		workers += x.Away.Cores()
	}
	return all / float64(workers)
}
