package task

import (
	"fmt"
	"os"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// Seconds of one core and bytes of a production of takes of five minutes: measured in 2026-11
// for takes of 1080 lines (57 s a take to conform), for grids of 400 (0.885 ms a take and
// frame to compose), and at home for hashing, decoding, listening and mixing (some 5 s a
// take together); how much a phone writes is common practice, no source. A film shows 1,200
// takes at once at most (layout.MaxTiles): more of them take turns.
const (
	paperHome              = 5
	paperSee, paperConform = 4, 57
	paperFrame             = 0.885e-3
	paperTake              = 650e6
	paperFrames, paperCut  = 9000, 80
	paperShown             = 1200
	// All mezzanines of one film of 1080 lines together (75 kB a megapixel and frame, see
	// package picture): a segment reads of each what it shows, and no more.
	paperMezzanines = 75e3 * 1.92 * 1.08 * paperFrames
)

// onPaper returns a function that says how long a film of so many takes is made at home by
// two workers, with others' cores, in seconds, and how much work it is. Of takes that all
// machines see nothing is sent.
func onPaper(t *testing.T, takes int, seen bool) (wall func(cores int) float64, work float64) {
	t.Helper()
	action := func(name string, k int) store.Action { return store.NewAction(name).Arg("k", k).Ext(".x") }
	var tasks []Task
	var l []looked
	var costs []float64
	add := func(name string, k int, cost float64, bytes int64, runs bool, after ...*Task) *Task {
		x := Task{ID: fmt.Sprint(name, k), Action: action(name, k), Cost: cost, Bytes: bytes,
			Make:   errand("", nil).Make,
			Errand: &Errand{Rule: name}}
		for _, a := range after {
			x.Needs(a.ID, Path(*a))
			x.Errand.Inputs = append(x.Errand.Inputs, ErrandInput{Edge: Path(*a)})
		}
		tasks, l, costs = append(tasks, x), append(l, looked{runs: runs}), append(costs, cost)
		work += cost
		return &x
	}
	turns := (takes + paperShown - 1) / paperShown
	part := int64(paperMezzanines) * paperCut / paperFrames * int64(turns) / int64(takes)
	var pieces []*Task
	bytes := int64(paperTake)
	if seen {
		bytes = 0
	}
	for k := range takes {
		file := add("file", k, 0, bytes, false)
		add("home", k, paperHome, 0, true, file)
		tasks[len(tasks)-1].Errand = nil
		add("see", k, paperSee, 1e3, true, file)
		pieces = append(pieces, add("conform", k, paperConform, part, true, file))
	}
	for k := range paperFrames / paperCut {
		turn := k % turns
		shown := pieces[turn*takes/turns : (turn+1)*takes/turns]
		add("segment", k, paperFrame*float64(len(shown)*paperCut), 2e6, true, shown...)
	}
	g, err := check(tasks)
	if err != nil {
		t.Fatal(err)
	}
	return func(cores int) float64 {
		x := newExecution(Runner{Progress: progress.New(nil, progress.Quiet), Workers: 2}, g, l, costs)
		if cores == 0 {
			return x.play(costs, nil)
		}
		return x.play(costs, &others{cores: cores, room: cores + cores/2, sent: map[string]bool{}})
	}, work
}

// TestOnPaper plays large productions through. More cores are hardly slower, no run is faster
// than its work divided by the cores, and none with others faster than its takes travel that
// this machine does not conform itself. RIPIENO_PAPER=1 plays up to 10,000 takes, for the
// table in farm's README; of a thousand it plays 1024 cores 1.5 % slower than 128.
func TestOnPaper(t *testing.T) {
	sizes := []int{30}
	if os.Getenv("RIPIENO_PAPER") != "" {
		sizes = []int{100, 1000, 10000}
	}
	for _, takes := range sizes {
		before := 0.0
		play, work := onPaper(t, takes, false)
		seen, _ := onPaper(t, takes, true)
		for _, cores := range []int{0, 16, 128, 1024} {
			wall, free := play(cores), seen(cores)
			t.Logf("%5d takes, %4d cores of others: %8.0f s, %8.0f s when all see them, %7.1f core hours", takes, cores, wall,
				free, work/3600)
			if free > 1.03*wall {
				t.Errorf("%d takes with %d cores take %g s, and %g s when nothing is sent", takes, cores, wall, free)
			}
			if least := work / float64(2+cores); wall < 0.999*least {
				t.Errorf("%d takes with %d cores take %g s, and the work alone is %g s", takes, cores, wall, least)
			}
			if before > 0 && wall > 1.03*before {
				t.Errorf("%d takes take %g s with %d cores, and %g s with fewer", takes, wall, cores, before)
			}
			if here := 2 * wall / (paperSee + paperConform); cores > 0 &&
				wall < (float64(takes)-2*here)*paperTake/LinkSpeed {
				t.Errorf("%d takes travel in %g s", takes, wall)
			}
			before = wall
		}
	}
}
