package takes

import (
	"context"
	"errors"
	"fmt"
	"image/png"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/layout/card"
	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// evidenceRule is the version of the picture of where takes lie.
const evidenceRule = 1

// Draw draws where all takes lie, for a person to judge: out/sync.png, and further pages
// where there are more takes than one picture holds. It returns their paths. Drawings
// are kept in the store; what has not changed is not drawn again. It fails when ctx ends
// or a page cannot be written.
func (s *Set) Draw(ctx context.Context, x *session.Session) ([]string, error) {
	e := evidence{man: x.Manifest(), takes: s.Takes, windows: syncWindows(x.Manifest().Tempo)}
	rows := e.rows()
	pages := (len(rows) + card.MaxSyncRows - 1) / card.MaxSyncRows
	var paths []string
	for k := range pages {
		path, err := x.OutFile(syncPage(k))
		if err != nil {
			return nil, err
		}
		// Pages are equally full.
		o := e.page(rows[k*len(rows)/pages:(k+1)*len(rows)/pages], k, pages)
		if err := deliverSync(ctx, x, o, path); err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, dropPages(x, pages)
}

// FirstPage is the name of the first page among the outputs.
var FirstPage = syncPage(0)

// syncPage returns the name of a page, from 0.
func syncPage(k int) string {
	if k == 0 {
		return "sync.png"
	}
	return fmt.Sprintf("sync-%d.png", k+1)
}

// dropPages removes pages of an earlier, longer picture. It ends at the first page
// that is not there.
func dropPages(x *session.Session, pages int) error {
	for k := pages; ; k++ {
		path, err := x.Out(syncPage(k))
		if err != nil {
			return err
		}
		if err := os.Remove(path); errors.Is(err, fs.ErrNotExist) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// deliverSync draws a page if it is not in the store, and brings it to path.
func deliverSync(ctx context.Context, x *session.Session, o card.SyncOptions, path string) error {
	key := store.NewAction("sync picture").Version(evidenceRule).
		Input("content", store.HashBytes([]byte(describeSync(o)))).Ext(".png").For("sync.png")
	_, err := x.Store().Put(ctx, key, func(tmp string) error {
		img, err := card.Sync(o)
		if err != nil {
			return err
		}
		return media.WritePNG(tmp, img, png.DefaultCompression)
	})
	if err != nil {
		return err
	}
	_, err = x.Store().Deliver(ctx, key, path)
	return err
}

// evidence is what the picture is drawn from.
type evidence struct {
	man     *production.Production
	takes   []Take
	windows []card.SyncWindow
}

// page returns the drawing of some rows.
func (e evidence) page(rows []card.SyncRow, k, pages int) card.SyncOptions {
	o := card.SyncOptions{
		Title: drawable(e.man.Title) + " · where the takes lie", Windows: e.windows, Rows: rows,
		Summary: "lines: beats of the guide · strokes: notes begin · hills: how loud · wedge: the clap · " +
			"yellow: the player's second device · blue: sure · red: needs review · green: placed by hand",
	}
	if slices.ContainsFunc(rows, func(r card.SyncRow) bool { return len(r.Rivals) > 0 }) {
		o.Summary += " · numbers: where clap or first note may be, with seconds of the file"
	}
	if pages > 1 {
		o.Title += fmt.Sprintf(" · page %d of %d", k+1, pages)
	}
	return o
}

// Windows of the picture reach so many beats before and after their beat: one
// whole beat on both sides can be seen, in which a take may be off.
const beatsBefore, beatsAfter = 1.5, 2.5

// Moment is a beat at which takes are held against each other, and what people call it.
type Moment struct {
	Title string
	Beat  tempo.Beat
}

// Moments returns the beats at which takes are held against each other, in order of time:
// the cue, and the downbeats of the first measure, the one in the middle and the last,
// each once in a short piece. Without a count-in there is no cue.
func Moments(m *tempo.Map) []Moment {
	last := m.Measures()
	var list []Moment
	seen := map[int]bool{}
	for b := range m.Beats() {
		switch {
		case b.Cue:
			list = append(list, Moment{"the clap", b})
		case b.CountIn || !b.Downbeat || seen[b.Measure]:
		case b.Measure == 1 || b.Measure == (last+2)/2 || b.Measure == last:
			seen[b.Measure] = true
			list = append(list, Moment{"measure " + m.Label(b.Measure), b})
		}
	}
	return list
}

// syncWindows returns the stretches round the [Moments] that the picture shows, in guide
// time, each with its beats.
func syncWindows(m *tempo.Map) []card.SyncWindow {
	var windows []card.SyncWindow
	for _, at := range Moments(m) {
		b := at.Beat
		w := card.SyncWindow{Title: at.Title, From: b.Seconds - beatsBefore*b.Length,
			To: b.Seconds + beatsAfter*b.Length}
		for l := range m.Beats() {
			if l.Seconds >= w.From && l.Seconds <= w.To {
				w.Lines = append(w.Lines, beatLine(m, l))
			}
		}
		windows = append(windows, w)
	}
	return windows
}

// beatLine returns a beat as a line.
func beatLine(m *tempo.Map, b tempo.Beat) card.SyncLine {
	l := card.SyncLine{At: b.Seconds, Text: fmt.Sprint(b.Number), Bold: b.Downbeat}
	switch {
	case b.Cue:
		l.Text, l.Bold = "cue", true
	case b.Downbeat && b.CountIn:
		l.Text = fmt.Sprintf("count-in %d", b.Measure)
	case b.Downbeat:
		l.Text = "m" + m.Label(b.Measure)
	}
	return l
}

// rows returns the takes that have a file, in the order of their seats.
func (e evidence) rows() []card.SyncRow {
	var rows []card.SyncRow
	for _, t := range e.takes {
		if recs := t.Recordings(); len(recs) > 0 {
			rows = append(rows, e.row(t, recs))
		}
	}
	return rows
}

// row returns one take: the recording that is heard, and the other device of the
// player.
func (e evidence) row(t Take, recs []*Recording) card.SyncRow {
	row := card.SyncRow{Name: t.Name, Player: drawable(t.PublicName()), State: card.SyncAbsent, Says: "not placed"}
	main, other := -1, -1
	for i, l := range recs {
		switch {
		case l.Err != nil:
			row.Note, row.Says = t.PublicFile(l.Role, l.File.Path)+" cannot be used", "unreadable"
		case l.Features == nil:
			if row.Note == "" {
				row.Note, row.Says = t.PublicFile(l.Role, l.File.Path)+" has no sound", "no sound"
			}
		case l.Place.Method == align.NoMethod && l.Err == nil:
			row.Note = t.PublicFile(l.Role, l.File.Path) + ": nothing in it tells where it lies; give cue_at"
			row.Says = "needs review"
		// The separate microphone is the main one where there is one; the other is
		// drawn behind it.
		case main < 0 || l.Role == Audio:
			main, other = i, main
		default:
			other = i
		}
	}
	if main < 0 {
		row.Note = drawable(row.Note)
		return row
	}
	l := recs[main]
	row.State, row.Note = card.SyncSure, ""
	row.Says = fmt.Sprintf("sure %.2f", l.Place.Confidence)
	switch {
	case !l.Place.Sure:
		row.State, row.Says = card.SyncAsks, "needs review"
		for i, text := range l.Place.Choices() {
			row.Rivals = append(row.Rivals, fmt.Sprintf("%d: %s", i+1, text))
		}
	case l.File.Offset != nil || l.File.CueAt != nil:
		row.State, row.Says = card.SyncGiven, "by hand"
	}
	if len(row.Rivals) == 0 && !math.IsNaN(l.Place.Lateness) {
		row.More = lateness(l.Place)
	}
	if n := len(l.Parts); n > 1 && len(row.Rivals) == 0 {
		row.More = strings.TrimPrefix(fmt.Sprintf("%s, in %d parts", row.More, n), ", ")
	}
	for w := range e.windows {
		tr := e.trace(t, l, w)
		if other >= 0 {
			tr.Other = e.trace(t, recs[other], w).Hill
		}
		row.Traces = append(row.Traces, tr)
	}
	return row
}

// drawable returns a text with a question mark for what the font cannot draw: this
// picture is not worth failing for.
func drawable(text string) string {
	missing := card.Missing(text)
	return strings.Map(func(r rune) rune {
		if slices.Contains(missing, r) {
			return '?'
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
}

// lateness says how late a player plays and what became of it.
func lateness(p align.Placement) string {
	word := "late"
	if p.Lateness < 0 {
		word = "early"
	}
	ms := math.Round(math.Abs(1000 * p.Lateness))
	if ms == 0 {
		return "plays with the clap"
	}
	text := fmt.Sprintf("plays %.0f ms %s", ms, word)
	if p.Kept != 0 {
		text += ", kept"
	}
	return text
}

// hillStep is how far apart the values of a hill are, seconds: what is heard
// is kept every 10 ms.
const hillStep = 0.005

// trace returns what is heard of a recording in a window. The traces of all takes
// have the same scale of time and each its own of loudness, since takes are held
// against each other by when and not by how loud.
func (e evidence) trace(t Take, l *Recording, w int) card.SyncTrace {
	f, pl, win := l.Features, l.Place, e.windows[w]
	clap := e.man.Tempo.Cue()
	shift := 0.0
	if m, s := guideOf(e.man, t.Guide); w == 0 && !math.IsNaN(clap) && m != e.man.Tempo {
		// A re-take has a clap of its own, which is shown where the others'
		// is.
		shift = m.Cue() + s - clap
	}
	clock := pl.Clock()
	file := func(guide float64) float64 { return clock.File(guide + shift) }
	tr := card.SyncTrace{Cue: clock.Guide(pl.CueAt) - shift} // NaN stays NaN
	for _, c := range pl.Rivals() {
		tr.Rivals = append(tr.Rivals, clock.Guide(c.At)-shift)
	}
	n := int((win.To-win.From)/hillStep) + 1
	level := func(k int) float64 { return f.LevelAt(file(win.From + (win.To-win.From)*float64(k)/float64(n-1))) }
	loud := f.LoudDB - 18 // silence is not blown up to fill the window
	for k := range n {
		loud = max(loud, level(k))
	}
	// The square root of the amplitude, so that soft notes stay visible, above
	// what the room sounds like anyway.
	size := func(db float64) float64 { return math.Pow(10, (db-loud)/40) }
	floor := min(size(f.NoiseDB+4), 0.8)
	for k := range n {
		tr.Hill = append(tr.Hill, uint8(255*max(0, size(level(k))-floor)/(1-floor)))
	}
	for _, ev := range f.Events {
		at := clock.Guide(ev.Time) - shift
		strength := math.Min(1, ev.Strength/12) * math.Min(1, size(ev.Level))
		if at >= win.From && at <= win.To && strength > 0.05 {
			tr.Onsets = append(tr.Onsets, card.SyncOnset{At: at, Strength: strength})
		}
	}
	return tr
}
