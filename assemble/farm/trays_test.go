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

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// TestATrayIsChosenByTheLargestFile, so orders that read one take wait together and those of
// sixteen takes apart, and every worker looks through all trays, first where it found
// something last.
func TestATrayIsChosenByTheLargestFile(t *testing.T) {
	t.Parallel()
	file := func(k int, size int64) order.File { return order.File{Hash: hashText([]byte{byte(k)}), Size: size} }
	sorted := sorting{files: map[string]int{}}
	trayOf := func(files ...order.File) string {
		return sorted.trayOf(order.Order{Key: "7" + hashText(nil)[1:], Inputs: files})
	}
	if got := trayOf(); got != "7" {
		t.Errorf("an order that reads nothing is in tray %q", got)
	}
	had := map[string]bool{}
	for k := range trays {
		had[trayOf(file(99, 1), file(k, 10), file(98, 10))] = true
	}
	if len(had) != trays {
		t.Errorf("%d files have the trays %v", trays, had)
	}
	if a, b := trayOf(file(3, 7)), trayOf(file(97, 6), file(3, 8)); a != b || a != "3" {
		t.Errorf("one file is in trays %q and %q", a, b)
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
	old := jetstream.StreamConfig{Name: ordersStream, Subjects: []string{"orders.*.*"},
		Retention: jetstream.WorkQueuePolicy}
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

// counted is a depot that counts how often each file is sent to it.
type counted struct {
	depot
	mu   sync.Mutex
	puts map[string]int // by hash
}

// put implements [depot].
func (c *counted) put(ctx context.Context, s shelf, f order.File, path string) error {
	c.mu.Lock()
	c.puts[f.Hash]++
	c.mu.Unlock()
	return c.depot.put(ctx, s, f, path)
}

// What [TestWorkGoesWhereItsBytesAre] has made: twelve pieces of each of 16 takes, by eight
// workers of two cores.
const (
	byteMachines, byteTakes, bytePieces = 8, 16, 12
	nap                                 = 400 * time.Millisecond // a piece takes
)

// takesRead is who has made pieces of which take.
type takesRead struct {
	mu      sync.Mutex
	readers map[string]map[string]bool
	made    int
}

// rule returns how a worker of that name makes a piece.
func (r *takesRead) rule(name string) Rule {
	return func(ctx context.Context, args []byte, in []string, dst string) error {
		var take string
		if err := json.Unmarshal(args, &take); err != nil {
			return err
		}
		r.mu.Lock()
		r.made++
		if r.readers[take] == nil {
			r.readers[take] = map[string]bool{}
		}
		r.readers[take][name] = true
		r.mu.Unlock()
		time.Sleep(nap)
		return double(ctx, args, in, dst)
	}
}

// piecesOfTakes returns the tasks of all pieces, the first ones of all takes first.
func piecesOfTakes(t *testing.T) (tasks []task.Task) {
	paths := make([]string, byteTakes)
	for k := range byteTakes {
		_, paths[k] = write(t, k, fmt.Sprintf("take %02d", k))
	}
	for n := range byteTakes * bytePieces {
		path := paths[n%byteTakes]
		tasks = append(tasks, task.Task{ID: fmt.Sprint("piece ", n), Keep: true, Cost: 1,
			Action: store.NewAction("double").Arg("n", n).Ext(".txt"),
			Errand: &task.Errand{Rule: "double", Args: fmt.Sprint(n % byteTakes),
				Inputs: []task.ErrandInput{{Ext: ".txt", Path: path}}},
			Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				time.Sleep(nap)
				return double(ctx, nil, []string{path}, tmp)
			}})
	}
	return tasks
}

// TestWorkGoesWhereItsBytesAre has them made by a run that lists the first pieces of all takes
// first, by way of a hub with room for twelve takes, and of one with room for three. Every take is
// sent there once. Whoever is free could make any piece: drawn by lot a take would be fetched by
// 8·(1−(7/8)¹²) of them; where all have room it is fetched by fewer. How long sleeping tasks take
// tells what is lost between them; the time is told and not judged.
func TestWorkGoesWhereItsBytesAre(t *testing.T) {
	t.Parallel()
	for _, room := range []int{byteMachines + byteMachines/2, 3} {
		t.Run(fmt.Sprint(room), func(t *testing.T) {
			t.Parallel()
			workGoesWhereItsBytesAre(t, room)
		})
	}
}

func workGoesWhereItsBytesAre(t *testing.T, room int) {
	hub := serveHere(t, t.TempDir())
	read := &takesRead{readers: map[string]map[string]bool{}}
	for k := range byteMachines {
		o := workers(nil)
		o.Name, o.Cores = fmt.Sprint("w", k), 2
		o.Rules["double"] = read.rule(o.Name)
		workHere(t, hub.Workers, o)
	}
	home := joinHere(t, hub.Home, 2*byteMachines)
	sent := &counted{depot: home.depot, puts: map[string]int{}}
	home.depot = sent
	kept, err := store.Open(t.TempDir())
	if err == nil {
		err = kept.Lock(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	home.sent.space[readShelf] = int64(len("take 00") * room)
	tasks, began := piecesOfTakes(t), time.Now()
	r, err := (task.Runner{Store: kept, Workers: 1, Away: NewFleet(home, 0, nil)}).Run(t.Context(), tasks)
	if err != nil {
		t.Fatal(err)
	}
	took, fetched := time.Since(began).Seconds(), 0
	for _, who := range read.readers {
		fetched += len(who)
	}
	lot := byteTakes * byteMachines * (1 - math.Pow(1-1.0/byteMachines, bytePieces))
	t.Logf("%d takes are sent and fetched %d times, %.1f drawn by lot: %.0f %% of %d reads needed no fetching; they "+
		"took %.2f s, which could be %.2f", len(sent.puts), fetched, lot, 100*(1-float64(fetched)/float64(read.made)),
		read.made, took, nap.Seconds()*byteTakes*bytePieces/(2*byteMachines+1))
	if r.Stats.Run != len(tasks) || read.made < r.Stats.Away {
		t.Errorf("%d of %d tasks are made, and of %d away %d", r.Stats.Run, len(tasks), r.Stats.Away, read.made)
	}
	for hash, n := range sent.puts {
		if n > 1 {
			t.Errorf("the take %.12s is sent %d times", hash, n)
		}
	}
	if room > byteMachines && float64(fetched) > 0.9*lot {
		t.Errorf("takes are fetched %d times", fetched)
	}
}

// TestAnOrderAnswersNothingElse: an order comes under the name that it waits under, and the
// engine's client gives what it does not know to the one question that is open. So a worker
// that asks for an order while it says a result would hold that order for the answer, and lose
// both.
func TestAnOrderAnswersNothingElse(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	home := joinHere(t, hub.Home, 0)
	nc, err := hub.Home.dial("asker")
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	asked := make(chan *nats.Msg, 1)
	if _, err := home.nc.Subscribe("question", func(m *nats.Msg) { asked <- m }); err != nil {
		t.Fatal(err)
	}
	if err := home.nc.Flush(); err != nil {
		t.Fatal(err)
	}
	answer := make(chan string, 1)
	go func() {
		m, err := nc.RequestWithContext(t.Context(), "question", nil)
		if err != nil {
			answer <- err.Error()
			return
		}
		answer <- string(m.Data)
	}()
	question := <-asked
	o, _ := write(t, 1, "once ")
	if _, err := home.js.Publish(t.Context(), orderSubject(class.ID(), "0", o.Key), []byte("an order")); err != nil {
		t.Fatal(err)
	}
	w := &worker{WorkerOptions: WorkerOptions{Class: class}, nc: nc}
	if m, err := w.pick(t.Context(), "0"); err != nil || m == nil || string(m.Data) != "an order" {
		t.Errorf("%v, %v", m, err)
	}
	if err := question.Respond([]byte("an answer")); err != nil {
		t.Fatal(err)
	}
	if got := <-answer; got != "an answer" {
		t.Errorf("the question is answered by %q", got)
	}
}
