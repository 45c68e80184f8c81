package task

import (
	"testing"

	"ripieno/assemble/progress"
)

// TestWhatIsMadeAheadLeavesItsCostToEveryWorker: of a batch with Ahead as much is made
// together as each worker has to do, so many workers make each by itself; while Ahead
// returns false all of it is made at once.
func TestWhatIsMadeAheadLeavesItsCostToEveryWorker(t *testing.T) {
	tasks := (&choir{}).tasks(16, 8)
	ahead := true
	tasks[0].Batch.Ahead = func() bool { return ahead }
	g, err := check(tasks)
	if err != nil {
		t.Fatal(err)
	}
	l, costs := make([]looked, len(tasks)), make([]float64, len(tasks))
	for i := range l {
		l[i].runs, costs[i] = true, 1
	}
	for _, c := range []struct {
		workers int
		ahead   bool
		want    int
	}{{1, true, 8}, {2, true, 8}, {4, true, 4}, {8, true, 2}, {16, true, 1}, {16, false, 8}} {
		ahead = c.ahead
		x := newExecution(Runner{Workers: c.workers, Progress: progress.New(nil, progress.Quiet)}, g, l, costs)
		if group, _ := x.nextBatch(); len(group) != c.want {
			t.Errorf("%+v: %d are made together", c, len(group))
		}
	}
}
