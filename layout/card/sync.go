package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
)

// SyncState is how well it is known where a take lies.
type SyncState int

// A take was placed, waits for a person's word, was placed by a person, or
// cannot be drawn at all.
const (
	SyncSure SyncState = iota
	SyncAsks
	SyncGiven
	SyncAbsent
)

// SyncOnset is a moment at which a sound begins.
type SyncOnset struct {
	At       float64 // guide seconds
	Strength float64 // 0 to 1
}

// SyncTrace is what is heard of a take in one window.
type SyncTrace struct {
	// Hill and Other are how loud the take is, 0 to 255, at even steps from
	// the first to the last moment of the window. Other is of the player's
	// second device and may be empty, as Hill may.
	Hill, Other []uint8
	Onsets      []SyncOnset
	Cue         float64 // guide seconds of the take's own clap; NaN: none here
	// Rivals are the guide seconds, as the take is drawn, of the places among which
	// a person has to choose, by number from 1; they stand in the Cue's stead.
	Rivals []float64
}

// SyncRow is one take.
type SyncRow struct {
	Name   string
	Player string   // below the name, where there is room; may be ""
	Says   string   // beside the traces: how sure
	More   string   // below that, where there is room: how late
	Rivals []string // below that in place of More: the places to choose from
	State  SyncState
	Note   string // in place of traces when the take is SyncAbsent
	Traces []SyncTrace
}

// SyncLine is a beat.
type SyncLine struct {
	At   float64 // guide seconds
	Text string  // "m9", "2", "cue"; may be ""
	Bold bool    // a downbeat or the cue
}

// SyncWindow is a stretch of guide time that is drawn for every take.
type SyncWindow struct {
	Title    string
	From, To float64 // guide seconds
	Lines    []SyncLine
}

// SyncOptions is what Sync draws.
type SyncOptions struct {
	Title, Summary string
	Windows        []SyncWindow // 1 to 8
	Rows           []SyncRow    // each with a trace for every window; at most MaxSyncRows
	Width          int          // of the picture in pixels, 640 to 8192; 0 means 1920
	Fonts          *Fonts       // nil: the embedded ones
}

// MaxSyncRows is how many takes one picture holds. More of them would be too
// low to be read on a screen.
const MaxSyncRows = 60

// Colours of traces by state. A state is also written beside the trace, for
// those who see no difference.
var (
	syncTints = [...]struct{ hill, onset color.NRGBA }{
		SyncSure:   {color.NRGBA{0xa9, 0xc4, 0xd6, 255}, color.NRGBA{0x1f, 0x55, 0x7d, 255}},
		SyncAsks:   {color.NRGBA{0xe6, 0xb8, 0xa6, 255}, color.NRGBA{0x9c, 0x3b, 0x2e, 255}},
		SyncGiven:  {color.NRGBA{0xb9, 0xcf, 0xb0, 255}, color.NRGBA{0x3a, 0x6b, 0x39, 255}},
		SyncAbsent: {planCanvas, planLine},
	}
	syncOther = color.NRGBA{0xb0, 0x7a, 0x18, 255} // the second device
	syncBeat  = color.NRGBA{0xc9, 0xc6, 0xbd, 255}
	syncDown  = color.NRGBA{0x8a, 0x8b, 0x8d, 255}
)

// Sync draws where takes lie: a row for each with how loud it is and where its
// notes begin round a few moments of the piece, the beats as lines through
// all of them. What is right stands on the lines; a take that is a beat off
// stands beside everybody. The first row is everybody who is placed.
// Errors: *MissingError, joined, and arguments out of range.
func Sync(o SyncOptions) (*image.NRGBA, error) {
	g, err := newSyncSheet(&o)
	if err != nil {
		return nil, err
	}
	p := newPicture(o.Width, g.height, planPaper)
	s := newSetter(o.Fonts)
	g.page = p.Rect
	g.heading(p, s, o)
	for w := range o.Windows {
		g.beats(p, s, o.Windows[w], w)
		g.everybody(p, o, w)
	}
	all := s.set("everybody", medium, g.name)
	p.write(all, g.margin, g.top+0.62*g.row, planInk, g.page)
	for i := range o.Rows {
		g.take(p, s, o, i)
	}
	return p.NRGBA, errors.Join(s.refusal...)
}

// syncSheet is the geometry of the picture.
type syncSheet struct {
	unit, margin float64
	names, says  float64 // widths left and right of the windows
	name, small  float64 // sizes of text
	gap, plot    float64 // between windows, of a window
	top, row     float64 // of the row of everybody, of a row
	rows, height int
	page         image.Rectangle
}

