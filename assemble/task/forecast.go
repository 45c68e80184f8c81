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
	// Away is what others can do; nil without any.
	Away *Shared `json:"away,omitempty"`
}

// Shared is what other machines can do of a run.
type Shared struct {
	Cores int     `json:"cores"`      // of theirs that can be had now
	Tasks int     `json:"tasks"`      // that they may make
	CPU   float64 `json:"cpu_s"`      // seconds of one core these take
	Bytes int64   `json:"send_bytes"` // of what these read, each file once
	Wall  float64 `json:"wall_s"`     // seconds of the run with their help; Forecast.Wall is without
}

// LinkSpeed is how many bytes a second are taken to travel to other machines and back:
// what a gigabit cable carries beside its overhead.
const LinkSpeed = 100e6

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
	f.Wall = newExecution(r, g, looked, costs).play(costs, nil)
	if r.Away != nil {
		x := newExecution(r, g, looked, costs)
		f.Away = x.share(costs)
		f.Away.Wall = x.play(costs, &others{cores: f.Away.Cores, room: r.Away.Room(), sent: map[string]bool{}})
	}
	return f, nil
}

// share returns what others may make of a run.
func (x *execution) share(costs []float64) *Shared {
	s := &Shared{Cores: x.Away.Cores()}
	sent := map[string]bool{}
	for i := range x.g.tasks {
		if t := &x.g.tasks[i]; x.looked[i].runs && t.Errand != nil {
			s.Tasks, s.CPU, s.Bytes = s.Tasks+1, s.CPU+costs[i], s.Bytes+x.toSend(i, sent)
		}
	}
	return s
}

// toSend returns how many bytes of what a task reads were not sent before.
func (x *execution) toSend(i int, sent map[string]bool) (bytes int64) {
	for _, in := range x.g.tasks[i].Errand.Inputs {
		name := in.Path
		if in.Edge != nil {
			name = in.Edge.Task().ID
		}
		if sent[name] {
			continue
		}
		sent[name] = true
		if in.Edge != nil {
			bytes += in.Edge.Task().Bytes
		} else {
			bytes += x.sizes[in.Path]
		}
	}
	return bytes
}

// others are the machines elsewhere in a run that is played through.
type others struct {
	cores, room int
	sent        map[string]bool
	link        float64   // until when it is in use
	free        []float64 // when each order that was taken ends, the last ones
	away        int
}

// take returns when a task that is given away now comes home: its files have to be sent
// one after the other, then a core has to be free, and its output has to come back.
func (o *others) take(x *execution, i int, now, cost float64) float64 {
	o.link = max(now, o.link) + float64(x.toSend(i, o.sent))/LinkSpeed
	begin := o.link
	if n := len(o.free); n >= o.cores {
		begin = max(begin, o.free[n-o.cores])
	}
	end := begin + cost
	at, _ := slices.BinarySearch(o.free, end)
	o.free = slices.Insert(o.free, at, end)
	o.away++
	return end + float64(x.g.tasks[i].Bytes)/LinkSpeed
}

// play returns how long the run would take by the clock, in seconds, with others who
// help; nil is nobody. Of a task that is away while nothing else is to be done here,
// this machine makes what it would have ready sooner.
func (x *execution) play(costs []float64, help *others) float64 {
	p := played{costs: costs, others: help}
	for {
		p.startHere(x)
		p.startAway(x)
		if len(p.list) == 0 {
			return p.now
		}
		done := p.list[0]
		p.list, p.now = p.list[1:], done.end
		if done.away {
			p.others.away--
			x.files.end(x.fileOf(done.task))
		} else {
			p.here--
			x.memory -= max(0, x.g.tasks[done.task].Memory)
		}
		for _, j := range x.g.before[done.task] {
			if x.waitsFor[j]--; x.looked[j].runs && x.waitsFor[j] == 0 {
				x.push(j)
			}
		}
	}
}

// played is a run that is played through.
type played struct {
	costs  []float64
	others *others
	now    float64
	here   int       // workers of this machine that are busy
	list   []playing // by their end
}

// playing is a task that runs in the forecast: by its number in the graph, until end, in
// seconds from now.
type playing struct {
	task int
	end  float64
	away bool
}

// startHere starts what this machine would start now.
func (p *played) startHere(x *execution) {
	for len(x.ready) > 0 && p.here < x.Workers {
		i := x.ready[0]
		need := max(0, x.g.tasks[i].Memory)
		if p.here > 0 && x.Memory > 0 && x.memory+need > x.Memory {
			return
		}
		x.ready, x.memory = x.ready[1:], x.memory+need
		p.here++
		p.add(playing{i, p.now + p.costs[i], false})
	}
}

// startAway gives away what others have room for, and helps with what is away when this
// machine has nothing else to do.
func (p *played) startAway(x *execution) {
	if p.others == nil || p.others.cores == 0 {
		return
	}
	for p.others.away < p.others.room {
		i := x.nextAway(p.others.room - p.others.cores)
		if i < 0 {
			break
		}
		x.files.give(x.fileOf(i))
		p.add(playing{i, p.others.take(x, i, p.now, p.costs[i]), true})
	}
	for len(x.ready) == 0 && p.here < x.Workers {
		at := slices.IndexFunc(p.list, func(r playing) bool { return r.away && p.now+p.costs[r.task] < r.end })
		if at < 0 {
			return
		}
		i := p.list[at].task
		p.list = slices.Delete(p.list, at, at+1)
		p.others.away--
		x.files.end(x.fileOf(i))
		p.here++
		x.memory += max(0, x.g.tasks[i].Memory)
		p.add(playing{i, p.now + p.costs[i], false})
	}
}

// add keeps the list in the order of ends.
func (p *played) add(r playing) {
	at, _ := slices.BinarySearchFunc(p.list, r.end, func(r playing, end float64) int {
		if r.end <= end {
			return -1
		}
		return 1
	})
	p.list = slices.Insert(p.list, at, r)
}
