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

func TestCurve(t *testing.T) {
	c := curve{{1, 10}, {2, 20}, {4, 0}}
	for x, want := range map[float64]float64{-5: 10, 1: 10, 1.5: 15, 2: 20, 3: 10, 4: 0, 99: 0} {
		if got := c.at(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g: %g, want %g", x, got, want)
		}
	}
}

// bowedPlayer is the number of an ensemble whose first player bows.
const bowedPlayer = 35

// heardNote is an event that is a note of a simulated player, and how much
// later than the note it lies.
type heardNote struct {
	Event
	off, gentle float64
	instrument  string
}

// heardNotes matches the clear events of a file with the notes that its player
// played. Farther than 0.12 s from every note, an event is none.
func heardNotes(tk *simulate.Take, rec *Recording, start, end float64) []heardNote {
	x := newTake(rec)
	x.ppm = tk.Truth.DriftPPM
	gentle := x.gentle(tk.Truth.Offset, start, end)
	var out []heardNote
	for i, e := range x.f.Events {
		if x.weight[i] < 0.5 {
			continue
		}
		off := math.Inf(1)
		for _, n := range tk.Notes() {
			if d := x.guide(tk.Truth.Offset, i) - n.Played; math.Abs(d) < math.Abs(off) {
				off = d
			}
		}
		if math.Abs(off) < 0.12 {
			out = append(out, heardNote{e, off, gentle, tk.Instrument()})
		}
	}
	return out
}

// medians are the medians of how late notes are heard, as their events say and with
// what late takes off, in milliseconds.
func medians(notes []heardNote) (raw, mended float64) {
	var a, b []float64
	for _, n := range notes {
		late, _ := n.late(n.gentle)
		a, b = append(a, 1000*n.off), append(b, 1000*(n.off-late))
	}
	return median(a), median(b)
}

// TestLateness shows where the curves of late come from: how much later than it
// was played a note is heard, by how strongly it stands out and how slowly it
// rises, and what is left once late is taken off.
//
//	RIPIENO_SYNC_LATENESS=6 go test -run TestLateness -v ./mix/align
//
// The number is how many ensembles of six players each level gets; without it
// there is one bowed player, whose notes must come out nearer.
func TestLateness(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_LATENESS"))
	var all []heardNote
	hear := func(e *simulate.Ensemble) {
		for i, r := range measured(t, e) {
			all = append(all, heardNotes(e.Takes[i], &r, e.Map.Start(), e.Map.End())...)
		}
	}
	if err != nil {
		e := simulate.New(bowedPlayer, simulate.Options{Level: simulate.Easy, Players: 1, Seconds: 40, Rate: 16000})
		if e.Takes[0].Instrument() != "bowed" {
			t.Fatalf("ensemble %d is played by %s", bowedPlayer, e.Takes[0].Instrument())
		}
		hear(e)
		raw, mended := medians(all)
		if len(all) < 20 || math.Abs(mended) > math.Abs(raw)/2 {
			t.Errorf("%d notes are heard %.1f ms late, %.1f mended", len(all), raw, mended)
		}
		return
	}
	for _, level := range []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard} {
		for k := range n {
			hear(simulate.New(uint64(k), simulate.Options{Level: level, Players: 6, Seconds: 60, Rate: 16000}))
		}
	}
	t.Logf("%d notes; milliseconds late, median, as heard and mended", len(all))
	pick := func(keep func(heardNote) bool) []heardNote {
		return slices.DeleteFunc(slices.Clone(all), func(e heardNote) bool { return !keep(e) })
	}
	t.Log(lateTable(pick(func(e heardNote) bool { return !e.Slow && !e.Pitch && e.gentle > 0.5 })))
	for _, name := range []string{"bowed", "low bowed", "brass", "low brass", "flute", "voice", "reed"} {
		set := pick(func(e heardNote) bool { return e.instrument == name && !e.Slow && !e.Pitch && e.Rise > 0.02 })
		raw, mended := medians(set)
		t.Logf("%-10s %5d notes that rise in more than 20 ms: %.1f, %.1f", name, len(set), raw, mended)
		if len(set) >= 200 && math.Abs(mended) > 4 {
			t.Errorf("%s: %.1f ms late after all", name, mended)
		}
	}
}

// lateTable is a row for each span of rise and a column for each of strength.
func lateTable(all []heardNote) string {
	var b strings.Builder
	strengths, rises := []float64{1.5, 4, 5, 7, 10, 99}, []float64{0, 0.02, 0.05, 0.08, 0.11, 0.2}
	for r := range len(rises) - 1 {
		fmt.Fprintf(&b, "\nrise below %3.0f ms:", 1000*rises[r+1])
		for s := range len(strengths) - 1 {
			set := slices.DeleteFunc(slices.Clone(all), func(e heardNote) bool {
				return e.Rise < rises[r] || e.Rise >= rises[r+1] || e.Strength < strengths[s] || e.Strength >= strengths[s+1]
			})
			raw, mended := medians(set)
			fmt.Fprintf(&b, "   below %g dB %4d: %5.1f, %5.1f", strengths[s+1], len(set), raw, mended)
		}
	}
	return b.String()
}
