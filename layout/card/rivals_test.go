package card

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"slices"
	"testing"
)

// reviewed makes take i of an ensemble one that needs review, with places at
// guide times.
func reviewed(o *SyncOptions, i int, places ...float64) {
	r := &o.Rows[i]
	r.State, r.Says, r.More, r.Rivals = SyncAsks, "needs review", "", nil
	for k, at := range places {
		r.Rivals = append(r.Rivals, fmt.Sprintf("%d: %.2f s (%d %%)", k+1, at+3, 60-20*k))
	}
	for w := range r.Traces {
		r.Traces[w].Hill, r.Traces[w].Onsets, r.Traces[w].Rivals = nil, nil, places
	}
}

// inked returns the mean and the range of the columns of a row in which a colour
// is found, and how many of its pixels, within a window and a little beside it.
func inked(t *testing.T, o SyncOptions, row, w int, tint color.NRGBA) (mean, first, last float64, n int) {
	t.Helper()
	m, err := Sync(o)
	if err != nil {
		t.Fatal(err)
	}
	g, err := newSyncSheet(&o)
	if err != nil {
		t.Fatal(err)
	}
	first, last = math.Inf(1), math.Inf(-1)
	for y := int(g.y(row + 1)); y < int(g.y(row+2)); y++ {
		for x := int(g.left(w) - 8*g.unit); x < int(g.left(w)+g.plot+8*g.unit); x++ {
			if m.NRGBAAt(x, y) == tint {
				at := float64(x) + 0.5
				mean, n, first, last = mean+at, n+1, min(first, at), max(last, at)
			}
		}
	}
	return mean / float64(n), first, last, n
}

func TestRivalsGolden(t *testing.T) {
	o := syncOf(4)
	for i := range 2 {
		places := [][]float64{{0.75, 1.25, -4}, {10.75, 40}}[i]
		hill := o.Rows[1+i].Traces[0].Hill
		reviewed(&o, 1+i, places...)
		for w := range o.Windows {
			o.Rows[1+i].Traces[w].Hill = hill
		}
	}
	o.Width = 960
	m, err := Sync(o)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, m, filepath.Join("testdata", "sync-review.png"))
}

// The wedge of a place stands where that place is in time; one that no window
// shows stands at the end of the window before it, and points on.
func TestRivalsStandAtTheirPlace(t *testing.T) {
	tint := syncTints[SyncAsks].onset
	for _, c := range []struct {
		name  string
		at    float64
		w     int
		share float64 // of the window's width
		side  float64
	}{
		{"in the first window", 0.75, 0, 0.375, 0}, {"in the second", 11, 1, 0.5, 0},
		{"before all", -4, 0, 0, -1}, {"between", 5, 0, 1, 1}, {"after all", 40, 1, 1, 1},
	} {
		o := syncOf(2)
		reviewed(&o, 1, c.at)
		g, err := newSyncSheet(&o)
		if err != nil {
			t.Fatal(err)
		}
		mean, first, last, n := inked(t, o, 1, c.w, tint)
		want := g.left(c.w) + c.share*g.plot
		switch {
		case n < 100:
			t.Errorf("%s: %d pixels of a wedge", c.name, n)
		case c.side == 0 && math.Abs(mean-want) > 1, c.side < 0 && math.Abs(first-want) > 2, c.side > 0 &&
			math.Abs(last-want) > 2:
			t.Errorf("%s: from %.1f to %.1f round %.1f, want %.1f", c.name, first, last, mean, want)
		}
		if _, _, _, n := inked(t, o, 1, 1-c.w, tint); n > 0 {
			t.Errorf("%s: another wedge in the other window", c.name)
		}
	}
}

// The number in a wedge and the words beside it are legible: WCAG 2.1, 1.4.3.
func TestRivalsAreLegible(t *testing.T) {
	if got := Contrast(syncTints[SyncAsks].onset, white); got < 4.5 {
		t.Errorf("numbers have a contrast of %.2f", got)
	}
	// The number tells two wedges apart, which nothing else does.
	one, two := syncOf(2), syncOf(2)
	reviewed(&one, 1, 0.75)
	reviewed(&two, 1, -100, 0.75)
	for w := range two.Windows {
		two.Rows[1].Traces[w].Rivals = []float64{math.NaN(), 0.75}
	}
	tint := syncTints[SyncAsks].onset
	_, _, _, a := inked(t, one, 1, 0, tint)
	_, _, _, b := inked(t, two, 1, 0, tint)
	if a == b || a == 0 || b == 0 {
		t.Errorf("wedges 1 and 2 look alike: %d and %d pixels", a, b)
	}
}

// Sure takes are drawn as ever: places that are not there change nothing.
func TestRivalsLeaveOthersAlone(t *testing.T) {
	plain, empty := syncOf(3), syncOf(3)
	for i := range empty.Rows {
		empty.Rows[i].Rivals = []string{}
		for w := range empty.Rows[i].Traces {
			empty.Rows[i].Traces[w].Rivals = []float64{}
		}
	}
	a, err := Sync(plain)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Sync(empty)
	if err != nil || !bytes.Equal(a.Pix, b.Pix) {
		t.Errorf("no places to choose from draw something (%v)", err)
	}
}

// However low the rows are, no word is lost and the first keep a line to themselves.
func TestPacked(t *testing.T) {
	words := []string{"needs review", "1", "2", "3"}
	for n, want := range map[int][]string{
		1: {"needs review  1  2  3"}, 2: {"needs review  1", "2  3"}, 3: {"needs review", "1",
			"2  3"}, 4: words, 9: words,
	} {
		if got := packed(words, n); !slices.Equal(got, want) {
			t.Errorf("in %d lines %q, want %q", n, got, want)
		}
	}
}
