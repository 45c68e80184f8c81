package task

import (
	"os"
	"path/filepath"
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

// TestForecastWithOthers: what others can do, what has to be sent for it, and how long
// the run then takes: files travel one after the other over one line, and outputs come
// back.
func TestForecastWithOthers(t *testing.T) {
	s := openStore(t, t.TempDir())
	file := filepath.Join(t.TempDir(), "take")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(file, LinkSpeed); err != nil { // which takes a second to send
		t.Fatal(err)
	}
	j := &journal{}
	var tasks []Task
	for _, id := range []string{"a", "b", "c", "d"} {
		step := j.step(id, "")
		step.Cost, step.Errand = 10, &Errand{Rule: "r", Inputs: []ErrandInput{{Path: file}}}
		tasks = append(tasks, step)
	}
	join := j.step("join", "", "a", "b", "c", "d")
	join.Cost = 1
	tasks = append(tasks, join)
	for _, c := range []struct {
		name       string
		here, away int
		wall       float64
	}{
		{"nobody", 1, 0, 41},
		{"one core", 1, 1, 22},    // a and then b here, c and d there: the file, two orders
		{"two cores", 1, 2, 21},   // a here, b and c there, d here from 10 to 20
		{"three cores", 1, 3, 12}, // all at once, after the file
		{"four here", 4, 4, 11},
	} {
		f, err := Runner{Store: s, Workers: c.here, Away: &elsewhere{room: c.away}}.Forecast(t.Context(), tasks)
		if err != nil {
			t.Fatal(err)
		}
		if want := (Shared{Cores: c.away, Tasks: 4, CPU: 40, Bytes: LinkSpeed, Wall: c.wall}); *f.Away != want {
			t.Errorf("%s: %+v, want %+v", c.name, *f.Away, want)
		}
	}
	tasks[0].Bytes = 2 * LinkSpeed // an output that takes two seconds to come back, if it is made there
	read := j.step("late", "", "a")
	read.Cost, read.Errand = 5, &Errand{Rule: "r", Inputs: []ErrandInput{{Edge: Path(tasks[0])}}}
	f, err := Runner{Store: s, Workers: 1, Away: &elsewhere{room: 1}}.Forecast(t.Context(), append(tasks[:1:1], read))
	if err != nil || f.Away.Bytes != 3*LinkSpeed || f.Wall != 15 || f.Away.Wall != 15 {
		t.Errorf("%+v, %+v, %v", f, f.Away, err)
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
