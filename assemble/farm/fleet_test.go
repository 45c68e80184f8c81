package farm

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/order"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// TestWhatDiffersEndsTheGiving: a share of results, chosen by their keys, is made again at
// home, and after one that differs there is room for nothing elsewhere, which is said once.
func TestWhatDiffersEndsTheGiving(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	workHere(t, hub.Workers, workers(double))
	var told []string
	f := NewFleet(joinHere(t, hub.Home, 1), 0.1, func(text string) { told = append(told, text) })
	const all = 5000
	doubted := 0
	parcel := func(k int) task.Parcel {
		return task.Parcel{Action: store.NewAction("double").For("horn").Arg("k", k), Errand: task.Errand{Rule: "double"}}
	}
	for k := range all {
		doubts := f.Doubts(parcel(k))
		if doubts {
			doubted++
		}
		if again := f.Doubts(parcel(k)); again != doubts {
			t.Fatal("another run asks for others")
		}
	}
	// Of 5000 draws of 0.1 the standard deviation is 21.
	if doubted < 400 || doubted > 600 {
		t.Errorf("%d of %d are made again", doubted, all)
	}
	if got := f.Room(); got != 2 {
		t.Errorf("room for %d on one core", got)
	}
	f.Differs(parcel(1), []byte{0xaa}, []byte{0xbb})
	f.Differs(parcel(2), []byte{0xaa}, []byte{0xbb})
	if got := f.Room(); got != 0 || len(told) != 1 || !strings.Contains(told[0], "horn") ||
		!strings.Contains(told[0], "--verify") {
		t.Errorf("room for %d then, and it says %q", got, told)
	}
}

// TestAWorkerRefusesWhatItDoesNotKnow: what is no order is taken out of the queue, and an
// order that says another class than its queue is of is not carried out.
func TestAWorkerRefusesWhatItDoesNotKnow(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	workHere(t, hub.Workers, workers(double))
	home := joinHere(t, hub.Home, 1)
	o, path := write(t, 1, "once ")
	for k, text := range []string{"", "{", `{"key":"x"}`, strings.Repeat(" ", order.MaxBytes+1)} {
		subject := orderSubject(class.ID(), fmt.Sprint(k), fmt.Sprint("none", k))
		if _, err := home.js.Publish(t.Context(), subject, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	other := class
	other.Arch = "another"
	home.class = other.ID() // what it now gives out says so
	g := &given{order: o, paths: []string{path}, result: make(chan order.Result, 1), lost: make(chan error, 1),
		places: map[uint64]bool{}}
	g.order.Class = other.ID()
	var err error
	if g.data, err = g.order.Encode(); err != nil {
		t.Fatal(err)
	}
	home.mu.Lock()
	home.waiting[o.Key] = g
	home.mu.Unlock()
	if _, err := home.js.Publish(t.Context(), orderSubject(class.ID(), "0", o.Key), g.data); err != nil {
		t.Fatal(err)
	}
	select {
	case r := <-g.result:
		if !strings.Contains(r.Failed, "of class") || home.take(t.Context(), o, r, filepath.Join(t.TempDir(), "x")) == nil {
			t.Errorf("%+v", r)
		}
	case <-time.After(time.Minute):
		t.Error("it says nothing")
	}
	for range 1200 {
		s, err := home.js.Stream(t.Context(), ordersStream)
		if err != nil {
			t.Fatal(err)
		}
		if s.CachedInfo().State.Msgs == 0 {
			return
		}
		pause(t)
	}
	t.Error("the queue is not empty")
}
