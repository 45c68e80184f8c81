package task

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// touching returns n tasks of one batch which another machine can make together.
func touching(n int, home *atomic.Int32) (tasks []Task) {
	batch := &Batch{Most: 8, Ahead: func() bool { return true }}
	batch.Errand = func(ids []string) Errand { return Errand{Rule: "many", Args: ids} }
	batch.Make = func(_ context.Context, members []Member) []error {
		wrong := make([]error, len(members))
		for i, m := range members {
			home.Add(1)
			wrong[i] = os.WriteFile(m.Tmp, []byte(m.ID), 0o666)
		}
		return wrong
	}
	for k := range n {
		t := errand(fmt.Sprintf("p%d", k), home)
		t.Cost, t.Batch = 1, batch
		tasks = append(tasks, t)
	}
	return tasks
}

// far is a machine that makes what touching gives it, and notes what that was.
type far struct {
	elsewhere
	mu     sync.Mutex
	groups [][]string
	change string // the task of which it makes something else
}

// write makes what p asks for.
func (f *far) write(_ context.Context, p Parcel, dst string) error {
	ids, together := p.Args.([]string)
	paths := []string{dst}
	if !together {
		ids = []string{p.Args.(string)}
	} else {
		paths = nil
		for _, name := range p.Action.Outputs() {
			paths = append(paths, filepath.Join(dst, name))
		}
	}
	f.mu.Lock()
	f.groups = append(f.groups, ids)
	f.mu.Unlock()
	for k, id := range ids {
		text := id
		if id == f.change {
			text = "not " + id
		}
		if err := os.WriteFile(paths[k], []byte(text), 0o666); err != nil {
			return err
		}
	}
	return nil
}

// busy returns a task that keeps the one worker here at work until wait is closed.
func busy(wait <-chan struct{}) Task {
	return Task{ID: "busy", Cost: 1000, Action: store.NewAction("busy").Ext(".txt"), Keep: true,
		Make: func(_ context.Context, _ Inputs, tmp string, _ func(float64)) error {
			<-wait
			return os.WriteFile(tmp, []byte("busy"), 0o666)
		}}
}

// TestTasksOfABatchAreGivenAwayTogether: as many as leave every worker its share, and no more
// than four; each becomes what it becomes alone, is told of as made elsewhere, and stored under
// its own key. What is doubted is made here again, and of what differs this machine's is kept.
func TestTasksOfABatchAreGivenAwayTogether(t *testing.T) {
	for _, c := range []struct {
		doubt  bool
		change string
		wrong  int32
	}{{false, "", 0}, {true, "", 0}, {true, "p1", 1}} {
		var home atomic.Int32
		done := make(chan struct{})
		tasks := touching(9, &home)
		f := &far{elsewhere: elsewhere{room: 1, doubt: c.doubt}, change: c.change}
		// A last one, which reads all, ends what keeps the worker here busy.
		last := errand("last", &home, tasks...)
		f.make = func(ctx context.Context, p Parcel, dst string) error {
			if p.Args == "last" {
				defer close(done)
			}
			return f.write(ctx, p, dst)
		}
		res, texts := runAway(t, &f.elsewhere, 1, append([]Task{busy(done), last}, tasks...))
		var sizes []int
		for _, g := range f.groups {
			sizes = append(sizes, len(g))
		}
		if len(f.groups) >= 10 || slices.Max(sizes) != mostLent {
			t.Errorf("%+v: groups of %v", c, sizes)
		}
		for k, x := range tasks {
			if texts[k+2] != x.ID || !res.Of(x.ID).Away || res.Of(x.ID).State != Made {
				t.Errorf("%+v: %s became %q, %+v", c, x.ID, texts[k+2], res.Of(x.ID))
			}
		}
		if again := home.Load() > 0; again != c.doubt || f.wrong.Load() != c.wrong {
			t.Errorf("%+v: %d made here, %d differ", c, home.Load(), f.wrong.Load())
		}
	}
}

// TestWhatFailsTogetherElsewhereIsMadeHere: every task of an order that failed comes home, and is
// given away no more; an idle worker here makes as well what stays away.
func TestWhatFailsTogetherElsewhereIsMadeHere(t *testing.T) {
	for _, silent := range []bool{false, true} {
		var home atomic.Int32
		tasks := touching(6, &home)
		f := &elsewhere{room: 1, make: func(ctx context.Context, _ Parcel, dst string) error {
			_ = os.WriteFile(filepath.Join(dst, PartName(0, ".txt")), []byte("half"), 0o666)
			if silent {
				<-ctx.Done()
			}
			return errors.New("no disk there")
		}}
		_, texts := runAway(t, f, 1, tasks)
		for k, x := range tasks {
			if texts[k] != x.ID {
				t.Errorf("silent %v: %s became %q", silent, x.ID, texts[k])
			}
		}
		if home.Load() != 6 {
			t.Errorf("silent %v: %d made here", silent, home.Load())
		}
	}
}

// TestTheFirstOfABatchMayBeThere: of what another run has made meanwhile nothing is asked for
// again, and the others of the order are named as they are without it.
func TestTheFirstOfABatchMayBeThere(t *testing.T) {
	var home atomic.Int32
	tasks := touching(3, &home)
	g, err := check(tasks)
	if err != nil {
		t.Fatal(err)
	}
	s := openStore(t, t.TempDir())
	f := &far{elsewhere: elsewhere{room: 1}}
	f.make = f.write
	x := newExecution(Runner{Store: s, Away: &f.elsewhere, Progress: progress.New(nil, progress.Quiet)}, g,
		[]looked{{runs: true}, {runs: true}, {runs: true}}, []float64{1, 1, 1})
	_, err = s.Put(t.Context(), tasks[0].Action, func(tmp string) error {
		return os.WriteFile(tmp, []byte("p0"), 0o666)
	})
	if err != nil {
		t.Fatal(err)
	}
	x.lend(t.Context(), []int{0, 1, 2})
	for k, e := range <-x.ended {
		data, err := os.ReadFile(e.path)
		if e.err != nil || err != nil || string(data) != tasks[k].ID || e.made != (k > 0) || e.elsewhere != (k > 0) {
			t.Errorf("%+v, %q, %v", e, data, err)
		}
	}
	if got := fmt.Sprint(f.groups); got != "[[p1 p2]]" {
		t.Errorf("asked for %s", got)
	}
}
