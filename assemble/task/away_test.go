package task

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// elsewhere is a made-up farm.
type elsewhere struct {
	room  int
	calls atomic.Int32
	make  func(ctx context.Context, p Parcel, dst string) error
	doubt bool
	wrong atomic.Int32 // results that differed
}

func (e *elsewhere) Doubts(Parcel) bool             { return e.doubt }
func (e *elsewhere) Differs(Parcel, []byte, []byte) { e.wrong.Add(1) }
func (e *elsewhere) Room() int                      { return e.room }
func (e *elsewhere) Cores() int                     { return e.room }
func (e *elsewhere) Space() int64                   { return 0 }
func (e *elsewhere) Make(ctx context.Context, p Parcel, dst string) error {
	e.calls.Add(1)
	return e.make(ctx, p, dst)
}

// errand returns a task that writes its name here, and that may be made elsewhere.
func errand(name string, home *atomic.Int32, after ...Task) Task {
	t := Task{ID: name, Action: store.NewAction("echo").Arg("name", name).Ext(".txt"), Keep: true,
		Errand: &Errand{Rule: "echo", Args: name},
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			home.Add(1)
			return os.WriteFile(tmp, []byte(name), 0o666)
		}}
	for _, a := range after {
		ref := Path(a)
		t.Needs("in", ref)
		t.Errand.Inputs = append(t.Errand.Inputs, ErrandInput{Ext: ".txt", Edge: ref})
	}
	return t
}

// writes is what another machine does with an errand.
func writes(_ context.Context, p Parcel, dst string) error {
	for _, path := range p.Paths {
		if _, err := os.Stat(path); err != nil {
			return err
		}
	}
	return os.WriteFile(dst, []byte(p.Args.(string)), 0o666)
}

// runAway runs tasks with a farm and returns what lies where they are stored.
func runAway(t *testing.T, far *elsewhere, workers int, tasks []Task) (Result, []string) {
	t.Helper()
	res, err := Runner{Store: openStore(t, t.TempDir()), Workers: workers, Away: far}.Run(t.Context(), tasks)
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, o := range res.Outcomes {
		data, err := os.ReadFile(o.Path)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(data))
	}
	return res, texts
}

// TestErrandsAreMadeElsewhere: while the one worker here waits for what is made
// elsewhere, all that can go goes, inputs first.
func TestErrandsAreMadeElsewhere(t *testing.T) {
	var home atomic.Int32
	release := make(chan struct{})
	first := Task{ID: "first", Action: store.NewAction("echo").Arg("name", "first").Ext(".txt"), Keep: true, Cost: 100,
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			<-release // keeps the worker here busy until the errands are home
			return os.WriteFile(tmp, []byte("first"), 0o666)
		}}
	a, b := errand("a", &home), errand("b", &home)
	c := errand("c", &home, a, b)
	far := &elsewhere{room: 2}
	far.make = func(ctx context.Context, p Parcel, dst string) error {
		if p.Args == "c" {
			defer close(release)
			if len(p.Paths) != 2 || filepath.Ext(p.Paths[0]) != ".txt" {
				t.Errorf("c is sent with %q", p.Paths)
			}
		}
		return writes(ctx, p, dst)
	}
	res, texts := runAway(t, far, 1, []Task{first, a, b, c})
	if far.calls.Load() != 3 || home.Load() != 0 || res.Stats.Run != 4 {
		t.Errorf("%d made elsewhere, %d here, %d in all", far.calls.Load(), home.Load(), res.Stats.Run)
	}
	if texts[1] != "a" || texts[3] != "c" {
		t.Errorf("stored %q", texts)
	}
}

// TestWhatFailsElsewhereIsMadeHere: the error of another machine is nobody's fault.
func TestWhatFailsElsewhereIsMadeHere(t *testing.T) {
	var home atomic.Int32
	far := &elsewhere{room: 3, make: func(_ context.Context, _ Parcel, dst string) error {
		_ = os.WriteFile(dst, []byte("half"), 0o666)
		return errors.New("no disk there")
	}}
	_, texts := runAway(t, far, 1, []Task{errand("a", &home), errand("b", &home), errand("c", &home)})
	if home.Load() != 3 || texts[0] != "a" || texts[2] != "c" {
		t.Errorf("%d made here: %q", home.Load(), texts)
	}
	if n := far.calls.Load(); n > 2 { // the first one is made here at once
		t.Errorf("%d went away, some of them twice", n)
	}
}

