package align

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func TestWritten(t *testing.T) {
	m := piece(t, 8, 4, 120)
	g := newGrid(m)
	for name, onsets := range map[string][]float64{
		"nothing":  nil,
		"no times": {math.NaN(), math.Inf(1), math.Inf(-1)},
		"outside":  {g.start - 3, g.end + 1},
	} {
		if w := newWritten(g, onsets); w != nil {
			t.Errorf("%s: %+v", name, w)
		}
	}
	w := newWritten(g, []float64{g.start + 3, g.start, math.NaN(), g.start + 1, g.start + 3})
	if len(w.at) != 3 || !slices.IsSorted(w.at) {
		t.Fatalf("written at %v", w.at)
	}
	for _, c := range []struct{ at, want float64 }{{-9, 0}, {0.4, 0}, {0.6, 1}, {2.1, 3}, {99, 3}} {
		if got := w.nearest(g.start+c.at) - g.start; got != c.want {
			t.Errorf("nearest to %g is %g, want %g", c.at, got, c.want)
		}
	}
	// The densities are ratios against chance: over the piece they average to
	// one.
	var mean float64
	n := 0
	for i, l := range w.log {
		if at := g.origin + float64(i)*gridStep; at >= g.start && at < g.end {
			mean += (math.Exp(float64(l)) - strayShare) / (1 - strayShare)
			n++
		}
	}
	// Half of the first note's scatter lies before the piece.
	if mean /= float64(n); math.Abs(mean-1+0.5/3) > 0.02 {
		t.Errorf("the density averages to %g", mean)
	}
}

// pulseOf is what a player of a steady pulse plays: a note on every beat of some
// measures.
func pulseOf(t *testing.T, from, to int) (written, played []float64) {
	t.Helper()
	for b := range piece(t, 24, 4, 100).Beats() {
		if b.Measure >= from && b.Measure <= to && !b.CountIn {
			written, played = append(written, b.Seconds), append(played, b.Seconds+0.011)
		}
	}
	return written, played
}

// A steady pulse in the middle of the piece, with a rest in it, from a file
// without a cue, could lie anywhere. The score knows in which measures it is.
func TestPlaceByScore(t *testing.T) {
	m := piece(t, 24, 4, 100)
	written, played := pulseOf(t, 5, 9)
	again, more := pulseOf(t, 12, 17)
	written, played = append(written, again...), append(played, more...)
	const offset = 6.35
	rec := Recording{Name: "x", Features: plucks(t, offset, m.End()+2, nil, played, 21)}
	if p := Place(m, []Recording{rec}, nil)[0]; p.Sure {
		t.Errorf("a pulse without cue and score is sure: %+v", p)
	}
	rec.Onsets = written
	p := Place(m, []Recording{rec}, nil)[0]
	if off := p.Offset - (offset - 0.011); !p.Sure || math.Abs(off) > 0.005 {
		t.Errorf("placed %.1f ms off: %+v", 1000*off, p)
	}
	if !strings.Contains(strings.Join(p.Evidence, "; "), "score") {
		t.Errorf("the evidence is %q", p.Evidence)
	}
	// A player who leaves notes out and adds some is still the one who plays
	// this part.
	some := append([]float64{m.Start() + 1.11, m.Start() + 7.77}, written[4:]...)
	rec.Onsets = append(some, written[0], written[2])
	if p = Place(m, []Recording{rec}, nil)[0]; !p.Sure || math.Abs(p.Offset-(offset-0.011)) > 0.005 {
		t.Errorf("with slips in the score: %+v", p)
	}
}

// Another player's part may fit half a beat off; a clear cue says no.
func TestPlaceByAnotherScore(t *testing.T) {
	m := piece(t, 24, 4, 100)
	written, played := pulseOf(t, 3, 20)
	for i := range written {
		written[i] += 0.3 // the part of somebody who plays off the beat
	}
	const offset = -4.2
	rec := Recording{Name: "x", Onsets: written, Features: plucks(t, offset, m.End()+2, []float64{m.Cue()}, played, 22)}
	p := Place(m, []Recording{rec}, nil)[0]
	if off := p.Offset - (offset - 0.011); p.Sure && math.Abs(off) > 0.01 {
		t.Errorf("sure and %.0f ms wrong: %+v", 1000*off, p)
	}
	if !strings.Contains(strings.Join(p.Evidence, "; "), "left aside") {
		t.Errorf("the evidence is %q", p.Evidence)
	}
	// So is one that has nothing to do with what is played, even where the
	// user says where the file lies.
	rec.Onsets = []float64{m.Start() + 0.77, m.Start() + 9.13, m.Start() + 14.91, m.Start() + 15.2}
	rec.CueAt = at(m.Cue() - offset)
	if p = Place(m, []Recording{rec}, nil)[0]; math.Abs(p.Lateness-0.011) > 0.004 {
		t.Errorf("lateness %.1f ms with a strange score, truth 11", 1000*p.Lateness)
	}
}

// Between the beats of a compound meter: a player on each beat and a third
// after it must not be placed two thirds of a beat off, where it would look as
// regular.
func TestPlaceThirds(t *testing.T) {
	m := pieceIn(t, "6/8", 40, 4, 80)
	var notes []float64
	for b := range m.Beats() {
		if !b.CountIn {
			notes = append(notes, b.Seconds, b.Seconds+b.Length/3)
		}
	}
	const offset = -3.4
	f := plucks(t, offset, m.End()+2, []float64{m.Cue() - 0.02}, notes, 23)
	p := Place(m, []Recording{{Name: "x", Features: f}}, nil)[0]
	if off := p.Offset - offset; !p.Sure || math.Abs(off) > 0.01 {
		t.Errorf("placed %.0f ms off: %+v", 1000*off, p)
	}
}