// newSyncSheet fills in what o leaves open and plans the drawing. What cannot be
// drawn is an error.
func newSyncSheet(o *SyncOptions) (syncSheet, error) {
	if o.Width == 0 {
		o.Width = 1920
	}
	switch {
	case o.Width < 640 || o.Width > 8192:
		return syncSheet{}, fmt.Errorf("width: %d is not within 640 and 8192 pixels", o.Width)
	case len(o.Windows) < 1 || len(o.Windows) > 8:
		return syncSheet{}, fmt.Errorf("%d windows cannot be drawn beside each other", len(o.Windows))
	case len(o.Rows) > MaxSyncRows:
		return syncSheet{}, fmt.Errorf("%d takes are too many for one picture, %d are the most", len(o.Rows),
			MaxSyncRows)
	}
	for _, w := range o.Windows {
		if !(w.To > w.From) || math.IsInf(w.To-w.From, 0) {
			return syncSheet{}, fmt.Errorf("a window from %v to %v s cannot be drawn", w.From, w.To)
		}
	}
	for _, r := range o.Rows {
		if r.State < SyncSure || r.State > SyncAbsent || r.State != SyncAbsent && len(r.Traces) != len(o.Windows) {
			return syncSheet{}, fmt.Errorf("take %q has %d traces for %d windows", r.Name, len(r.Traces),
				len(o.Windows))
		}
	}
	u := float64(o.Width) / 1920
	g := syncSheet{unit: u, margin: 24 * u, names: 190 * u, says: saysWidth(o.Rows) * u, name: 16 * u, small: 13 * u,
		gap: 18 * u}
	n := float64(len(o.Windows))
	g.plot = (float64(o.Width) - 2*g.margin - g.names - g.says - (n-1)*g.gap) / n
	// Few takes get high rows, many low ones, so that the picture stays about
	// as high as a screen or two.
	g.row = u * min(max(1100/float64(len(o.Rows)+1), 30), 64)
	g.top, g.rows = g.margin+112*u, len(o.Rows)
	g.height = int(g.y(g.rows+1) + 34*u + g.margin)
	return g, nil
}

// x returns where a moment of window w is drawn.
func (g syncSheet) x(o SyncWindow, w int, at float64) float64 {
	return g.left(w) + g.plot*(at-o.From)/(o.To-o.From)
}

// left returns the left edge of a window's plot, behind the names.
func (g syncSheet) left(w int) float64 { return g.margin + g.names + float64(w)*(g.plot+g.gap) }

// y returns the upper edge of a row: 0 is everybody.
func (g syncSheet) y(row int) float64 { return g.top + float64(row)*g.row }

// heading writes title and summary, each as large as the width lets it be.
func (g syncSheet) heading(p *picture, s *setter, o SyncOptions) {
	width := float64(o.Width) - 2*g.margin
	title := s.fit(o.Title, bold, g.unit*26, g.unit*16, width)
	p.write(title, g.margin, g.margin+title.ascent, planInk, g.page)
	p.write(s.fit(o.Summary, regular, g.unit*15, g.unit*9, width), g.margin, g.margin+50*g.unit, planQuiet, g.page)
}

// beats draws the lines of a window through all rows and what they are, above
// and below.
func (g syncSheet) beats(p *picture, s *setter, o SyncWindow, w int) {
	top, end := g.top, g.y(g.rows+1)
	title := s.fit(o.Title, medium, g.unit*15, g.unit*9, g.plot)
	p.write(title, g.left(w), top-34*g.unit, planInk, g.page)
	p.rect(box{g.left(w), top, g.left(w) + g.plot, end}, color.NRGBA{0xff, 0xff, 0xff, 255})
	free := math.Inf(-1)
	for _, l := range o.Lines {
		if l.At < o.From || l.At > o.To {
			continue
		}
		x, half, tint, face := g.x(o, w, l.At), 0.5*g.unit, syncBeat, regular
		if l.Bold {
			half, tint, face = 1*g.unit, syncDown, bold
		}
		p.rect(box{x - half, top - 4*g.unit, x + half, end + 4*g.unit}, tint)
		text := s.set(l.Text, face, g.small)
		s.check(text)
		if left := x - text.width/2; left >= free {
			p.write(text, left, top-10*g.unit, planInk, g.page)
			p.write(text, left, end+18*g.unit, planInk, g.page)
			free = left + text.width + 6*g.unit
		}
	}
}

// everybody draws where the notes of all placed takes begin.
func (g syncSheet) everybody(p *picture, o SyncOptions, w int) {
	const bin = 0.010 // seconds; finer than players agree
	win := o.Windows[w]
	sum := make([]float64, int((win.To-win.From)/bin)+2)
	most := 0.0
	for _, r := range o.Rows {
		if r.State != SyncSure && r.State != SyncGiven {
			continue
		}
		for _, e := range r.Traces[w].Onsets {
			at := (e.At - win.From) / bin
			k := int(math.Floor(at))
			if k < 0 || k+1 >= len(sum) {
				continue
			}
			// Shared between the two bins it lies between.
			sum[k] += e.Strength * (1 - at + float64(k))
			sum[k+1] += e.Strength * (at - float64(k))
			most = max(most, sum[k], sum[k+1])
		}
	}
	if most == 0 {
		return
	}
	b := box{g.left(w), g.y(0) + 2*g.unit, g.left(w) + g.plot, g.y(1) - 2*g.unit}
	p.paint(b, inside(b), planQuiet, func(n pen) {
		n.move(b.x0, b.y1)
		for k, v := range sum {
			n.line(min(g.x(win, w, win.From+float64(k)*bin), b.x1), b.y1-b.h()*v/most)
		}
		n.line(b.x1, b.y1)
		n.ClosePath()
	})
}