// TestAnIdleWorkerHelps: what never comes back from elsewhere is made here, and the
// other is told to stop.
func TestAnIdleWorkerHelps(t *testing.T) {
	var home, stopped atomic.Int32
	far := &elsewhere{room: 4, make: func(ctx context.Context, _ Parcel, _ string) error {
		<-ctx.Done()
		stopped.Add(1)
		return ctx.Err()
	}}
	_, texts := runAway(t, far, 1, []Task{errand("a", &home), errand("b", &home), errand("c", &home)})
	if home.Load() != 3 || stopped.Load() != far.calls.Load() || far.calls.Load() != 2 {
		t.Errorf("%d made here, %d of %d stopped", home.Load(), stopped.Load(), far.calls.Load())
	}
	if texts[1] != "b" {
		t.Errorf("stored %q", texts)
	}
}

// TestAHelperThatPanicsFailsOneTask: what panics here while it is away does not end the program.
func TestAHelperThatPanicsFailsOneTask(t *testing.T) {
	var home atomic.Int32
	bad := errand("bad", &home)
	bad.Make = func(context.Context, Inputs, string, func(float64)) error { panic("index out of range") }
	far := &elsewhere{room: 4, make: func(ctx context.Context, _ Parcel, _ string) error {
		<-ctx.Done()
		return ctx.Err()
	}}
	res, err := Runner{Store: openStore(t, t.TempDir()), Workers: 1, Away: far}.Run(t.Context(),
		[]Task{errand("first", &home), bad, errand("good", &home)})
	if err == nil || !strings.Contains(err.Error(), "bad panicked: index out of range") ||
		res.Of("bad").State != Failed || res.Of("good").State != Made {
		t.Errorf("%s, %v", states(res), err)
	}
}

// TestWhoComesFirstIsTaken: the slow one here is left when the other is home first.
func TestWhoComesFirstIsTaken(t *testing.T) {
	begun := make(chan struct{})
	slow := Task{ID: "slow", Action: store.NewAction("echo").Arg("name", "slow").Files("x.txt"), Keep: true,
		Errand: &Errand{Rule: "echo", Args: "slow"},
		Make: func(ctx context.Context, _ Inputs, tmp string, _ func(float64)) error {
			close(begun)
			if err := os.WriteFile(filepath.Join(tmp, "half.txt"), []byte("half"), 0o666); err != nil {
				return err
			}
			<-ctx.Done()
			return ctx.Err()
		}}
	quick := Task{ID: "quick", Action: store.NewAction("echo").Arg("name", "quick").Ext(".txt"), Keep: true, Cost: 9,
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			return os.WriteFile(tmp, []byte("quick"), 0o666)
		}}
	far := &elsewhere{room: 1, make: func(_ context.Context, _ Parcel, dst string) error {
		<-begun
		return os.WriteFile(filepath.Join(dst, "x.txt"), []byte("far"), 0o666)
	}}
	res, err := Runner{Store: openStore(t, t.TempDir()), Workers: 1, Away: far}.Run(t.Context(), []Task{quick, slow})
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(res.Path("slow"), "x.txt"))
	if err != nil || string(data) != "far" {
		t.Errorf("%q, %v", data, err)
	}
}

// TestACancelledRunCallsErrandsBack: nothing is left running anywhere.
func TestACancelledRunCallsErrandsBack(t *testing.T) {
	var home atomic.Int32
	ctx, cancel := context.WithCancel(t.Context())
	far := &elsewhere{room: 1}
	far.make = func(ctx context.Context, _ Parcel, _ string) error {
		cancel()
		<-ctx.Done()
		return ctx.Err()
	}
	busy := Task{ID: "busy", Action: store.NewAction("busy").Ext(".txt"), Keep: true, Cost: 9,
		Make: func(ctx context.Context, _ Inputs, _ string, _ func(float64)) error {
			<-ctx.Done()
			return ctx.Err()
		}}
	res, err := Runner{Store: openStore(t, t.TempDir()), Workers: 1, Away: far}.Run(ctx,
		[]Task{busy, errand("a", &home)})
	if !errors.Is(err, context.Canceled) || res.Of("a").State != Cancelled || home.Load() != 0 {
		t.Errorf("%v, %+v", err, res.Outcomes)
	}
}

