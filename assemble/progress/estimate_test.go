package progress

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// job is a piece of work of a simulated run.
type job struct {
	stage       string
	cost, takes float64 // as announced, and really
	silent      bool    // never reports a fraction
	added       float64 // not known before
}

// simulate runs the jobs in order on a number of workers and calls look after
// every step of the clock. It returns how long the run took.
func simulate(jobs []job, workers int, look func(at float64, e *estimator)) float64 {
	const step = 0.25
	e := newEstimator(workers)
	works := make([]*work, len(jobs))
	began := make([]float64, len(jobs))
	next, running := 0, map[int]bool{}
	for at := 0.0; ; at += step {
		e.to(at)
		for i, j := range jobs {
			if works[i] == nil && at >= j.added {
				works[i] = e.add(j.stage, fmt.Sprint(i), j.cost)
			}
		}
		for i := range jobs {
			if !running[i] {
				continue
			}
			f := (at - began[i]) / jobs[i].takes
			if f >= 1 {
				works[i].finish(at)
				delete(running, i)
			} else if !jobs[i].silent {
				works[i].advance(f)
			}
		}
		for len(running) < workers && next < len(jobs) && works[next] != nil {
			works[next].start(at)
			began[next], running[next] = at, true
			next++
		}
		look(at, e)
		if next == len(jobs) && len(running) == 0 {
			return at
		}
	}
}

// TestTimeLeftIsRight: runs whose costs are announced in a wrong unit, or whose
// stages are wrong by different factors, are predicted within the tolerance
// once a good part of each stage that remains has been seen.
func TestTimeLeftIsRight(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, tt := range []struct {
		name               string
		workers            int
		conform, mix, film float64 // what a unit of announced cost takes
		silent             bool
		from               float64 // fraction of the run from which it must be right
		within             float64
	}{
		{"as announced", 2, 1, 1, 1, false, 0, 0.03},
		{"three times slower", 2, 3, 3, 3, false, 0.1, 0.03},
		{"ten times faster", 4, 0.1, 0.1, 0.1, false, 0.25, 0.1},
		{"film slower than thought", 2, 1, 1, 2, false, 0.75, 0.03},
		{"silent", 2, 2, 2, 2, true, 0.1, 0.05},
		{"one worker", 1, 1.5, 1.5, 1.5, false, 0.1, 0.03},
	} {
		var jobs []job
		for range 24 {
			c := 5 + 10*r.Float64()
			jobs = append(jobs, job{stage: "conform", cost: c, takes: c * tt.conform, silent: tt.silent})
		}
		for range 4 {
			jobs = append(jobs, job{stage: "mix", cost: 5, takes: 5 * tt.mix, silent: tt.silent})
		}
		for range 16 {
			jobs = append(jobs, job{stage: "film", cost: 10, takes: 10 * tt.film, silent: tt.silent})
		}
		type moment struct{ at, left float64 }
		var seen []moment
		end := simulate(jobs, tt.workers,
			func(at float64, e *estimator) { seen = append(seen, moment{at, e.left(at)}) })
		worst := 0.0
		for _, m := range seen {
			if m.at >= tt.from*end {
				worst = max(worst, math.Abs(m.left-(end-m.at))/end)
			}
		}
		t.Logf("%s: %.0f s, worst error %.1f %% of the run", tt.name, end, 100*worst)
		if worst > tt.within {
			t.Errorf("%s: off by %.0f %% of the run", tt.name, 100*worst)
		}
	}
}

// TestTimeLeftIsSane: whatever is announced and whatever happens, the time left
// is a number, not negative, 0 exactly when nothing remains, at least what one
// worker per piece would need by the pace known; and the fraction only drops
// when work is added.
func TestTimeLeftIsSane(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for run := range 60 {
		var jobs []job
		added := 0.0
		costs := []float64{0, -1, math.NaN(), math.Inf(1), 1e-9, 1, 10, 100}
		for range 1 + r.IntN(20) {
			if r.IntN(5) == 0 {
				added += 20 * r.Float64()
			}
			jobs = append(jobs, job{stage: fmt.Sprint(r.IntN(3)), cost: costs[r.IntN(len(costs))],
				takes: 0.3 + 20*r.Float64(), silent: r.IntN(2) == 0, added: added})
		}
		fraction, total := 0.0, 0
		simulate(jobs, 1+r.IntN(4), func(at float64, e *estimator) {
			s := e.state(at)
			left := e.left(at)
			if !(left >= 0) || math.IsInf(left, 0) {
				t.Fatalf("run %d at %g: %g left", run, at, left)
			}
			if (left == 0) != (s.done == s.total) {
				t.Fatalf("run %d at %g: %g left with %d of %d done", run, at, left, s.done, s.total)
			}
			if !(s.fraction >= 0 && s.fraction <= 1) || s.total == total && s.fraction < fraction-1e-12 {
				t.Fatalf("run %d at %g: fraction %g after %g", run, at, s.fraction, fraction)
			}
			fraction, total = s.fraction, s.total
		})
	}
}

// TestLateWorkGrowsTheTime: a phase that becomes known during the run adds its
// time and takes its share of the bar.
func TestLateWorkGrowsTheTime(t *testing.T) {
	jobs := []job{{stage: "a", cost: 20, takes: 20}, {stage: "b", cost: 20, takes: 20, added: 10}}
	var before, after, fraction float64
	simulate(jobs, 1, func(at float64, e *estimator) {
		switch at {
		case 9.75:
			before = e.left(at)
		case 10:
			after, fraction = e.left(at), e.state(at).fraction
		}
	})
	if math.Abs(before-10.25) > 0.1 || math.Abs(after-30) > 0.1 || math.Abs(fraction-0.25) > 0.01 {
		t.Errorf("left %g, then %g at %g", before, after, fraction)
	}
}
