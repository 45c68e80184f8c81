package task

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// choir is a batch that notes which tasks it made together.
type choir struct {
	mu    sync.Mutex
	sang  [][]string
	ill   string // the member that fails
	alone []string
}

// tasks returns n tasks of one batch of at most most.
func (c *choir) tasks(n, most int) []Task {
	batch := &Batch{Most: most, Make: func(_ context.Context, members []Member) []error {
		wrong := make([]error, len(members))
		var ids []string
		for i, m := range members {
			ids = append(ids, m.ID)
			if m.ID == c.ill {
				wrong[i] = errors.New("hoarse")
				continue
			}
			m.Advance(0.5)
			wrong[i] = sing(m.ID, m.In, m.Tmp)
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		c.sang = append(c.sang, ids)
		return wrong
	}}
	var tasks []Task
	for i := range n {
		id := fmt.Sprint("singer", i)
		tasks = append(tasks, Task{ID: id, Cost: 1, Action: store.NewAction("sing").Arg("id", id), Batch: batch,
			Make: func(_ context.Context, in Inputs, tmp string, _ func(float64)) error {
				c.mu.Lock()
				defer c.mu.Unlock()
				c.alone = append(c.alone, id)
				return sing(id, in, tmp)
			}})
	}
	return tasks
}

// sing writes what becomes of a task, with what it was given to read.
func sing(id string, in Inputs, tmp string) error {
	voice := "voice " + id
	if score, ok := in["score"]; ok {
		b, err := os.ReadFile(score)
		if err != nil {
			return err
		}
		voice += " " + string(b)
	}
	return os.WriteFile(tmp, []byte(voice), 0o666)
}

// sizes returns those of the groups, from large to small.
func (c *choir) sizes() []int {
	var n []int
	for _, g := range c.sang {
		n = append(n, len(g))
	}
	slices.Sort(n)
	slices.Reverse(n)
	return n
}

// TestBatch: tasks of a batch are made together, in groups that leave every
// worker its share, and become what they become alone.
func TestBatch(t *testing.T) {
	for _, c := range []struct {
		tasks, most, workers int
		want                 []int
	}{
		{7, 3, 1, []int{3, 3}}, {7, 8, 2, []int{4, 3}}, {9, 8, 4, []int{3, 2, 2, 2}}, {2, 8, 2, nil}, {25, 8, 1,
			[]int{8, 8, 8}},
	} {
		s, ch := openStore(t, t.TempDir()), &choir{}
		tasks := ch.tasks(c.tasks, c.most)
		res, err := Run(t.Context(), s, nil, c.workers, tasks)
		if err != nil || res.Stats != (Stats{Run: c.tasks}) {
			t.Fatalf("%+v: %s, %v", c, states(res), err)
		}
		grouped := 0
		for _, n := range ch.sizes() {
			grouped += n
		}
		if got := ch.sizes(); !slices.Equal(got, c.want) || grouped+len(ch.alone) != c.tasks {
			t.Errorf("%+v: groups of %v and %v alone", c, got, ch.alone)
		}
		for _, task := range tasks {
			if got := text(t, res.Path(task.ID)); got != "voice "+task.ID {
				t.Errorf("%+v: %s became %q", c, task.ID, got)
			}
		}
		ch.sang, ch.alone = nil, nil
		if res, err = Run(t.Context(), s, nil, c.workers, tasks); err != nil ||
			res.Stats != (Stats{Reused: c.tasks}) || len(ch.sang)+len(ch.alone) > 0 {
			t.Errorf("%+v again: %s, %v", c, states(res), err)
		}
		verify := Runner{Store: s, Workers: c.workers, Verify: true}
		if res, err = verify.Run(t.Context(), tasks); err != nil || res.Stats.Run != c.tasks {
			t.Errorf("%+v verified: %s, %v", c, states(res), err)
		}
	}
}

// TestABatchIsSharedWithTheBusy: a worker that does other work gets its share as well, so
// that the one that is idle first does not take all; one that makes some of the batch has
// had its own.
func TestABatchIsSharedWithTheBusy(t *testing.T) {
	tasks := (&choir{}).tasks(8, 8)
	g, err := check(tasks)
	if err != nil {
		t.Fatal(err)
	}
	l := make([]looked, len(tasks))
	for i := range l {
		l[i].runs = true
	}
	for _, c := range []struct{ busy, batching, want int }{{0, 0, 2}, {3, 0, 2}, {3, 2, 4}, {3, 3, 8}} {
		x := newExecution(Runner{Workers: 4, Progress: progress.New(nil, progress.Quiet)}, g, l, make([]float64, len(tasks)))
		x.running, x.batching[tasks[0].Batch] = c.busy, c.batching
		if group, _ := x.nextBatch(); len(group) != c.want {
			t.Errorf("%+v: %d are made together", c, len(group))
		}
	}
}

// TestOneOfABatchFails: the others are made all the same, of what they come
// after, and those behind it are skipped.
func TestOneOfABatchFails(t *testing.T) {
	s, ch := openStore(t, t.TempDir()), &choir{ill: "singer1"}
	tasks := ch.tasks(3, 3)
	for i := range tasks {
		tasks[i].After = []string{"score"}
	}
	j := &journal{}
	tasks = append(tasks, j.step("score", ""), j.step("song", "", "singer1"), j.step("other", "", "singer2"))
	res, err := Run(t.Context(), s, nil, 1, tasks)
	if err == nil || !strings.Contains(err.Error(), "hoarse") || len(ch.sang) != 1 {
		t.Errorf("%v, %v", err, ch.sang)
	}
	if got, want := states(res), "singer0:made singer1:failed singer2:made score:made song:skipped "+
		"other:made"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if got := text(t, res.Path("singer2")); got != "voice singer2 score" {
		t.Errorf("singer2 became %q", got)
	}
}

// TestBatchThatPanics fails all its members and nobody else.
func TestBatchThatPanics(t *testing.T) {
	s, ch := openStore(t, t.TempDir()), &choir{}
	tasks := ch.tasks(3, 3)
	tasks[0].Batch.Make = func(context.Context, []Member) []error { panic("out of tune") }
	tasks = append(tasks, (&journal{}).step("other", ""))
	res, err := Run(t.Context(), s, nil, 1, tasks)
	if err == nil || !strings.Contains(err.Error(), "out of tune") {
		t.Error(err)
	}
	if got, want := states(res), "singer0:failed singer1:failed singer2:failed other:made"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// TestBatchWithEqualKeys: outputs that two tasks share are made alone, once.
func TestBatchWithEqualKeys(t *testing.T) {
	s, ch := openStore(t, t.TempDir()), &choir{}
	tasks := ch.tasks(6, 3)
	tasks[4].Action, tasks[5].Action = tasks[0].Action, tasks[1].Action
	res, err := Run(t.Context(), s, nil, 3, tasks)
	if err != nil || res.Path("singer4") != res.Path("singer0") || res.Path("singer5") != res.Path("singer1") {
		t.Errorf("%s, %v", states(res), err)
	}
	for _, g := range ch.sang {
		if slices.Contains(g, "singer0") || slices.Contains(g, "singer1") || slices.Contains(g, "singer4") ||
			slices.Contains(g, "singer5") {
			t.Errorf("made together: %v", g)
		}
	}
}

// TestCancelledBatch stores nothing.
func TestCancelledBatch(t *testing.T) {
	s, ch := openStore(t, t.TempDir()), &choir{}
	tasks := ch.tasks(3, 3)
	ctx, cancel := context.WithCancel(t.Context())
	tasks[0].Batch.Make = func(ctx context.Context, members []Member) []error {
		for _, m := range members {
			if err := os.WriteFile(m.Tmp, []byte("half"), 0o666); err != nil {
				t.Error(err)
			}
		}
		cancel()
		return make([]error, len(members))
	}
	res, err := Run(ctx, s, nil, 1, tasks)
	if !errors.Is(err, context.Canceled) || states(res) != "singer0:cancelled singer1:cancelled singer2:cancelled" {
		t.Errorf("%s, %v", states(res), err)
	}
	for _, task := range tasks {
		if _, err := s.Get(t.Context(), task.Action); err == nil {
			t.Errorf("%s is stored", task.ID)
		}
	}
}

// TestBatchWithinMemory: a group takes no more than is free.
func TestBatchWithinMemory(t *testing.T) {
	s, ch := openStore(t, t.TempDir()), &choir{}
	tasks := ch.tasks(6, 6)
	for i := range tasks {
		tasks[i].Memory = 100
	}
	runner := Runner{Store: s, Workers: 1, Memory: 250}
	if res, err := runner.Run(t.Context(), tasks); err != nil || !slices.Equal(ch.sizes(), []int{2, 2, 2}) {
		t.Errorf("%s, %v, %v", states(res), err, ch.sizes())
	}
}
