package align

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"ripieno/mix/align/simulate"
)

// outcome is one file of a simulated ensemble after placing.
type outcome struct {
	Placement
	truth simulate.Truth
	err   float64 // seconds, signed, in the middle of the piece; see judge
	off   float64 // seconds, how far recording, playing and clap alike lie from where they should
	clap  float64 // the same had only the cue been used; NaN without one
	cue   float64 // found minus true time of the cue sound; NaN without one
	drift float64 // ppm
	title string
	level simulate.Level
	beat  float64 // seconds, the shortest of the piece
}

// wrong is the error beyond which a listener hears that a file is out: the
// ensemble threshold of performers is 20 to 30 ms.
const wrong = 0.03

// misplaced is the distance from which a file lies at the wrong place, whatever it is
// judged by: a listener hears two notes.
const misplaced = 0.04

// judge compares a placement with the truth. What is placed is a player's
// playing, so the truth is the player's own mean timing; a file with too few
// notes to measure, which only its clap places, is judged by the clap.
func judge(e *simulate.Ensemble, t *simulate.Take, p Placement) outcome {
	o := outcome{Placement: p, truth: t.Truth, title: e.Title, drift: p.DriftPPM - t.Truth.DriftPPM, clap: math.NaN(),
		cue: math.NaN(), beat: math.Inf(1)}
	for b := range e.Map.Beats() {
		o.beat = math.Min(o.beat, b.Length)
	}
	middle := (e.Map.Start()+e.Map.End())/2 - t.Truth.Offset
	turned := middle * o.drift * 1e-6
	o.err = p.Offset - t.Truth.MeanOffset() + turned
	if !math.IsNaN(p.CueOffset) {
		o.clap = p.CueOffset - t.Truth.MeanOffset() + turned
		if t.Truth.Cued != "false" {
			o.cue = p.CueAt - t.Truth.Cue
		}
	}
	if p.Method == "cue" && !math.IsNaN(t.Truth.Cue) && t.Truth.Cued != "false" {
		o.err = p.CueAt - t.Truth.Cue
	}
	o.off = math.Min(math.Abs(o.err), math.Abs(p.Offset-t.Truth.Offset+turned))
	if !math.IsNaN(t.Truth.Cue) && t.Truth.Cued != "false" {
		o.off = math.Min(o.off, math.Abs(p.Clock().Guide(t.Truth.Cue)-e.Map.Cue()))
	}
	return o
}

// ensemble measures one simulated ensemble and places it without a score and
// with one.
func ensemble(tb testing.TB, number uint64, opt simulate.Options) (plain, scored []outcome) {
	e := simulate.New(number, opt)
	if opt.Devices == 2 {
		// Every second player has one, as in the sampled ensembles.
		e.Takes = slices.DeleteFunc(e.Takes, secondOfEveryOther())
	}
	return placed(e, measured(tb, e), matched(tb, e))
}

// secondOfEveryOther reports whether a take, asked about in order, is the second device of
// the first player, the third and so on.
func secondOfEveryOther() func(*simulate.Take) bool {
	last, players := "", 0
	return func(t *simulate.Take) bool {
		if t.Player != last {
			last, players = t.Player, players+1
			return false
		}
		return players%2 == 1
	}
}

// matched compares the two devices of every player who has two.
func matched(tb testing.TB, e *simulate.Ensemble) []Pair {
	var pairs []Pair
	for i := 1; i < len(e.Takes); i++ {
		a, b := e.Takes[i-1], e.Takes[i]
		if a.Player != b.Player {
			continue
		}
		m, err := MatchDevices(a.Source(), b.Source())
		if err != nil {
			tb.Fatal(err)
		}
		pairs = append(pairs, Pair{A: a.Name, B: b.Name, Match: m})
	}
	return pairs
}

