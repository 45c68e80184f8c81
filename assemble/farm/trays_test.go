package farm

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// TestATrayIsChosenByTheLargestFile, so orders that read one take wait together, and every
// worker looks through all trays, first where it found something last.
func TestATrayIsChosenByTheLargestFile(t *testing.T) {
	t.Parallel()
	file := func(digit string, size int64) order.File {
		return order.File{Hash: digit + hashText(nil)[1:], Size: size}
	}
	for want, files := range map[string][]order.File{
		"7": nil,
		"a": {file("a", 9)},
		"b": {file("a", 9), file("b", 10), file("c", 10)},
		"c": {file("c", 10), file("b", 10)},
	} {
		if got := trayOf(order.Order{Key: "7" + hashText(nil)[1:], Inputs: files}); got != want {
			t.Errorf("%v are in tray %q, not %q", files, got, want)
		}
	}
	r := newRound("anna")
	all := slices.Sorted(slices.Values(newRound("another")))
	for _, tray := range []string{"5", "0", "5", r[15]} {
		before := slices.Clone(r)
		r.found(tray)
		rest := slices.DeleteFunc(before, func(x string) bool { return x == tray })
		if r[0] != tray || !slices.Equal(r[1:], rest) || !slices.Equal(slices.Sorted(slices.Values(r)), all) {
			t.Errorf("after %s was found: %v", tray, r)
		}
	}
}

// TestAQueueOfBeforeIsMadeAnew: a hub may have kept what an older program laid out, with an
// order in it. A home puts its own in the place of that.
func TestAQueueOfBeforeIsMadeAnew(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	workHere(t, hub.Workers, workers(double))
	home := joinHere(t, hub.Home, 1)
	old := jetstream.StreamConfig{Name: ordersStream, Subjects: []string{"orders.*.*"}, Retention: jetstream.WorkQueuePolicy}
	if err := home.js.DeleteStream(t.Context(), ordersStream); err != nil {
		t.Fatal(err)
	}
	if _, err := home.js.CreateStream(t.Context(), old); err != nil {
		t.Fatal(err)
	}
	if _, err := home.js.Publish(t.Context(), "orders."+class.ID()+".x", []byte("{}")); err != nil {
		t.Fatal(err)
	}
	if text, err := makeHere(t, joinHere(t, hub.Home, 1), 1); err != nil || text != "once once " {
		t.Errorf("%q, %v", text, err)
	}
}

// TestWorkGoesWhereItsBytesAre has four pieces of each of 24 takes made by eight workers of
// two cores, by a run that lists the first pieces of all takes first. Whoever is free could
// take any: drawn by lot a take would be fetched by 8·(1−(7/8)⁴) of them. It is fetched by
// fewer. How long sleeping tasks take tells what is lost between them; the time is told and
// not judged.
func TestWorkGoesWhereItsBytesAre(t *testing.T) {
	t.Parallel()
	const machines, takes, pieces, nap = 8, 16, 12, 400 * time.Millisecond
	hub := serveHere(t, t.TempDir())
	var mu sync.Mutex
	readers, made := map[string]map[string]bool{}, 0
	for k := range machines {
		o := workers(nil)
		o.Name, o.Cores = fmt.Sprint("w", k), 2
		o.Rules["double"] = func(ctx context.Context, args []byte, in []string, dst string) error {
			var take string
			if err := json.Unmarshal(args, &take); err != nil {
				return err
			}
			mu.Lock()
			made++
			if readers[take] == nil {
				readers[take] = map[string]bool{}
			}
			readers[take][o.Name] = true
			mu.Unlock()
			time.Sleep(nap)
			return double(ctx, args, in, dst)
		}
		workHere(t, hub.Workers, o)
	}
	fleet := NewFleet(joinHere(t, hub.Home, 2*machines), 0, nil)
	kept, err := store.Open(t.TempDir())
	if err == nil {
		err = kept.Lock(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	paths := make([]string, takes)
	for k := range takes {
		_, paths[k] = write(t, k, fmt.Sprint("take ", k))
	}
	var tasks []task.Task
	for n := range takes * pieces {
		path := paths[n%takes]
		tasks = append(tasks, task.Task{ID: fmt.Sprint("piece ", n), Keep: true, Cost: 1,
			Action: store.NewAction("double").Arg("n", n).Ext(".txt"),
			Errand: &task.Errand{Rule: "double", Args: fmt.Sprint(n % takes), Inputs: []task.ErrandInput{{Ext: ".txt", Path: path}}},
			Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				time.Sleep(nap)
				return double(ctx, nil, []string{path}, tmp)
			}})
	}
	began := time.Now()
	r, err := (task.Runner{Store: kept, Workers: 1, Away: fleet}).Run(t.Context(), tasks)
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(began).Seconds()
	fetched := 0
	for _, who := range readers {
		fetched += len(who)
	}
	lot := takes * machines * (1 - math.Pow(1-1.0/machines, pieces))
	t.Logf("%d takes are fetched %d times, %.1f drawn by lot; %d tasks of %v by %d cores took %.2f s, which could be %.2f",
		takes, fetched, lot, made, nap, 2*machines+1, took, nap.Seconds()*takes*pieces/(2*machines+1))
	if r.Stats.Run != takes*pieces || made < r.Stats.Away {
		t.Errorf("%d of %d tasks are made, and of %d away %d", r.Stats.Run, takes*pieces, r.Stats.Away, made)
	}
	if float64(fetched) > 0.9*lot {
		t.Errorf("takes are fetched %d times", fetched)
	}
}
