package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

// aged returns a store whose clock only the test moves, with n outputs of size
// bytes each, one hour apart, and closed and opened again: nothing is pinned.
func aged(t *testing.T, n, size int) (*Store, *clock, []Action) {
	t.Helper()
	c := newClock()
	dir := t.TempDir()
	withClock := func(sys *system) { sys.now = c.now }
	s := locked(t, dir, withClock)
	var actions []Action
	for i := range n {
		c.add(touchEvery)
		a := NewAction("conform").For(fmt.Sprint("take-", i)).Arg("i", i).Ext(".mkv")
		actions = append(actions, a)
		mustPut(t, s, a, strings.Repeat("x", size))
	}
	c.add(touchEvery)
	s.Close()
	return locked(t, dir, withClock), c, actions
}

func has(t *testing.T, s *Store, a Action) bool {
	t.Helper()
	_, err := os.Stat(s.indexPath(a.ID()))
	return err == nil
}

func TestTrimTakesTheLeastRecentlyUsed(t *testing.T) {
	s, c, actions := aged(t, 5, 100)
	// The oldest is used again by a later run, and pinned by nobody.
	if _, why := s.Get(t.Context(), actions[0]); why != nil {
		t.Fatal(why)
	}
	s.Close()
	c.add(touchEvery)
	s = locked(t, s.Dir(), func(sys *system) { sys.now = c.now })
	freed, err := s.Trim(t.Context(), 250)
	if err != nil || freed != (Freed{Entries: 3, Bytes: 300}) {
		t.Fatalf("freed %+v, %v", freed, err)
	}
	for i, want := range []bool{true, false, false, false, true} {
		if has(t, s, actions[i]) != want {
			t.Errorf("entry %d: there %v, want %v", i, !want, want)
		}
	}
}

// What a run makes pushes out what was not used for longest while it still
// runs, and never what the run itself used or made.
func TestTheBoundHoldsDuringARun(t *testing.T) {
	s, _, actions := aged(t, 8, 100)
	s.SetBound(500)
	if _, why := s.Get(t.Context(), actions[0]); why != nil {
		t.Fatal(why)
	}
	var made []Action
	var wait sync.WaitGroup
	for i := range 6 {
		a := NewAction("film").Arg("i", i).Ext(".mp4")
		made = append(made, a)
		wait.Go(func() { mustPut(t, s, a, strings.Repeat("x", 100)) })
	}
	wait.Wait()
	for i, a := range actions {
		if has(t, s, a) != (i == 0) {
			t.Errorf("old entry %d: there %v", i, has(t, s, a))
		}
	}
	for i, a := range made {
		if _, why := s.Get(t.Context(), a); why != nil {
			t.Errorf("entry %d of this run: %s", i, why)
		}
	}
}

func TestTrimKeepsWhatThisRunUses(t *testing.T) {
	s, _, actions := aged(t, 3, 100)
	if _, err := s.Get(t.Context(), actions[0]); err != nil {
		t.Fatal("missing")
	}
	made := NewAction("mix")
	mustPut(t, s, made, "x")
	freed, err := s.Trim(t.Context(), 0)
	if err != nil || freed.Entries != 2 || !has(t, s, actions[0]) || !has(t, s, made) {
		t.Errorf("freed %+v, %v", freed, err)
	}
}

// TestTrimProperty: for random uses and bounds, what remains fits the bound,
// nothing goes without need, and what goes was used no later than what stays.
func TestTrimProperty(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	s, c, actions := aged(t, 12, 10)
	for range 4 {
		for range 3 {
			c.add(touchEvery)
			s.Get(t.Context(), actions[r.IntN(len(actions))])
		}
		clear(s.pinned)
		before, err := s.List(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		bound := int64(r.IntN(len(before)*10 + 10))
		freed, err := s.Trim(t.Context(), bound)
		if err != nil {
			t.Fatal(err)
		}
		after, err := s.List(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if left := int64(len(after)) * 10; left > bound || freed.Entries > 0 && left+10 <= bound {
			t.Errorf("bound %d: %d bytes left after freeing %+v", bound, left, freed)
		}
		for i, e := range after {
			if want := before[len(before)-len(after)+i]; e.ID != want.ID {
				t.Errorf("kept %s, want the younger %s", e.Subject, want.Subject)
			}
		}
	}
}

func TestTrimTakesDamagedFirst(t *testing.T) {
	s, _, actions := aged(t, 3, 100)
	if err := os.WriteFile(s.indexPath(actions[2].ID()), []byte("rubbish"), 0o666); err != nil {
		t.Fatal(err)
	}
	freed, err := s.Trim(t.Context(), 1<<30)
	if err != nil || freed.Entries != 1 || has(t, s, actions[2]) {
		t.Errorf("freed %+v, %v", freed, err)
	}
}

func TestCleanAndCheck(t *testing.T) {
	s, _, actions := aged(t, 4, 100)
	path, _ := s.Get(t.Context(), actions[1])
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	// Bytes that rot under an unchanged inode show no other sign, so the
	// recorded mark is made to fit.
	if err := os.WriteFile(path, []byte(strings.Repeat("y", 100)), 0o666); err != nil {
		t.Fatal(err)
	}
	e, err := s.load(actions[1].ID())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, st.ModTime(), st.ModTime()); err != nil {
		t.Fatal(err)
	}
	if e.Files[0].Mark, err = markOf(path); err != nil {
		t.Fatal(err)
	}
	if err := s.save(e); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get(t.Context(), actions[1]); err != nil {
		t.Fatal("the test's damage shows")
	}
	bad, err := s.Check(t.Context())
	if err != nil || len(bad) != 1 || bad[0].Subject != "take-1" ||
		bad[0].Damage != "its output is not what was stored" {
		t.Errorf("Check: %+v, %v", bad, err)
	}
	freed, err := s.Clean(t.Context())
	if err != nil || freed != (Freed{Entries: 4, Bytes: 400}) {
		t.Errorf("Clean: %+v, %v", freed, err)
	}
	if list, err := s.List(t.Context()); err != nil || len(list) != 0 {
		t.Errorf("left %v, %v", list, err)
	}
	if onWindows { // where nothing that is open can be deleted
		s.Close()
	}
	if err := os.RemoveAll(s.Dir()); err != nil {
		t.Fatal(err)
	}
	if list, err := s.List(t.Context()); err != nil || len(list) != 0 {
		t.Errorf("without a folder: %v, %v", list, err)
	}
}

func TestTidyingCanBeCalledOff(t *testing.T) {
	s, _, _ := aged(t, 2, 1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for name, err := range map[string]error{
		"List": second(s.List(ctx)), "Trim": second(s.Trim(ctx,
			0)), "Clean": second(s.Clean(ctx)), "Check": second(s.Check(ctx)),
	} {
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if list, _ := s.List(t.Context()); len(list) != 2 {
		t.Errorf("%d entries left", len(list))
	}
}

func TestListTellsWhatIsKnown(t *testing.T) {
	s, c, _ := aged(t, 1, 7)
	list, err := s.List(t.Context())
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	e := list[0]
	if e.Rule != "conform" || e.Subject != "take-0" || e.Bytes != 7 || !e.Made.Equal(c.now().Add(-touchEvery)) ||
		c.now().Sub(e.Used) < 0 {
		t.Errorf("%+v", e)
	}
	if e.Seconds != 0 || e.Used.IsZero() || e.Made.Location() != time.Local {
		t.Errorf("%+v", e)
	}
}