// TestResultsAreComparedWithHome: what is doubted is made here as well, and what was
// made here is what is kept.
func TestResultsAreComparedWithHome(t *testing.T) {
	for _, honest := range []bool{true, false} {
		var home atomic.Int32
		arrived := make(chan struct{})
		far := &elsewhere{room: 1, doubt: true}
		far.make = func(ctx context.Context, p Parcel, dst string) error {
			defer close(arrived)
			if !honest {
				return os.WriteFile(dst, []byte("not a"), 0o666)
			}
			return writes(ctx, p, dst)
		}
		busy := Task{ID: "busy", Action: store.NewAction("busy").Ext(".txt"), Keep: true, Cost: 9,
			Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
				<-arrived
				return os.WriteFile(tmp, []byte("busy"), 0o666)
			}}
		_, texts := runAway(t, far, 1, []Task{busy, errand("a", &home)})
		if texts[1] != "a" || home.Load() != 1 || (far.wrong.Load() == 0) != honest {
			t.Errorf("honest %v: stored %q, made here %d times, %d differ", honest, texts[1], home.Load(),
				far.wrong.Load())
		}
	}
}

// TestWhatTravelsLongerThanItTakesStaysHome: a task whose output, or what it reads of other
// tasks, would be longer on its way than it is made.
func TestWhatTravelsLongerThanItTakesStaysHome(t *testing.T) {
	for name, c := range map[string]struct {
		cost     float64 // seconds
		out, in  int64   // bytes
		wantAway bool
	}{
		"quick and large":      {0.1, 20e6, 0, false},
		"quick, of much":       {0.1, 0, 20e6, false},
		"half a second, 40 MB": {0.5, 20e6, 20e6, true},
		"nothing is known":     {0, 0, 0, true},
	} {
		var home atomic.Int32
		before := errand("before", &home)
		before.Bytes, before.Errand = c.in, nil
		after := errand("after", &home, before)
		after.Cost, after.Bytes = c.cost, c.out
		g, err := check([]Task{before, after})
		if err != nil {
			t.Fatal(err)
		}
		x := newExecution(Runner{Progress: progress.New(nil, progress.Quiet)}, g,
			[]looked{{runs: true}, {runs: true}}, []float64{0, c.cost})
		if got := x.isWorth(1); got != c.wantAway {
			t.Errorf("%s: worth to be given away: %v", name, got)
		}
	}
}

// TestWhatHoldsOthersUpComesFirst: a drawing of an instant, made here, for which another machine
// waits, does not wait behind a master of half a minute; without other machines the longest way
// comes first, as ever.
func TestWhatHoldsOthersUpComesFirst(t *testing.T) {
	for _, c := range []struct {
		away Away
		want string
	}{{&elsewhere{room: 1, make: writes}, "[draw master]"}, {nil, "[master draw]"}} {
		var home atomic.Int32
		var order []string
		here := func(name string, cost float64) Task {
			return Task{ID: name, Cost: cost, Action: store.NewAction("here").Arg("name", name), Keep: true,
				Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
					order = append(order, name) // one worker: one at a time
					return os.WriteFile(tmp, []byte(name), 0o666)
				}}
		}
		draw := here("draw", 0.2)
		segment := errand("segment", &home, draw)
		segment.Cost = 3
		r := Runner{Store: openStore(t, t.TempDir()), Workers: 1, Away: c.away}
		if _, err := r.Run(t.Context(), []Task{here("master", 30), draw, segment}); err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprint(order); got != c.want {
			t.Errorf("made in the order %s, not %s", got, c.want)
		}
	}
}
