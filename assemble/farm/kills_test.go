package farm

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ripieno/assemble/order"
)

// slowOrder writes a file and the order that doubles it slowly.
func slowOrder(t *testing.T, id int, seconds map[string]float64) (order.Order, string) {
	t.Helper()
	o, path := write(t, id, fmt.Sprintf("%d, ", id))
	args, err := json.Marshal(slowArgs{id, seconds})
	if err != nil {
		t.Fatal(err)
	}
	o.Rule, o.Args = "slow", args
	return o, path
}

// TestAKilledWorkersOrderBeginsElsewhere kills the process that works on an order with
// kill -9. Another one, which is there and idle, begins it after the lease.
func TestAKilledWorkersOrderBeginsElsewhere(t *testing.T) {
	t.Parallel()
	tr := gather(t, "")
	first := tr.work("first")
	home := joinHere(t, tr.home, 1)
	o, path := slowOrder(t, 7, map[string]float64{"first": 3600, "second": 0.1})
	dst, made := filepath.Join(t.TempDir(), "out.txt"), make(chan error, 1)
	go func() { made <- home.Make(t.Context(), o, []string{path}, dst) }()
	began := tr.await("first", "began", 7)
	tr.work("second")
	waitForCores(t, home, 2)
	killed := time.Now()
	tr.kill(first)
	if err := <-made; err != nil {
		t.Fatal(err)
	}
	again := tr.await("second", "began", 7)
	if again.Before(killed) || killed.Before(began) {
		t.Errorf("began %v, killed %v, began elsewhere %v", began, killed, again)
	}
	t.Logf("it began elsewhere %.2f s after the kill; the lease is %v", again.Sub(killed).Seconds(), lease)
	if data, err := os.ReadFile(dst); err != nil || string(data) != "7, 7, " {
		t.Errorf("%q, %v", data, err)
	}
	if n := len(tr.events()); n != 3 {
		t.Errorf("%d events: %v", n, tr.events())
	}
}

// TestALongOrderStaysWithItsWorker: an order of more leases than it has tries is begun
// once, though another worker has nothing to do, as long as its own says that it works.
func TestALongOrderStaysWithItsWorker(t *testing.T) {
	t.Parallel()
	tr := gather(t, "")
	for _, name := range []string{"first", "second"} {
		tr.work(name)
	}
	home := joinHere(t, tr.home, 2)
	long := ((tries + 1) * lease).Seconds()
	o, path := slowOrder(t, 7, map[string]float64{"first": long, "second": long})
	dst := filepath.Join(t.TempDir(), "out.txt")
	if err := home.Make(t.Context(), o, []string{path}, dst); err != nil {
		t.Fatal(err)
	}
	if e := tr.events(); len(e) != 2 || e[0].what != "began" || e[1].what != "ended" || e[0].name != e[1].name ||
		e[1].at.Sub(e[0].at) < tries*lease {
		t.Errorf("%v", e)
	}
}

// TestARunOutlivesKills has forty orders made while a worker and twice the hub are
// killed with kill -9, and the hub is started again, once with nothing of what it held.
// What fails away is made at home, as a run does: all outputs are right, and there is
// nothing beside them.
func TestARunOutlivesKills(t *testing.T) {
	t.Parallel()
	outliveKills(t, gather(t, ""))
}

// outliveKills is that test, of a hub of any kind.
func outliveKills(t *testing.T, tr *troupe) {
	t.Helper()
	doomed := tr.work("doomed")
	tr.work("steady")
	home := joinHere(t, tr.home, 2)
	const orders, atOnce = 40, 4
	dst := t.TempDir()
	todo := make(chan int)
	var away, atHome atomic.Int32
	var run sync.WaitGroup
	for range atOnce {
		run.Go(func() {
			for id := range todo {
				o, path := slowOrder(t, id, map[string]float64{"doomed": 0.2, "steady": 0.2})
				out := filepath.Join(dst, fmt.Sprint(id))
				if err := home.Make(t.Context(), o, []string{path}, out); err == nil {
					away.Add(1)
				} else {
					t.Logf("%d is made at home: %v", id, err)
					atHome.Add(1)
					if err := double(t.Context(), nil, []string{path}, out); err != nil {
						t.Error(err)
					}
				}
			}
		})
	}
	for id := range orders {
		todo <- id
		switch id {
		case 8:
			tr.kill(doomed)
		case 16, 24:
			before := home.nc.Stats().Reconnects
			tr.restart(id == 24)
			// Else all the rest would be made at home at once, and nothing of it tried.
			for home.nc.Stats().Reconnects == before {
				pause(t)
			}
		case 32:
			tr.work("late")
		}
	}
	close(todo)
	run.Wait()
	checkOutputs(t, dst, orders)
	t.Logf("%d made elsewhere, %d at home", away.Load(), atHome.Load())
	if away.Load() < orders/2 {
		t.Errorf("only %d of %d orders were made elsewhere", away.Load(), orders)
	}
	// An order that was given twice, as the hub lost that it was made, may be worked on still.
	left := []string{""}
	for n := 0; len(left) > 0 && n < 200; n++ {
		var err error
		if left, err = filepath.Glob(filepath.Join(tr.folder, "steady", "order-*")); err != nil {
			t.Fatal(err)
		}
		if len(left) > 0 {
			pause(t)
		}
	}
	if len(left) > 0 {
		t.Errorf("the worker has %v", left)
	}
	// A worker that lost its line says again what it is not sure to have said. While the
	// home's is lost too nobody hears that, and it stays for a day: of two workers, twice.
	for name, most := range map[string]uint64{ordersStream: 0, resultsStream: 4} {
		left := most + 1
		for n := 0; left > most && n < 200; n++ { // their last words are on their way
			s, err := home.js.Stream(t.Context(), name)
			if err != nil {
				t.Log(err) // a hub on a busy machine takes its time
			} else {
				left = s.CachedInfo().State.Msgs
			}
			if left > most {
				pause(t)
			}
		}
		if left > most {
			t.Errorf("%d %s are left at the hub", left, name)
		}
	}
}

// checkOutputs looks at what orders made in a folder.
func checkOutputs(t *testing.T, folder string, orders int) {
	t.Helper()
	list, err := os.ReadDir(folder)
	if err != nil || len(list) != orders {
		t.Errorf("%d files for %d orders, %v", len(list), orders, err)
	}
	for id := range orders {
		data, err := os.ReadFile(filepath.Join(folder, fmt.Sprint(id)))
		if want := fmt.Sprintf("%d, %d, ", id, id); err != nil || string(data) != want {
			t.Errorf("%d: %q, %v", id, data, err)
		}
	}
}
