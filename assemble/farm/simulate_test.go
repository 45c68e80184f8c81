package farm

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// simulated is machines that a run gives tasks to, by a clock that jumps: each takes orders
// as a [worker] does, with [hands], and for them its own time. A second worker gets a slow
// order as [Home.isSlow] says. Nothing is sent.
type simulated struct {
	cores, machines int
	orders          chan *errand
	seconds         func(p task.Parcel) float64 // of a core at home

	mu    sync.Mutex
	busy  int
	paces map[string]pace
	spent float64 // seconds of all cores, here too
}

// errand is an order that is out in a simulation.
type errand struct {
	task.Parcel
	ctx  context.Context
	made chan struct{}
	once sync.Once
}

func (s *simulated) Room() int                           { return s.cores + s.machines }
func (s *simulated) Cores() int                          { return s.cores }
func (s *simulated) Space() int64                        { return 0 }
func (s *simulated) Doubts(task.Parcel) bool             { return false }
func (s *simulated) Differs(task.Parcel, []byte, []byte) {}

// join adds a machine whose cores take so many times as long as those at home.
func (s *simulated) join(ctx context.Context, cores int, slower float64) {
	s.cores, s.machines = s.cores+cores, s.machines+1
	h := newHands(cores)
	for range cores + ahead {
		go func() {
			for {
				early, ok := h.take(ctx)
				if !ok {
					return
				}
				if early {
					time.Sleep(yielded)
				}
				select {
				case <-ctx.Done():
				case e := <-s.orders:
					s.carryOut(e, h, slower)
				}
				h.put()
			}
		}()
	}
}

// carryOut has a core of a machine make an order, until it is made or recalled.
func (s *simulated) carryOut(e *errand, h *hands, slower float64) {
	if !h.begin(e.ctx) {
		return
	}
	s.count(1)
	defer s.count(-1)
	defer h.end()
	took := s.seconds(e.Parcel) * slower
	defer s.spend(time.Now())
	select {
	case <-e.ctx.Done():
	case <-time.After(time.Duration(took * float64(time.Second))):
		s.mu.Lock()
		p := s.paces[e.Rule]
		s.paces[e.Rule] = pace{p.orders + 1, p.seconds + took}
		s.mu.Unlock()
		e.once.Do(func() { close(e.made) })
	}
}

// spend counts the time of a core since it began.
func (s *simulated) spend(began time.Time) {
	s.mu.Lock()
	s.spent += time.Since(began).Seconds()
	s.mu.Unlock()
}

func (s *simulated) count(by int) {
	s.mu.Lock()
	s.busy += by
	s.mu.Unlock()
}

// Make implements [task.Away] as [Home.Make] does.
func (s *simulated) Make(ctx context.Context, p task.Parcel, dst string) error {
	ctx, recall := context.WithCancel(ctx)
	defer recall()
	e := &errand{Parcel: p, ctx: ctx, made: make(chan struct{})}
	since, copied := time.Now(), false
	give := func() {
		go func() {
			select {
			case s.orders <- e:
			case <-ctx.Done():
			}
		}()
	}
	give()
	tick := time.NewTicker(10 * time.Second) // a third of a lease
	defer tick.Stop()
	for {
		select {
		case <-e.made:
			return os.WriteFile(dst, []byte("x"), 0o600)
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		s.mu.Lock()
		usual := s.paces[p.Rule]
		idle := s.cores - s.busy
		s.mu.Unlock()
		limit := max(30*time.Second, time.Duration(slower*usual.mean()*float64(time.Second)))
		if !copied && idle > 0 && usual.orders > 0 && time.Since(since) > limit {
			copied = true
			give()
		}
	}
}

// production returns the tasks of a film: so many takes to conform, and as many segments
// that each need all of them. Their seconds spread as measured ones do.
func (s *simulated) production(takes int, seed uint64) (tasks []task.Task) {
	r := rand.New(rand.NewPCG(seed, 24))
	seconds := map[string]float64{}
	s.seconds = func(p task.Parcel) float64 { return seconds[p.Args.(string)] }
	add := func(rule string, k int, mean float64, after []task.Task) task.Task {
		id := fmt.Sprint(rule, k)
		cost := mean * (0.6 + 0.8*r.Float64())
		guess := cost * (0.7 + 0.6*r.Float64())
		x := task.Task{ID: id, Action: store.NewAction(rule).Arg("k", k).Ext(".x"), Cost: guess, Keep: true,
			Errand: &task.Errand{Rule: rule, Args: id},
			Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				defer s.spend(time.Now())
				select {
				case <-time.After(time.Duration(cost * float64(time.Second))):
				case <-ctx.Done():
					return ctx.Err()
				}
				return os.WriteFile(tmp, []byte("x"), 0o600)
			}}
		for _, a := range after {
			x.Needs(a.ID, task.Path(a))
		}
		seconds[id] = cost
		return x
	}
	for k := range takes {
		tasks = append(tasks, add("conform", k, 10, nil))
	}
	pieces := tasks
	for k := range takes {
		tasks = append(tasks, add("segment", k, 10, pieces))
	}
	return tasks
}

// simulate returns how many seconds a run takes with two workers at home and machines of
// two cores that are so many times slower than home.
func simulate(t *testing.T, takes int, seed uint64, slower ...float64) (wall, spent float64) {
	t.Helper()
	s, err := store.Open(t.TempDir())
	if err == nil {
		err = s.Lock(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	synctest.Test(t, func(t *testing.T) {
		far := &simulated{orders: make(chan *errand), paces: map[string]pace{}}
		tasks := far.production(takes, seed)
		ctx, end := context.WithCancel(t.Context())
		defer end()
		for _, m := range slower {
			far.join(ctx, 2, m)
		}
		began := time.Now()
		if _, err := (task.Runner{Store: s, Workers: 2, Away: far}).Run(ctx, tasks); err != nil {
			t.Fatal(err)
		}
		wall = time.Since(began).Seconds()
		end()
		synctest.Wait()
		spent = far.spent
	})
	return wall, spent
}

// TestASlowMachineHoldsARunUpForALittle: of three machines one is five times slower than
// the others. What it holds is made by others too, once it is out for long. Twelve takes, and
// as many segments that need them all, are 30 s of work for eight equal cores. Without second
// copies the run takes 151 s, mean of six; with them 90.
func TestASlowMachineHoldsARunUpForALittle(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		slower []float64
		most   float64
	}{{"equal", []float64{1, 1, 1}, 55}, {"one slow", []float64{1, 1, 5}, 120}} {
		wall, spent := simulate(t, 12, 1, c.slower...)
		t.Logf("%s: %.1f s, %.0f s of all cores", c.name, wall, spent)
		if wall < 30 || wall > c.most {
			t.Errorf("%s: the run takes %.1f s", c.name, wall)
		}
	}
}