// measured are the takes of an ensemble as recordings.
func measured(tb testing.TB, e *simulate.Ensemble) []Recording {
	recs, errs := make([]Recording, len(e.Takes)), make([]error, len(e.Takes))
	var wait sync.WaitGroup
	for i, t := range e.Takes {
		wait.Go(func() {
			recs[i] = Recording{Name: t.Name, Take: t.Player}
			recs[i].Features, errs[i] = Analyse(t.Source())
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		tb.Fatal(err)
	}
	return recs
}

func placed(e *simulate.Ensemble, recs []Recording, pairs []Pair) (plain, scored []outcome) {
	for i, p := range Place(e.Map, recs, pairs) {
		plain = append(plain, judge(e, e.Takes[i], p))
	}
	recs = slices.Clone(recs)
	for i, t := range e.Takes {
		recs[i].Onsets = t.Written()
	}
	for i, p := range Place(e.Map, recs, pairs) {
		scored = append(scored, judge(e, e.Takes[i], p))
	}
	return plain, scored
}

// The quick form of the table: whatever the level, nothing may be wrong and
// called sure, and a fair share must be sure.
func TestPlaceSimulated(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		level     simulate.Level
		number    uint64
		sure, all int // at least so many of twice so many: without and with a score
	}{{simulate.Typical, 1001, 6, 4}, {simulate.Hard, 1003, 3, 4}} {
		sure := 0
		plain, scored := ensemble(t, c.number, simulate.Options{Level: c.level, Players: c.all, Seconds: 36,
			Rate: 16000})
		for _, o := range slices.Concat(plain, scored) {
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
			t.Errorf("%s: only %d of %d are sure, expected %d", c.level, sure, 2*c.all, c.sure)
		}
	}
}

// TestTable prints the figures of the large set. It takes some minutes and
// runs only when asked:
//
//	RIPIENO_SYNC_TABLE=40 go test -run TestTable -v -timeout 60m ./mix/align
//
// The number is how many ensembles each level gets, as large and long as sampled ones are, from
// firstOfTable on. None of them was looked at while the method and the simulation
// were made: whoever has looked, and changed either for what was seen, must draw
// others, and say so where the table is shown. TestTableSampled of package assemble
// prints the rows of sampled instruments, with the same command for ./assemble; a
// table for readers holds both. What is looked at while working are the numbers
// below 10000, and 411 to 415 of the sampled ones.
func TestTable(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_TABLE"))
	if err != nil {
		t.Skip("set RIPIENO_SYNC_TABLE to the number of ensembles of each level")
	}
	var b strings.Builder
	header(&b)
	var all, withScore []outcome
	for _, level := range []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard} {
		var set, scored []outcome
		for k := range n {
			p, s := ensemble(t, uint64(firstOfTable+k), optionsOfTable(level))
			set, scored = append(set, p...), append(scored, s...)
		}
		for _, o := range [][]outcome{set, scored} {
			for i := range o {
				o[i].level = level
			}
		}
		row(&b, level.String(), set)
		row(&b, level.String()+", with a score", scored)
		all, withScore = append(all, set...), append(withScore, scored...)
	}
	summary(t, &b, all, withScore)
}

// optionsOfTable are those of a level's ensembles: as many players for as long as the ensembles
// of sampled instruments that the table is held against, two in five of whom bow, and every
// second one with two devices.
func optionsOfTable(level simulate.Level) simulate.Options {
	opt := simulate.Options{Level: level, Rate: 16000, Bows: 0.25, Players: [...]int{6, 9, 12}[level],
		Seconds: [...]float64{26, 40, 40}[level]}
	if level != simulate.Easy {
		opt.Devices = 2
	}
	return opt
}

// firstOfTable is the number of the first ensemble of the table. Those from 170000 on were
// drawn for older methods, and those before 340000 by older simulations.
const firstOfTable = 340000

func header(b *strings.Builder) {
	fmt.Fprintln(b, "| set | files | sure | sure and wrong | median | 95th | max | refused | of these rightly | "+
		"clap alone: median, 95th | the cue itself: mean, median, 95th |")
	fmt.Fprintln(b, "|---|---|---|---|---|---|---|---|---|---|---|")
}

// summary prints the rows that all levels share, and what must hold.
func summary(t *testing.T, b *strings.Builder, all, withScore []outcome) {
	pick := func(keep func(outcome) bool) []outcome {
		return slices.DeleteFunc(slices.Clone(all), func(o outcome) bool { return !keep(o) })
	}
	fast, slow := pick(func(o outcome) bool { return !o.truth.Slow() }), pick(func(o outcome) bool { return o.truth.Slow() })
	row(b, "all", all)
	row(b, "all, with a score", withScore)
	row(b, "fast attacks", fast)
	row(b, "slow attacks", slow)
	row(b, "steady pulse", pick(func(o outcome) bool { return strings.HasSuffix(o.title, "steady") }))
	row(b, "clap alone places", pick(func(o outcome) bool { return o.Method == "cue" }))
	t.Log("\n" + b.String())
	verdict(t, "without a score", all)
	verdict(t, "with a score", withScore)
	targets(t, fast, slow, all)
	reliability(t, all)
}

