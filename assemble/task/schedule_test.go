package task

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/store"
)

// gate lets tasks run until everything that can start has started, then lets
// them end one after the other. It sees what the scheduler keeps at once.
type gate struct {
	mu            sync.Mutex
	tasks, memory int64
	maxTasks      int64
	maxMemory     int64
	order         []string
}

func (g *gate) task(id string, memory int64, cost float64, after ...string) Task {
	return Task{ID: id, After: after, Memory: memory, Cost: cost,
		Action: store.NewAction("gate").Arg("id", id),
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			g.change(id, 1, memory)
			defer g.change("", -1, -memory)
			return os.WriteFile(tmp, []byte(id), 0o666)
		}}
}

func (g *gate) change(id string, tasks, memory int64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.tasks += tasks
	g.memory += memory
	g.maxTasks, g.maxMemory = max(g.maxTasks, g.tasks), max(g.maxMemory, g.memory)
	if id != "" {
		g.order = append(g.order, id)
	}
}

// TestTasksAndMemoryAreBounded: over random tasks neither their number nor the
// sum of their memory passes the bounds, except for one task that is larger than the bound by itself; and
// everything gets its turn.
func TestTasksAndMemoryAreBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 6 {
		g := &gate{}
		var tasks []Task
		for i := range 30 {
			tasks = append(tasks, g.task(fmt.Sprint(i), int64(r.IntN(500)), r.Float64()))
		}
		runner := Runner{Store: openStore(t, t.TempDir()), Workers: 4, Memory: 1000}
		res, err := runner.Run(t.Context(), tasks)
		if err != nil || res.Stats.Run != 30 {
			t.Fatal(res.Stats, err)
		}
		if g.maxTasks > 4 || g.maxMemory > 1000 {
			t.Errorf("%d tasks and %d bytes at once", g.maxTasks, g.maxMemory)
		}
	}
}

// TestGiantRunsAlone: a task larger than the bound runs, by itself.
func TestGiantRunsAlone(t *testing.T) {
	g := &gate{}
	tasks := []Task{g.task("small", 10, 1), g.task("giant", 5000, 5), g.task("other", 10, 1)}
	runner := Runner{Store: openStore(t, t.TempDir()), Workers: 2, Memory: 100}
	if _, err := runner.Run(t.Context(), tasks); err != nil {
		t.Fatal(err)
	}
	if g.order[0] != "giant" || g.maxMemory != 5000 {
		t.Errorf("order %v, %d bytes at once", g.order, g.maxMemory)
	}
}

// TestLongestWayFirst: tasks start in order of the cost of all that hangs on
// them, and those that cost nearly the same in the order of the list.
func TestLongestWayFirst(t *testing.T) {
	g := &gate{}
	tasks := []Task{
		g.task("short", 0, 2), g.task("long", 0, 1), g.task("equal-1", 0, 5), g.task("equal-2", 0, 5.2),
		g.task("tail", 0, 10, "long"),
	}
	if _, err := Run(t.Context(), openStore(t, t.TempDir()), nil, 1, tasks); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(g.order, " "); got != "long tail equal-1 equal-2 short" {
		t.Errorf("order %s", got)
	}
}

// TestWhatSpreadsComesLast: a long task that takes idle cores leaves none idle
// at the end, a short one that keeps to its own would.
func TestWhatSpreadsComesLast(t *testing.T) {
	g := &gate{}
	tasks := []Task{g.task("wide-1", 0, 18), g.task("wide-2", 0, 29), g.task("narrow", 0, 3), g.task("source", 0, 1),
		g.task("after", 0, 1, "source")}
	tasks[0].Spreads, tasks[1].Spreads = true, true
	if _, err := Run(t.Context(), openStore(t, t.TempDir()), nil, 1, tasks); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(g.order, " "); got != "narrow source after wide-2 wide-1" {
		t.Errorf("order %s", got)
	}
}

// TestParallelism: independent tasks do run at the same time: each waits for
// all the others to have started.
func TestParallelism(t *testing.T) {
	const n = 4
	var started sync.WaitGroup
	started.Add(n)
	var tasks []Task
	for i := range n {
		tasks = append(tasks, Task{ID: fmt.Sprint(i), Make: func(context.Context, Inputs, string, func(float64)) error {
			started.Done()
			started.Wait()
			return nil
		}})
	}
	if _, err := Run(t.Context(), nil, nil, n, tasks); err != nil {
		t.Fatal(err)
	}
}

// TestCancelStopsEveryWorker: all running tasks see the end of the context,
// and Run returns only after the last of them.
func TestCancelStopsEveryWorker(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var mu sync.Mutex
	running, ended := 0, 0
	var tasks []Task
	for i := range 10 {
		tasks = append(tasks, Task{ID: fmt.Sprint(i), Make: func(ctx context.Context, _ Inputs, _ string,
			_ func(float64)) error {
			mu.Lock()
			if running++; running == 3 {
				cancel()
			}
			mu.Unlock()
			<-ctx.Done()
			mu.Lock()
			ended++
			mu.Unlock()
			return ctx.Err()
		}})
	}
	_, err := Run(ctx, nil, nil, 3, tasks)
	if !errors.Is(err, context.Canceled) || running != 3 || ended != 3 {
		t.Errorf("%d started, %d ended, %v", running, ended, err)
	}
}

// TestMeasuredCosts: what the last run took corrects the next plan.
func TestMeasuredCosts(t *testing.T) {
	s := openStore(t, t.TempDir())
	j := &journal{}
	old, fresh := j.step("old", ""), j.step("new", "")
	old.Cost, fresh.Cost = 99, 50 // it takes next to nothing
	if _, err := Run(t.Context(), s, nil, 1, []Task{old}); err != nil {
		t.Fatal(err)
	}
	plan, err := Runner{Store: s}.Plan(t.Context(), []Task{old, fresh})
	if err != nil || plan[0].Cost != 0 || !(plan[1].Cost > 0 && plan[1].Cost < 5) {
		t.Errorf("%+v, %v", plan, err)
	}
}

// BenchmarkNothingChanged is what a run of 1000 stored tasks costs.
func BenchmarkNothingChanged(b *testing.B) {
	s, j := openStore(b, b.TempDir()), &journal{}
	var tasks []Task
	var ids []string
	for i := range 1000 {
		id := fmt.Sprint("t", i)
		ids = append(ids, id)
		tasks = append(tasks, j.step(id, ""))
	}
	tasks = append(tasks, Task{ID: "film", After: ids, Action: store.NewAction("film"),
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			return os.WriteFile(tmp, []byte("film"), 0o666)
		}})
	if _, err := Run(b.Context(), s, nil, 2, tasks); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		res, err := Run(b.Context(), s, nil, 2, tasks)
		if err != nil || res.Stats.Run != 0 {
			b.Fatal(res.Stats, err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1001, "µs/task")
}

// BenchmarkSchedule is the scheduler alone: tasks without outputs.
func BenchmarkSchedule(b *testing.B) {
	var tasks []Task
	for i := range 1000 {
		x := Task{ID: fmt.Sprint(i), Cost: float64(i % 7), Make: func(context.Context, Inputs, string,
			func(float64)) error {
			return nil
		}}
		if i >= 10 {
			x.After = []string{fmt.Sprint(i - 10), fmt.Sprint(i / 2)}
		}
		tasks = append(tasks, x)
	}
	for b.Loop() {
		if _, err := Run(b.Context(), nil, nil, 4, tasks); err != nil {
			b.Fatal(err)
		}
	}
}
