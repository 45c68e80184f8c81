package assemble

import (
	"bytes"
	"errors"
	"fmt"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/layout/card"
	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// TestSyncIsIncremental: what has been measured is not measured again, a new
// take costs one take, and the picture is drawn anew only when it changes.
func TestSyncIsIncremental(t *testing.T) {
	findTool(t)
	dir := t.TempDir()
	for i, name := range []string{"late.wav", "early.wav", "third.wav"} {
		playSteadily(t, dir, name, 0.1*float64(i), 0.01*float64(i), 4, 1+2*i)
	}
	takes := func(names ...string) string {
		list := "takes:\n"
		for _, n := range names {
			list += fmt.Sprintf("  - {name: %s, audio: {file: intake/%s.wav}}\n", n, n)
		}
		return list
	}
	was := timingManifest[strings.Index(timingManifest, "takes:"):strings.Index(timingManifest, "mix:")]
	picture := filepath.Join(dir, "out", "sync.png")
	sync := func(list string) (SyncResult, []byte) {
		t.Helper()
		p := openTiming(t, dir, was, list)
		defer p.Close()
		r, err := p.Sync(t.Context(), false)
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(picture)
		if err != nil || len(r.PNG) != 1 || r.PNG[0] != picture {
			t.Fatalf("the picture: %v, %v", r.PNG, err)
		}
		return r, data
	}
	const perFile = 2 // decoding it and listening to it
	first, drawn := sync(takes("late", "early"))
	if first.Tasks != (TaskCount{Run: 2 * perFile}) {
		t.Errorf("two files: %+v", first.Tasks)
	}
	stamp := time.Date(2030, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := os.Chtimes(picture, stamp, stamp); err != nil {
		t.Fatal(err)
	}
	again, _ := sync(takes("late", "early"))
	if again.Tasks.Run != 0 || again.Tasks.Reused != 2*perFile {
		t.Errorf("nothing new: %+v", again.Tasks)
	}
	if info, err := os.Stat(picture); err != nil || !info.ModTime().Equal(stamp) {
		t.Errorf("an unchanged picture was written again (%v)", err)
	}
	if err := os.Remove(picture); err != nil {
		t.Fatal(err)
	}
	if _, got := sync(takes("late", "early")); !bytes.Equal(got, drawn) {
		t.Error("the same picture has other bytes")
	}
	more, redrawn := sync(takes("late", "early", "third"))
	if more.Tasks.Run != perFile || more.Tasks.Reused != 2*perFile {
		t.Errorf("one take more: %+v", more.Tasks)
	}
	if bytes.Equal(redrawn, drawn) {
		t.Error("a take more, and the picture is the same")
	}
	moved, other := sync(strings.Replace(takes("late", "early", "third"), "early.wav", "early.wav, cue_at: 5", 1))
	if moved.Tasks.Run != 0 || bytes.Equal(other, redrawn) {
		t.Errorf("another cue_at: %+v, the same picture: %v", moved.Tasks, bytes.Equal(other, redrawn))
	}
}

// More takes than one picture holds make pages, and pages that are no longer
// needed go.
func TestSyncPages(t *testing.T) {
	findTool(t)
	dir := t.TempDir()
	writePings(t, filepath.Join(dir, "intake", "short.wav"), 2, []ping{{1, 440, 0.3}})
	for _, c := range []struct{ takes, pages int }{{card.MaxSyncRows + 1, 2}, {3, 1}} {
		list := ""
		for i := range c.takes {
			list += fmt.Sprintf("  - {name: t%d, player: 山 %d, audio: {file: intake/short.wav, offset: 8}}\n", i, i)
		}
		p := openTest(t, dir, strings.Replace(timingManifest, timingManifest[strings.Index(timingManifest, "  - "):strings.Index(timingManifest, "mix:")], list, 1))
		r, err := p.Sync(t.Context(), false)
		if err != nil {
			t.Fatal(err)
		}
		p.Close()
		if len(r.PNG) != c.pages {
			t.Errorf("%d takes on %d pages: %q", c.takes, len(r.PNG), r.PNG)
		}
		for _, path := range r.PNG {
			f, err := os.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := png.DecodeConfig(f); err != nil {
				t.Errorf("%s: %v", path, err)
			}
			f.Close()
		}
		if _, err := os.Stat(filepath.Join(dir, "out", "sync-2.png")); errors.Is(err, fs.ErrNotExist) != (c.pages == 1) {
			t.Errorf("%d pages, and of the second: %v", c.pages, err)
		}
	}
}

// parseTempo reads a manifest's tempo.
func parseTempo(t *testing.T, lines string) *tempo.Map {
	t.Helper()
	m, err := manifest.Parse(filepath.Join(t.TempDir(), manifest.FileName), []byte("version: 1\ntitle: x\ntempo:\n"+lines))
	if err != nil {
		t.Fatal(err)
	}
	return m.Tempo
}

// The picture shows the clap, and the first, the middle and the last measure,
// each with the beats that are really there.
func TestSyncWindows(t *testing.T) {
	for _, c := range []struct {
		name, tempo string
		titles      string
		texts       string // of the last window
	}{
		{"usual", "  count_in: {measures: 4}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 9\n",
			"the clap, measure 1, measure 5, measure 9", "4 m9 2 3"},
		{"no count-in", "  count_in: {measures: 0}\n  changes: [{measure: 1, meter: 3/4, bpm: 90}]\n  measures: 3\n",
			"measure 1, measure 2, measure 3", "3 m3 2 3"},
		{"two measures", "  count_in: {measures: 2}\n  changes: [{measure: 1, meter: 2/4, bpm: 90}]\n  measures: 2\n",
			"the clap, measure 1, measure 2", "2 m2 2"},
		{"pick-up", "  pick_up: 1\n  changes: [{measure: 1, meter: 4/4, bpm: 60}]\n  measures: 1\n",
			"the clap, measure 1", "4 m1 2 3"},
	} {
		m := parseTempo(t, c.tempo)
		windows := syncWindows(m)
		var titles, texts []string
		for _, w := range windows {
			titles = append(titles, w.Title)
		}
		last := windows[len(windows)-1]
		for _, l := range last.Lines {
			texts = append(texts, l.Text)
			if l.Bold != strings.HasPrefix(l.Text, "m") {
				t.Errorf("%s: line %q is bold: %v", c.name, l.Text, l.Bold)
			}
		}
		if got := strings.Join(titles, ", "); got != c.titles {
			t.Errorf("%s: windows %q, want %q", c.name, got, c.titles)
		}
		if got := strings.Join(texts, " "); got != c.texts {
			t.Errorf("%s: lines %q, want %q", c.name, got, c.texts)
		}
	}
}

// What is drawn of a take is where the placement says, whatever its clock, and
// a row says what is known of it.
func TestSyncRows(t *testing.T) {
	m := parseTempo(t, "  count_in: {measures: 4}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 9\n")
	p := &Production{Session: session.New(Settings{}, &manifest.Production{Title: "x", Tempo: m, Takes: []manifest.Take{{Name: "oboe", Player: "Mara 山"}}}, nil)}
	// A file at guide time −3 whose clock is 500 ppm slow: clap at guide time
	// 4, notes at 8 (m1) and 24 (m9).
	const offset, ratio = -3.0, 1.0005
	f := &align.Features{LoudDB: -20, NoiseDB: -90, Level: make([]uint8, 6000)}
	for _, guide := range []float64{4, 8, 24} {
		at := (guide - offset) / ratio
		f.Events = append(f.Events, align.Event{Time: at, Strength: 15, Level: -18})
		for k := range 10 {
			f.Level[int(at*100)+k] = 200 // −20 dBFS
		}
	}
	rec := func(role string, set func(*located)) located {
		l := located{recording: &recording{owner: "oboe", role: role, file: &manifest.File{Path: "intake/mara.wav"}, info: media.Info{Duration: 60}}}
		l.place = align.Placement{Method: "cue+playing", Sure: true, Confidence: 0.99, Offset: offset, DriftPPM: (ratio - 1) * 1e6,
			CueAt: (4 - offset) / ratio, Lateness: -0.012}
		if set != nil {
			set(&l)
		}
		return l
	}
	row := func(recs ...located) card.SyncRow {
		e := evidence{p: p, all: recs, features: map[string]*align.Features{"oboe/audio": f}, windows: syncWindows(m)}
		return e.rows()[0]
	}
	r := row(rec(roleAudio, nil), rec(roleVideo, func(l *located) { l.err = errors.New("cut off") }))
	if r.State != card.SyncSure || r.Says != "sure 0.99" || r.More != "plays 12 ms early" || r.Player != "Mara ?" {
		t.Errorf("%+v", r)
	}
	for w, want := range map[int]float64{0: 4, 1: 8, 3: 24} {
		tr := r.Traces[w]
		if len(tr.Onsets) != 1 || math.Abs(tr.Onsets[0].At-want) > 1e-9 || tr.Onsets[0].Strength < 0.9 {
			t.Errorf("window %d: onsets %v, want one at %v", w, tr.Onsets, want)
		}
		win := syncWindows(m)[w]
		k := slices.Index(tr.Hill, slices.Max(tr.Hill))
		at := win.From + (win.To-win.From)*float64(k)/float64(len(tr.Hill)-1)
		if slices.Max(tr.Hill) < 250 || math.Abs(at-want) > 0.012 || tr.Hill[0] != 0 {
			t.Errorf("window %d: the hill begins at %.3f, want %v", w, at, want)
		}
	}
	if math.Abs(r.Traces[0].Cue-4) > 1e-9 || len(r.Traces[2].Onsets) != 0 {
		t.Errorf("cue at %v, in measure 5 %v", r.Traces[0].Cue, r.Traces[2].Onsets)
	}
	at := 3.0
	for _, c := range []struct {
		set   func(*located)
		state card.SyncState
		says  string
	}{
		{func(l *located) { l.place.Sure, l.place.Confidence = false, 0.61 }, card.SyncAsks, "asks you 0.61"},
		{func(l *located) { l.file.CueAt = &at }, card.SyncGiven, "by hand"},
		{func(l *located) { l.err = errors.New("cut off") }, card.SyncAbsent, "unreadable"},
		{func(l *located) { l.place.Method = "none" }, card.SyncAbsent, "asks you"},
		{func(l *located) { l.role = roleVideo }, card.SyncAbsent, "no sound"},
	} {
		if r := row(rec(roleAudio, c.set)); r.State != c.state || r.Says != c.says || (r.Note == "") != (r.State != card.SyncAbsent) {
			t.Errorf("want %q: %q, %q, state %d", c.says, r.Says, r.Note, r.State)
		}
	}
}

// The clap of a re-take, which lies elsewhere in guide time, is drawn where the
// others clap.
func TestSyncRowOfARetake(t *testing.T) {
	p := openRetakes(t, "  - {name: by-cue, guide: again, audio: {file: intake/again.wav, cue_at: 4.7}}\n")
	playAgain(t, p)
	all, h, err := p.listen(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	rows := evidence{p: p, all: all, features: h.features, windows: syncWindows(p.Manifest().Tempo)}.rows()
	i := slices.IndexFunc(rows, func(r card.SyncRow) bool { return r.Name == "by-cue" })
	if i < 0 {
		t.Fatalf("no row in %+v", rows)
	}
	tr := rows[i].Traces[0]
	// The cue of four measures of count-in is the first beat of the third, at
	// guide time 4; the re-take's own is at 12.
	if rows[i].State != card.SyncGiven || math.Abs(tr.Cue-4) > 1e-6 || len(tr.Onsets) == 0 || math.Abs(tr.Onsets[0].At-4) > 0.01 {
		t.Errorf("state %d, cue at %v, onsets %v", rows[i].State, tr.Cue, tr.Onsets)
	}
}

// TestTheScorePlacesAPart: even quarters without a clap lie anywhere, until the
// part of the same name says where they rest.
func TestTheScorePlacesAPart(t *testing.T) {
	for _, scored := range []bool{true, false} {
		p := openReview(t)
		p.Manifest().Takes[0].Audio.Offset = nil
		if !scored {
			p.Manifest().Takes[0].Part = "Oboe 2"
		}
		all, err := p.locate(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got := all[0].place
		if said := slices.Contains(got.Evidence, "the notes begin where the score has them"); said != scored {
			t.Errorf("score %v: %+v", scored, got)
		}
		if scored && math.Abs(got.Offset+1) > 0.02 {
			t.Errorf("the oboe lies at %.3f, want -1: %+v", got.Offset, got)
		}
		if !scored && got.Sure {
			t.Errorf("sure without a clap and without a score: %+v", got)
		}
	}
}