// What is asked of sync. The table fails where the set it draws misses one of
// these, and nowhere else.
const (
	mostWrong = 0 // sure files that are misplaced: there is nobody who would look for them
	// sure files of even pulses that are half a beat off or more: correlation of onsets alone takes any beat
	// for any other
	mostSlips  = 0
	fastMedian = 8.0  // ms, struck, plucked and tongued notes: well below what is heard
	fastMost   = 20.0 // ms, 95 of 100 of them: where players begin to hear that they are not together
	cueMedian  = 3.0  // ms, found cues: what trials left of a clap's own breadth
)

// verdict prints every sure file that is misplaced and holds a set against the aims.
func verdict(t *testing.T, name string, set []outcome) {
	sure, bad, within, slips := 0, 0, 0, 0
	for _, o := range set {
		if !o.Sure {
			continue
		}
		sure++
		if math.Abs(o.err) <= wrong {
			within++
		}
		if o.off <= misplaced {
			continue
		}
		bad++
		if strings.HasSuffix(o.title, "steady") && math.Abs(o.err) >= o.beat/2 {
			slips++
		}
		t.Logf("%s, %s, %s %s: sure and %.1f ms off; cue %s, %s, %+v, truth %+v",
			name, o.level, o.title, o.Name, 1000*o.off, o.truth.Cued, o.Method, o.Placement, o.truth)
	}
	t.Logf("%s: %d of %d sure files are misplaced by more than %.0f ms, %d even pulses by half a beat; the playing "+
		"of %d lies within %.0f ms",
		name, bad, sure, 1000*misplaced, slips, within, 1000*wrong)
	if bad > mostWrong {
		t.Errorf("%s: %d sure files are misplaced", name, bad)
	}
	if slips > mostSlips {
		t.Errorf("%s: %d even pulses slipped", name, slips)
	}
}

// targets holds the errors of a set against the aims, in milliseconds.
func targets(t *testing.T, fast, slow, all []outcome) {
	var errs, claps, cues []float64
	for _, o := range fast {
		if o.Sure {
			errs = append(errs, math.Abs(o.err))
		}
	}
	if m, q := quantileOf(errs, 0.5), quantileOf(errs, 0.95); m > fastMedian || q > fastMost {
		t.Errorf("fast attacks: median %.1f ms, 95th %.1f ms", m, q)
	}
	errs = nil
	for _, o := range slow {
		if o.Sure && !math.IsNaN(o.clap) {
			errs, claps = append(errs, math.Abs(o.err)), append(claps, math.Abs(o.clap))
		}
	}
	refined, clapped := 1000*mean(errs), 1000*mean(claps)
	t.Logf("slow attacks with a cue: %.1f ms on average, %.1f ms by the clap alone", refined, clapped)
	if refined > clapped {
		t.Errorf("slow attacks: the playing makes it worse")
	}
	for _, o := range all {
		if o.Sure && !math.IsNaN(o.cue) {
			cues = append(cues, math.Abs(o.cue))
		}
	}
	if m := quantileOf(cues, 0.5); m > cueMedian {
		t.Errorf("cues are found %.1f ms off", m)
	}
}

func mean(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x / float64(len(v))
	}
	return s
}

// quantile is in milliseconds, of seconds; it sorts v. NaN when empty.
func quantileOf(v []float64, at float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return 1000 * v[int(at*float64(len(v)-1))]
}

func row(b *strings.Builder, name string, set []outcome) {
	var errs, claps, cues, offs []float64
	bad, refused, rightly := 0, 0, 0
	for _, o := range set {
		e := math.Abs(o.err)
		if !o.Sure {
			refused++
			if o.off > misplaced || math.IsNaN(o.off) {
				rightly++
			}
			continue
		}
		errs = append(errs, e)
		if !math.IsNaN(o.clap) {
			claps = append(claps, math.Abs(o.clap))
		}
		if !math.IsNaN(o.cue) {
			cues, offs = append(cues, math.Abs(o.cue)), append(offs, o.cue)
		}
		if o.off > misplaced {
			bad++
		}
	}
	fmt.Fprintf(b, "| %s | %d | %d | %d | %.1f | %.1f | %.1f | %d | %d | %.1f, %.1f | %+.2f, %.2f, %.1f |\n", name,
		len(set), len(errs), bad,
		quantileOf(errs, 0.5), quantileOf(errs, 0.95), quantileOf(errs, 1), refused, rightly, quantileOf(claps,
			0.5), quantileOf(claps, 0.95),
		1000*mean(offs), quantileOf(cues, 0.5), quantileOf(cues, 0.95))
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
			t.Logf("confidence %.3f to %.3f: %4d files, mean %.3f, right %.3f", lo, edges[i+1], n, mean/float64(n),
				float64(right)/float64(n))
		}
	}
}