// take draws the row of one take: who it is and how sure its place is, and its sound in every
// window. Low rows leave out the player and write everything on one line.
func (g syncSheet) take(p *picture, s *setter, o SyncOptions, i int) {
	r, y := o.Rows[i], g.y(i+1)
	tint := syncTints[r.State]
	ink := planInk
	if r.State == SyncAsks {
		ink = tint.onset
	}
	p.rect(box{g.margin, y - 0.5*g.unit, float64(o.Width) - g.margin, y + 0.5*g.unit}, planCanvas)
	right := g.left(len(o.Windows)-1) + g.plot + 10*g.unit
	if g.row < 40*g.unit {
		r.Player = ""
		if r.More != "" {
			r.Says, r.More = r.Says+" · "+r.More, ""
		}
	}
	// column writes a line, or two round the same middle.
	column := func(first, second string, face weight, size, x, width float64) {
		base := y + 0.62*g.row
		if second != "" {
			base = y + 0.44*g.row
			p.write(s.fit(second, regular, g.small, g.unit*9, width), x, base+18*g.unit, planQuiet, g.page)
		}
		p.write(s.fit(first, face, size, g.unit*9, width), x, base, ink, g.page)
	}
	column(r.Name, r.Player, medium, g.name, g.margin, g.names-14*g.unit)
	if len(r.Rivals) > 0 {
		g.choices(p, s, r, ink, right, y)
	} else {
		column(r.Says, r.More, regular, g.small, right, g.says-10*g.unit)
	}
	if r.State == SyncAbsent {
		b := box{g.left(0), y + 3*g.unit, right - 10*g.unit, y + g.row - 3*g.unit}
		p.hatch(b, 9*g.unit, planCanvas)
		p.write(s.fit(r.Note, regular, g.small, g.unit*9, b.w()-20*g.unit), b.x0+10*g.unit, y+0.62*g.row, planInk,
			g.page)
		return
	}
	for w := range o.Windows {
		g.trace(p, o.Windows[w], w, r.Traces[w], y, tint.hill, tint.onset)
		g.rivals(p, s, o, w, r.Traces[w], y, tint.onset)
	}
}

// trace draws a take in one window: the hill of its loudness, a stroke where
// a note begins, and a wedge at the clap.
func (g syncSheet) trace(p *picture, o SyncWindow, w int, t SyncTrace, y float64, hill, onset color.NRGBA) {
	b := box{g.left(w), y + 3*g.unit, g.left(w) + g.plot, y + g.row - 1*g.unit}
	height := func(v uint8) float64 { return b.y1 - b.h()*float64(v)/255 }
	step := func(k, n int) float64 { return b.x0 + b.w()*float64(k)/float64(max(1, n-1)) }
	// Translucent, so that the lines of the beats show through.
	hill.A = 215
	p.paint(b, inside(b), hill, func(n pen) {
		n.move(b.x0, b.y1)
		for k, v := range t.Hill {
			n.line(step(k, len(t.Hill)), height(v))
		}
		n.line(b.x1, b.y1)
		n.ClosePath()
	})
	thin := 0.6 * g.unit
	p.paint(b, inside(b), syncOther, func(n pen) {
		for k := 1; k < len(t.Other); k++ {
			if t.Other[k-1] == 0 && t.Other[k] == 0 {
				continue // silence needs no line
			}
			n.ribbon(b, step(k-1, len(t.Other)), height(t.Other[k-1]), step(k, len(t.Other)), height(t.Other[k]), thin)
		}
	})
	for _, e := range t.Onsets {
		if x := g.x(o, w, e.At); e.At >= o.From && e.At <= o.To {
			h := b.h() * (0.25 + 0.75*min(max(e.Strength, 0), 1))
			p.rect(box{x - 0.9*g.unit, b.y1 - h, x + 0.9*g.unit, b.y1}, onset)
		}
	}
	if len(t.Rivals) == 0 && t.Cue >= o.From && t.Cue <= o.To {
		x, d := g.x(o, w, t.Cue), 6*g.unit
		p.paint(box{x - d, b.y0, x + d, b.y0 + 1.4*d}, inside(b), planInk, func(n pen) {
			n.move(x-d, b.y0)
			n.line(x+d, b.y0)
			n.line(x, b.y0+1.4*d)
			n.ClosePath()
		})
	}
}
