package align

import (
	"math"
	"os"
	"strconv"
	"testing"

	"ripieno/mix/align/simulate"
)

// termNames are for people who read the output of TestFit.
var termNames = [termCount]string{"sound", "beats", "burst", "cueRank", "cueQuality", "cueAlone", "bleed", "scoreFit",
	"missed", "harmony", "rhythm"}

// choice is one simulated file: the terms of all its candidates, and which of
// them is right.
type choice struct {
	x     [][termCount]float64
	right int
}

// TestFit shows where weights come from. It fits them anew, by conditional
// logistic regression on simulated takes, and prints them beside those in use:
//
//	RIPIENO_SYNC_FIT=25 go test -run TestFit -v -timeout 60m ./mix/align
//
// The number is how many ensembles of six players each level gets. The weights
// in use are the fitted ones, rounded, and smaller where the simulation is
// surely more regular than life is.
func TestFit(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_FIT"))
	if err != nil {
		t.Skip("set RIPIENO_SYNC_FIT to the number of ensembles of each level")
	}
	var all []choice
	for _, level := range []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard} {
		for k := range n {
			all = append(all, choices(t,
				simulate.New(uint64(k), simulate.Options{Level: level, Players: 6, Seconds: 60, Rate: 16000}))...)
		}
	}
	var start [termCount]float64
	copy(start[:], weights[:])
	w := fit(all, start)
	before, _ := likelihood(all, start, start)
	after, _ := likelihood(all, w, start)
	t.Logf("%d files; log likelihood %.1f with the weights in use, %.1f fitted", len(all), before, after)
	for i, v := range w {
		t.Logf("%-10s %8.3f, in use %g", termNames[i], v, start[i])
	}
	// The weights in use must still be near what the simulation asks for.
	if after-before > 0.1*float64(len(all)) {
		t.Errorf("the weights in use explain the simulation badly")
	}
}

// choices are the files of an ensemble whose true place is among the
// candidates.
func choices(t *testing.T, e *simulate.Ensemble) []choice {
	var takes []*take
	for _, k := range e.Takes {
		f, err := Analyse(k.Source())
		if err != nil {
			t.Fatal(err)
		}
		takes = append(takes, newTake(&Recording{Name: k.Name, Take: k.Player, Features: f}))
	}
	return chosen(e, takes)
}

// chosen weighs the takes of an ensemble and finds their true places.
func chosen(e *simulate.Ensemble, takes []*take) []choice {
	g := newGrid(e.Map)
	searchAll(g, takes)
	harmonise(g, takes)
	var out []choice
	for i, k := range takes {
		c, near := choice{right: -1}, 0.045
		truth := e.Takes[i].Truth
		middle := (g.start+g.end)/2 - truth.Offset
		for j, h := range k.hyps {
			var v [termCount]float64
			copy(v[:], h.terms[:])
			c.x = append(c.x, v)
			if d := math.Abs(h.o - truth.MeanOffset() + middle*(k.ppm-truth.DriftPPM)*1e-6); d < near {
				near, c.right = d, j
			}
		}
		if c.right >= 0 {
			out = append(out, c)
		}
	}
	return out
}

// likelihood is the log probability of the right choices, and its gradient. A
// Gaussian prior as wide as the weight itself keeps terms that the simulation
// rarely shows from running away.
func likelihood(all []choice, w, prior [termCount]float64) (ll float64, grad [termCount]float64) {
	for _, c := range all {
		p := make([]float64, len(c.x))
		top := math.Inf(-1)
		for j, x := range c.x {
			for k := range x {
				p[j] += w[k] * x[k]
			}
			top = math.Max(top, p[j])
		}
		var sum float64
		for j := range p {
			p[j] = math.Exp(p[j] - top)
			sum += p[j]
		}
		ll += math.Log(p[c.right]/sum + 1e-300)
		for k := range w {
			grad[k] += c.x[c.right][k]
			for j, x := range c.x {
				grad[k] -= p[j] / sum * x[k]
			}
		}
	}
	for k := range w {
		wide := math.Abs(prior[k]) + 0.05
		d := (w[k] - prior[k]) / wide
		ll -= d * d / 2
		grad[k] -= d / wide
	}
	return ll, grad
}

// fit climbs the likelihood with steps that adapt to each weight.
func fit(all []choice, start [termCount]float64) [termCount]float64 {
	w := start
	var past [termCount]float64
	for range 600 {
		_, grad := likelihood(all, w, start)
		for k := range w {
			past[k] += grad[k] * grad[k]
			w[k] += 0.3 * grad[k] / (math.Sqrt(past[k]) + 1e-9) * (math.Abs(start[k]) + 0.05)
		}
	}
	return w
}

// The fit itself is checked on choices made with known weights.
func TestFitFindsWeights(t *testing.T) {
	var all []choice
	state := uint64(1)
	random := func() float64 { // a plain congruential generator is enough here
		state = state*6364136223846793005 + 1442695040888963407
		return float64(state>>11) / (1 << 53)
	}
	var want, start [termCount]float64
	for k := range want {
		want[k], start[k] = 2*random()-1, 0.5
	}
	for range 700 {
		var c choice
		best := math.Inf(-1)
		for j := range 4 {
			var x [termCount]float64
			z := -math.Log(-math.Log(random())) // Gumbel noise makes the choice a logit
			for k := range x {
				x[k] = 2*random() - 1
				z += want[k] * x[k]
			}
			c.x = append(c.x, x)
			if z > best {
				best, c.right = z, j
			}
		}
		all = append(all, c)
	}
	got := fit(all, start)
	for k := range want {
		if math.Abs(got[k]-want[k]) > 0.4 {
			t.Errorf("weight %d: %.2f, want %.2f", k, got[k], want[k])
		}
	}
}
