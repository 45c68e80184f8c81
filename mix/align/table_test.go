package align

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/mix/align/simulate"
)

// outcome is one file of a simulated ensemble after placing.
type outcome struct {
	Placement
	truth simulate.Truth
	err   float64 // seconds, signed, in the middle of the piece; see judge
	clap  float64 // the same had only the cue been used; NaN without one
	drift float64 // ppm
	title string
}

// wrong is the error beyond which a listener hears that a file is out: the
// ensemble threshold of performers is 20 to 30 ms.
const wrong = 0.03

// judge compares a placement with the truth. What is placed is a player's
// playing, so the truth is the player's own mean timing; a file with too few
// notes to measure, which only its clap places, is judged by the clap.
func judge(e *simulate.Ensemble, t *simulate.Take, p Placement) outcome {
	o := outcome{Placement: p, truth: t.Truth, title: e.Title, drift: p.DriftPPM - t.Truth.DriftPPM, clap: math.NaN()}
	middle := (e.Map.Start()+e.Map.End())/2 - t.Truth.Offset
	turned := middle * o.drift * 1e-6
	o.err = p.Offset - t.Truth.MeanOffset() + turned
	if !math.IsNaN(p.CueOffset) {
		o.clap = p.CueOffset - t.Truth.MeanOffset() + turned
	}
	if p.Method == "cue" && !math.IsNaN(t.Truth.Cue) && t.Truth.Cued != "false" {
		o.err = p.CueAt - t.Truth.Cue
	}
	return o
}

// ensemble measures and places one simulated ensemble.
func ensemble(tb testing.TB, number uint64, opt simulate.Options) []outcome {
	e := simulate.New(number, opt)
	var recs []Recording
	for _, t := range e.Takes {
		f, err := Analyse(t.Source())
		if err != nil {
			tb.Fatal(err)
		}
		recs = append(recs, Recording{Name: t.Name, Take: t.Player, Features: f})
	}
	var out []outcome
	for i, p := range Place(e.Map, recs, nil) {
		out = append(out, judge(e, e.Takes[i], p))
	}
	return out
}

// The quick form of the table: whatever the level, nothing may be wrong and
// called sure, and a fair share must be sure.
func TestPlaceSimulated(t *testing.T) {
	for _, c := range []struct {
		level     simulate.Level
		number    uint64
		sure, all int // at least so many of so many
	}{{simulate.Typical, 1001, 3, 4}, {simulate.Hard, 1003, 2, 4}} {
		sure := 0
		for _, o := range ensemble(t, c.number, simulate.Options{Level: c.level, Players: c.all, Seconds: 36, Rate: 16000}) {
			if !o.Sure {
				if o.Reason == "" {
					t.Errorf("%s: unsure without a reason", o.Name)
				}
				continue
			}
			sure++
			if math.Abs(o.err) > wrong {
				t.Errorf("%s, %s %s: sure and %.0f ms wrong: %+v", c.level, o.title, o.Name, 1000*o.err, o.Placement)
			}
			if o.Confidence < sureBar || o.Uncertainty > wrong || len(o.Evidence) == 0 || o.Reason != "" {
				t.Errorf("%s: sure with %+v", o.Name, o.Placement)
			}
		}
		if sure < c.sure {
			t.Errorf("%s: only %d of %d are sure, expected %d", c.level, sure, c.all, c.sure)
		}
	}
}

// TestTable prints the figures of the large set. It takes some minutes and
// runs only when asked:
//
//	RIPIENO_SYNC_TABLE=40 go test -run TestTable -v -timeout 60m ./mix/align
//
// The number is how many ensembles of six players each level gets.
func TestTable(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_TABLE"))
	if err != nil {
		t.Skip("set RIPIENO_SYNC_TABLE to the number of ensembles of each level")
	}
	var b strings.Builder
	fmt.Fprintln(&b, "| set | files | sure | wrong and sure | median | 95th | max | over 40 ms | refused | of these rightly | clap alone: median, 95th |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|---|---|---|---|")
	var all []outcome
	for _, level := range []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard} {
		var set []outcome
		for k := range n {
			set = append(set, ensemble(t, uint64(5000+k), simulate.Options{Level: level, Players: 6, Seconds: 75})...)
		}
		row(&b, level.String(), set)
		all = append(all, set...)
	}
	pick := func(keep func(outcome) bool) []outcome {
		return slices.DeleteFunc(slices.Clone(all), func(o outcome) bool { return !keep(o) })
	}
	row(&b, "fast attacks", pick(func(o outcome) bool { return !o.truth.Slow() }))
	row(&b, "slow attacks", pick(func(o outcome) bool { return o.truth.Slow() }))
	row(&b, "clap alone places", pick(func(o outcome) bool { return o.Method == "cue" }))
	t.Log("\n" + b.String())
	for _, o := range all {
		if o.Sure && math.Abs(o.err) > wrong {
			t.Errorf("%s %s: sure and %.0f ms wrong; cue %s, %s, truth %+v", o.title, o.Name, 1000*o.err, o.truth.Cued, o.Method, o.truth)
		}
	}
	reliability(t, all)
}

func row(b *strings.Builder, name string, set []outcome) {
	var errs, claps []float64
	bad, far, refused, rightly := 0, 0, 0, 0
	for _, o := range set {
		e := math.Abs(o.err)
		if !o.Sure {
			refused++
			if e > wrong || math.IsNaN(e) {
				rightly++
			}
			continue
		}
		errs = append(errs, e)
		if !math.IsNaN(o.clap) {
			claps = append(claps, math.Abs(o.clap))
		}
		if e > wrong {
			bad++
		}
		if e > 0.04 {
			far++
		}
	}
	slices.Sort(errs)
	slices.Sort(claps)
	q := func(v []float64, at float64) float64 {
		if len(v) == 0 {
			return math.NaN()
		}
		return 1000 * v[int(at*float64(len(v)-1))]
	}
	fmt.Fprintf(b, "| %s | %d | %d | %d | %.1f ms | %.1f ms | %.1f ms | %d | %d | %d | %.1f, %.1f ms |\n", name, len(set), len(errs), bad,
		q(errs, 0.5), q(errs, 0.95), q(errs, 1), far, refused, rightly, q(claps, 0.5), q(claps, 0.95))
}

// reliability prints how often each band of confidence was right.
func reliability(t *testing.T, all []outcome) {
	edges := []float64{0, 0.3, 0.5, 0.7, 0.9, 0.96, sureBar, 0.99, 0.999, 1.01}
	for i, lo := range edges[:len(edges)-1] {
		n, right, mean := 0, 0, 0.0
		for _, o := range all {
			if o.Confidence >= lo && o.Confidence < edges[i+1] {
				n++
				mean += o.Confidence
				if math.Abs(o.err) <= wrong {
					right++
				}
			}
		}
		if n > 0 {
			t.Logf("confidence %.3f to %.3f: %4d files, mean %.3f, right %.3f", lo, edges[i+1], n, mean/float64(n), float64(right)/float64(n))
		}
	}
}
