package card

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// syncOf returns an invented ensemble of n takes, in two windows of 2 s: one note
// on every beat, half a second apart, and a clap. Take 2 asks and is a beat
// off, take 3 was placed by hand, take 4 cannot be read.
func syncOf(n int) SyncOptions {
	o := SyncOptions{Title: "The Lamplighter's Round · where the takes lie",
		Summary: "lines: beats of the guide · strokes: notes begin"}
	for w := range 2 {
		from := float64(10 * w)
		win := SyncWindow{Title: fmt.Sprintf("measure %d", 8*w+1), From: from, To: from + 2}
		for b := range 4 {
			win.Lines = append(win.Lines, SyncLine{from + 0.25 + 0.5*float64(b), []string{"4", "m1", "2", "3"}[b],
				b == 1})
		}
		o.Windows = append(o.Windows, win)
	}
	for i := range n {
		r := SyncRow{Name: fmt.Sprintf("take-%d", i), Player: cast[i%len(cast)][0], Says: "sure 1.00",
			More: fmt.Sprintf("plays %d ms late", i)}
		switch i {
		case 2:
			r.State, r.Says = SyncAsks, "asks you 0.61"
		case 3:
			r.State, r.Says = SyncGiven, "by hand"
		case 4:
			r = SyncRow{Name: r.Name, State: SyncAbsent, Says: "unreadable", Note: "intake/jo.mp4 cannot be used"}
			o.Rows = append(o.Rows, r)
			continue
		}
		for w := range 2 {
			tr := SyncTrace{Cue: math.NaN()}
			off := 0.0
			if i == 2 {
				off = 0.5
			}
			for k := range 201 {
				at := math.Mod(float64(k)*0.01+0.25-off+2, 0.5)
				tr.Hill = append(tr.Hill, uint8(200*math.Exp(-6*at)))
				if i == 1 {
					tr.Other = append(tr.Other, uint8(150*math.Exp(-6*at)))
				}
			}
			if w == 0 {
				tr.Cue = 0.75 + off
			}
			for b := range 4 {
				tr.Onsets = append(tr.Onsets, SyncOnset{float64(10*w) + 0.25 + 0.5*float64(b) + 0.002*float64(i), 0.9})
			}
			r.Traces = append(r.Traces, tr)
		}
		o.Rows = append(o.Rows, r)
	}
	return o
}

func TestSyncGolden(t *testing.T) {
	o := syncOf(6)
	o.Width = 960
	m, err := Sync(o)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, m, filepath.Join("testdata", "sync.png"))
}

// Whatever the number of takes, rows stay high enough for a name, no picture
// becomes a scroll, and the same input gives the same pixels.
func TestSyncSizes(t *testing.T) {
	for _, n := range []int{0, 1, 12, 30, MaxSyncRows} {
		o := syncOf(n)
		m, err := Sync(o)
		if err != nil {
			t.Fatalf("%d takes: %v", n, err)
		}
		g, err := newSyncSheet(&o)
		if err != nil {
			t.Fatal(err)
		}
		if g.row < 1.6*g.name || m.Rect.Dy() > 2100 {
			t.Errorf("%d takes: rows of %.0f pixels for text of %.0f, %d in all", n, g.row, g.name, m.Rect.Dy())
		}
		again, err := Sync(o)
		if err != nil || !bytes.Equal(m.Pix, again.Pix) {
			t.Errorf("%d takes: drawn twice, two pictures (%v)", n, err)
		}
	}
}

// A stroke stands where its moment is: on the line of its beat when the note
// is on the beat, in every window.
func TestSyncStrokesStandOnTheirBeat(t *testing.T) {
	o := syncOf(1)
	o.Rows[0].Traces[0].Hill, o.Rows[0].Traces[1].Hill = nil, nil
	o.Rows[0].Traces[0].Onsets = []SyncOnset{{0.75, 1}}
	o.Rows[0].Traces[1].Onsets = []SyncOnset{{10.25 + 0.5, 1}}
	m, err := Sync(o)
	if err != nil {
		t.Fatal(err)
	}
	g, err := newSyncSheet(&o)
	if err != nil {
		t.Fatal(err)
	}
	stroke := syncTints[SyncSure].onset
	for w, win := range o.Windows {
		part := m.SubImage(inside(box{g.left(w), g.y(1), g.left(w) + g.plot, g.y(2)}))
		sum, n := 0.0, 0.0
		for y := part.Bounds().Min.Y; y < part.Bounds().Max.Y; y++ {
			for x := part.Bounds().Min.X; x < part.Bounds().Max.X; x++ {
				if c := m.NRGBAAt(x, y); math.Abs(float64(c.R)-float64(stroke.R)) < 40 && c.B > c.R+40 {
					sum, n = sum+float64(x)+0.5, n+1
				}
			}
		}
		if want := g.x(win, w, win.Lines[1].At); n == 0 || math.Abs(sum/n-want) > 0.6 {
			t.Errorf("window %d: the stroke is at %.1f, its beat at %.1f (%.0f pixels)", w, sum/n, want, n)
		}
	}
}

// A take that asks is told apart by its colour and by words, not by one alone.
func TestSyncColours(t *testing.T) {
	m, err := Sync(syncOf(5))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[color.NRGBA]bool{}
	for i := 0; i < len(m.Pix); i += 4 {
		seen[color.NRGBA{m.Pix[i], m.Pix[i+1], m.Pix[i+2], m.Pix[i+3]}] = true
	}
	for _, s := range []SyncState{SyncSure, SyncAsks, SyncGiven} {
		if c := syncTints[s].onset; !seen[c] {
			t.Errorf("nothing is drawn in %v", c)
		}
		// WCAG 2.1 success criteria 1.4.3 and 1.4.11: 4.5 for the text, 3 for strokes.
		if got := Contrast(syncTints[s].onset, planPaper); got < 4.5 {
			t.Errorf("%v has a contrast of %.2f", syncTints[s].onset, got)
		}
		if got := Contrast(syncTints[s].onset, syncTints[s].hill); got < 3 {
			t.Errorf("strokes on hills of state %d have a contrast of %.2f", s, got)
		}
	}
	if got := Contrast(syncOther, white); got < 3 {
		t.Errorf("the second device's line has a contrast of %.2f", got)
	}
}

func TestSyncRefused(t *testing.T) {
	bad := map[string]func(*SyncOptions){
		"width":        func(o *SyncOptions) { o.Width = 100 },
		"no windows":   func(o *SyncOptions) { o.Windows = nil },
		"many windows": func(o *SyncOptions) { o.Windows = make([]SyncWindow, 9) },
		"empty window": func(o *SyncOptions) { o.Windows[1].To = o.Windows[1].From },
		"endless":      func(o *SyncOptions) { o.Windows[1].To = math.Inf(1) },
		"no number":    func(o *SyncOptions) { o.Windows[1].From = math.NaN() },
		"many takes":   func(o *SyncOptions) { o.Rows = make([]SyncRow, MaxSyncRows+1) },
		"traces":       func(o *SyncOptions) { o.Rows[0].Traces = o.Rows[0].Traces[:1] },
		"state":        func(o *SyncOptions) { o.Rows[0].State = 9 },
	}
	for name, spoil := range bad {
		o := syncOf(2)
		spoil(&o)
		if _, err := Sync(o); err == nil || strings.Contains(err.Error(), "%!") {
			t.Errorf("%s: %v", name, err)
		}
	}
	var missing *MissingError
	o := syncOf(2)
	o.Rows[1].Player = "日本"
	if _, err := Sync(o); !errors.As(err, &missing) {
		t.Errorf("characters without a glyph: %v", err)
	}
}
