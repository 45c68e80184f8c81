package task

import (
	"context"
	"slices"

	"ripieno/assemble/progress"
)

// Forecast is what a run is expected to take.
type Forecast struct {
	CPU   float64 `json:"cpu_s"`        // seconds of one core
	Wall  float64 `json:"wall_s"`       // seconds, with the workers that there are
	Bytes int64   `json:"bytes"`        // of the outputs that are made
	All   int64   `json:"bytes_of_all"` // of the outputs of all tasks, stored ones included
}

// Forecast returns what [Runner.Run] would take with the same tasks now, by their
// estimates and what earlier runs took. The time by the clock is that of a run played
// through in the order in which tasks would start. It fails as [Runner.Plan] does.
func (r Runner) Forecast(ctx context.Context, tasks []Task) (Forecast, error) {
	g, err := check(tasks)
	if err != nil {
		return Forecast{}, err
	}
	looked, err := r.look(ctx, g)
	if err != nil {
		return Forecast{}, err
	}
	costs, _, err := r.costs(ctx, g, looked)
	if err != nil {
		return Forecast{}, err
	}
	var f Forecast
	for i, t := range tasks {
		f.All += t.Bytes
		if looked[i].runs {
			f.CPU, f.Bytes = f.CPU+costs[i], f.Bytes+t.Bytes
		}
	}
	r.Progress = progress.New(nil, progress.Quiet)
	f.Wall = newExecution(r, g, looked, costs).play(costs)
	return f, nil
}

// play returns how long the run would take by the clock, in seconds.
func (x *execution) play(costs []float64) float64 {
	type running struct {
		task int
		end  float64
	}
	var now float64
	var list []running // by their end
	for {
		for len(x.ready) > 0 && len(list) < x.Workers {
			i := x.ready[0]
			need := max(0, x.g.tasks[i].Memory)
			if len(list) > 0 && x.Memory > 0 && x.memory+need > x.Memory {
				break
			}
			x.ready, x.memory = x.ready[1:], x.memory+need
			end := now + costs[i]
			at, _ := slices.BinarySearchFunc(list, end, func(r running, end float64) int {
				if r.end <= end {
					return -1
				}
				return 1
			})
			list = slices.Insert(list, at, running{i, end})
		}
		if len(list) == 0 {
			return now
		}
		done := list[0]
		list, now = list[1:], done.end
		x.memory -= max(0, x.g.tasks[done.task].Memory)
		for _, j := range x.g.before[done.task] {
			if x.waitsFor[j]--; x.looked[j].runs && x.waitsFor[j] == 0 {
				x.push(j)
			}
		}
	}
}
