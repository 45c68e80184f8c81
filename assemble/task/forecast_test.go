package task

import (
	"slices"
	"sync"
	"testing"
)

// TestForecast: what a run will take by the clock is what its order of starts makes of
// the costs, with as many workers as there are; what is stored costs nothing.
func TestForecast(t *testing.T) {
	s := openStore(t, t.TempDir())
	j := &journal{}
	tasks := []Task{j.step("a", ""), j.step("b", ""), j.step("c", ""), j.step("join", "", "a", "b", "c")}
	for i, cost := range []float64{4, 3, 3, 1} {
		tasks[i].Cost, tasks[i].Bytes = cost, 10
	}
	for _, c := range []struct {
		workers int
		wall    float64
	}{{1, 11}, {2, 7}, {3, 5}, {16, 5}} {
		f, err := Runner{Store: s, Workers: c.workers}.Forecast(t.Context(), tasks)
		if err != nil || f != (Forecast{CPU: 11, Wall: c.wall, Bytes: 40, All: 40}) {
			t.Errorf("%d workers: %+v, %v", c.workers, f, err)
		}
	}
	tasks[0].Memory, tasks[1].Memory, tasks[2].Memory = 60, 60, 60
	if f, err := (Runner{Store: s, Workers: 3, Memory: 100}).Forecast(t.Context(), tasks); err != nil || f.Wall != 11 {
		t.Errorf("without memory for two: %+v, %v", f, err)
	}
	if _, err := (Runner{Store: s, Workers: 2}).Run(t.Context(), tasks); err != nil {
		t.Fatal(err)
	}
	if f, err := (Runner{Store: s, Workers: 2}).Forecast(t.Context(), tasks); err != nil || f != (Forecast{All: 40}) {
		t.Errorf("with everything stored: %+v, %v", f, err)
	}
}

// TestObserve: every task that is made is told of, with the worker that made it, which
// makes one at a time.
func TestObserve(t *testing.T) {
	var mu sync.Mutex
	var ran []Ran
	j := &journal{}
	var tasks []Task
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		tasks = append(tasks, j.step(id, ""))
	}
	r := Runner{Store: openStore(t, t.TempDir()), Workers: 2, Observe: func(x Ran) {
		mu.Lock()
		defer mu.Unlock()
		ran = append(ran, x)
	}}
	if _, err := r.Run(t.Context(), tasks); err != nil {
		t.Fatal(err)
	}
	var names []string
	last := map[int]Ran{}
	for _, x := range ran {
		names = append(names, x.Name)
		if x.Worker < 0 || x.Worker > 1 || x.Ended.Before(x.Began) || x.Began.Before(last[x.Worker].Ended) {
			t.Errorf("%+v after %+v", x, last[x.Worker])
		}
		last[x.Worker] = x
	}
	slices.Sort(names)
	if !slices.Equal(names, []string{"a", "b", "c", "d", "e"}) {
		t.Errorf("told of %q", names)
	}
	ran = nil
	if _, err := r.Run(t.Context(), tasks[:4]); err != nil || len(ran) > 0 {
		t.Errorf("stored ones: %v, %v", ran, err)
	}
}
