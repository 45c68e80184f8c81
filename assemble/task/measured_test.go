package task

import (
	"fmt"
	"math"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// measuredRun is a run with other machines, measured on 2026-11-30 on 16 cores (Xeon, virtual):
// takes of 40 or 44 s of 960×540, films of 1280×720 and 720×720, home of two cores. Times are in
// seconds, of a core as busy as it was then.
type measuredRun struct {
	takes            int
	pieces, unread   int // of all takes; that no segment reads
	machines         int // of two cores each
	conform, compose float64
	films            int     // segments of both films
	sound            float64 // from mixing to the master, at home
	real             float64 // from the first conformed piece to the last film
}

// TestForecastOfMeasuredRuns plays runs through that were measured, fed with what their tasks
// took on average, and is within 15 % of what they took. Eight machines of two cores and the
// home had 16 cores together, so there one machine less is played through; where the home was not
// pinned to the cores of one of them, the times of tasks have that in them.
func TestForecastOfMeasuredRuns(t *testing.T) {
	const bytes = 12e6
	for _, m := range []measuredRun{
		{16, 34, 0, 2, 3.66, 2.26, 44, 6, 41.4},
		{16, 34, 0, 4, 4.03, 2.33, 44, 8, 26.4},
		{16, 34, 0, 7, 5.21, 2.98, 42, 12.9, 27.5},
		// Table C of the farm, by which nothing was set.
		{22, 180, 64, 2, 1.28, 2.10, 48, 7.9, 56.6},
		{22, 180, 64, 4, 1.39, 2.19, 48, 12.4, 38.0},
		{22, 180, 64, 7, 1.49, 2.56, 48, 24.1, 28.2},
		// Table E, of 2026-12-01, by which nothing was set: takes of 100 s, orders of several pieces.
		{24, 198, 0, 7, 2.45, 2.58, 96, 21.2, 53.2},
		{24, 198, 0, 8, 2.46, 2.81, 96, 15.0, 46.3},
		{24, 198, 0, 8, 2.72, 2.82, 96, 17.3, 49.2},
		{24, 198, 0, 8, 2.69, 3.02, 96, 15.2, 51.0},
	} {
		var tasks []Task
		var l []looked
		var costs []float64
		add := func(name string, k int, cost float64, bytes int64, away bool, after ...Task) Task {
			x := Task{ID: fmt.Sprint(name, k), Action: store.NewAction(name).Arg("k", k).Ext(".x"), Cost: cost, Bytes: bytes,
				Make: errand("", nil).Make}
			inputs := []ErrandInput(nil)
			for _, a := range after {
				x.Needs(a.ID, Path(a))
				inputs = append(inputs, ErrandInput{Edge: Path(a)})
			}
			if away {
				x.Errand = &Errand{Rule: name, Inputs: inputs}
			}
			tasks, l, costs = append(tasks, x), append(l, looked{runs: cost > 0}), append(costs, cost)
			return x
		}
		var files []Task
		for k := range m.takes {
			files = append(files, add("file", k, 0, bytes, false))
		}
		var halves [2][]Task // of the film
		for k := range m.pieces {
			piece := add("conform", k, m.conform, 2e6, true, files[k%m.takes])
			half := k / m.takes % 2 // the last two are of one close-up
			if m.unread > 0 {
				half = 2 * k / (m.pieces - m.unread)
			}
			if half < len(halves) {
				halves[half] = append(halves[half], piece)
			}
		}
		add("sound", 0, m.sound, 0, false)
		var film []Task
		for k := range m.films {
			film = append(film, add("segment", k, m.compose, 2e6, true, halves[2*k/m.films]...))
		}
		add("join", 0, 1.1, 0, false, film...)
		g, err := check(tasks)
		if err != nil {
			t.Fatal(err)
		}
		x := newExecution(Runner{Workers: 2, Progress: progress.New(nil, progress.Quiet)}, g, l, costs)
		got := x.play(costs, &others{cores: 2 * m.machines, room: 3 * m.machines, sent: map[string]bool{}})
		t.Logf("%d machines: %.1f s, measured %.1f, %+.0f %%", m.machines, got, m.real, 100*(got/m.real-1))
		if math.Abs(got/m.real-1) > 0.15 {
			t.Errorf("%d machines: %.1f s, measured %.1f", m.machines, got, m.real)
		}
	}
}
