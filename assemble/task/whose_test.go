package task

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"ripieno/assemble/progress"
)

// crew is a made-up farm of machines with as many cores together, each of which takes one
// task more.
type crew struct {
	elsewhere
	machines, cores int
	space           int64
}

func (c *crew) Room() int    { return c.cores + c.machines }
func (c *crew) Cores() int   { return c.cores }
func (c *crew) Space() int64 { return c.space }

// piecesOf returns a task for each piece of takes, in the order of the film: the first piece
// of all takes comes first. A take has three bytes.
func piecesOf(t *testing.T, takes, pieces int) (tasks []Task) {
	var home atomic.Int32
	dir := t.TempDir()
	for k := range takes {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprint(k)), []byte("one"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for p := range pieces {
		for k := range takes {
			piece := errand(fmt.Sprintf("%c%d", 'a'+k, p), &home)
			piece.Cost = 1
			piece.Errand.Inputs = []ErrandInput{{Path: filepath.Join(dir, fmt.Sprint(k))}}
			tasks = append(tasks, piece)
		}
	}
	return tasks
}

// given returns the order in which tasks are given away when as many are away at a time as
// there is room for, and the one given first comes home first.
func given(t *testing.T, tasks []Task, c *crew) string {
	t.Helper()
	g, err := check(tasks)
	if err != nil {
		t.Fatal(err)
	}
	r := Runner{Store: openStore(t, t.TempDir()), Away: c, Progress: progress.New(nil, progress.Quiet)}
	looked, err := r.look(t.Context(), g)
	if err != nil {
		t.Fatal(err)
	}
	costs := make([]float64, len(tasks))
	for i := range tasks {
		costs[i] = tasks[i].Cost
	}
	x := newExecution(r, g, looked, costs)
	var away []int
	var names []string
	for {
		if len(away) == c.Room() {
			x.files.end(x.fileOf(away[0]))
			away = away[1:]
		}
		i := x.nextAway(c.machines)
		if i < 0 {
			return strings.Join(names, " ")
		}
		x.files.give(x.fileOf(i))
		away, names = append(away, i), append(names, tasks[i].ID)
	}
}

// TestAsManyTakesAreOpenAsThereAreMachines: two machines work on two takes at a time, and the
// next one is opened when no piece of one is left; one machine works on one after the other;
// more machines than takes get what comes first. What is more urgent goes before, and what
// reads no file keeps its place.
func TestAsManyTakesAreOpenAsThereAreMachines(t *testing.T) {
	for want, c := range map[string]*crew{
		"a0 b0 a1 b1 a2 c0 c1 b2 d0 d1 c2 d2": {machines: 2, cores: 4},
		"a0 a1 a2 b0 b1 b2 c0 c1 c2 d0 d1 d2": {machines: 1, cores: 2},
		"a0 b0 c0 d0 a1 b1 c1 d1 a2 b2 c2 d2": {machines: 9, cores: 18},
		// A hub with room for two has all of a and b before it has anything of c.
		"a0 b0 a1 b1 a2 b2 c0 c1 c2 d0 d1 d2": {machines: 9, cores: 18, space: 7},
	} {
		if got := given(t, piecesOf(t, 4, 3), c); got != want {
			t.Errorf("%d machines are given %s, not %s", c.machines, got, want)
		}
	}
	tasks := piecesOf(t, 3, 2)
	tasks[5].Cost = 9 // c1
	var home atomic.Int32
	plain := errand("plain", &home)
	plain.Cost = 3
	tasks = slices.Insert(tasks, 2, plain)
	if got, want := given(t, tasks, &crew{machines: 1, cores: 2}), "c1 plain c0 a0 a1 b0 b1"; got != want {
		t.Errorf("given %s, not %s", got, want)
	}
}
