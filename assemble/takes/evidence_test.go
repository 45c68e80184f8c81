package takes

import (
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/layout/card"
	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// parseTempo reads a manifest's tempo.
func parseTempo(t *testing.T, lines string) *tempo.Map {
	t.Helper()
	m, err := manifest.Parse(filepath.Join(t.TempDir(), manifest.FileName),
		[]byte("version: 1\ntitle: x\ntempo:\n"+lines))
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
	man := &production.Production{Title: "x", Tempo: m, Takes: []production.Take{{Name: "oboe", Player: "Mara 山"}}}
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
	rec := func(role Role, set func(*Recording)) *Recording {
		l := &Recording{Owner: "oboe", Role: role, File: &production.File{Path: "intake/mara.wav"},
			Info: media.Info{Duration: 60}}
		if role == Audio {
			l.Features = f
		}
		l.Place = align.Placement{Method: "cue+playing", Sure: true, Confidence: 0.99, Offset: offset,
			DriftPPM: (ratio - 1) * 1e6,
			CueAt:    (4 - offset) / ratio, Lateness: -0.012}
		if set != nil {
			set(l)
		}
		return l
	}
	row := func(audio, video *Recording) card.SyncRow {
		e := evidence{man: man, takes: []Take{{Take: &man.Takes[0], Audio: audio, Video: video}},
			windows: syncWindows(m)}
		return e.rows()[0]
	}
	r := row(rec(Audio, nil), rec(Video, func(l *Recording) { l.Err = errors.New("cut off") }))
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
		set   func(*Recording)
		state card.SyncState
		says  string
	}{
		{func(l *Recording) { l.Place.Sure, l.Place.Confidence = false, 0.61 }, card.SyncAsks, "needs review"},
		{func(l *Recording) { l.File.CueAt = &at }, card.SyncGiven, "by hand"},
		{func(l *Recording) { l.Err = errors.New("cut off") }, card.SyncAbsent, "unreadable"},
		{func(l *Recording) { l.Place.Method = "none" }, card.SyncAbsent, "needs review"},
		{func(l *Recording) { l.Features = nil }, card.SyncAbsent, "no sound"},
	} {
		if r := row(rec(Audio, c.set), nil); r.State != c.state || r.Says != c.says ||
			(r.Note == "") != (r.State != card.SyncAbsent) {
			t.Errorf("want %q: %q, %q, state %d", c.says, r.Says, r.Note, r.State)
		}
	}
}

// A take that needs review shows the places to choose from, in guide time as it is
// drawn and in words; one that is sure shows none, though it has some.
func TestSyncRowOfRivals(t *testing.T) {
	m := parseTempo(t, "  count_in: {measures: 4}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 9\n")
	man := &production.Production{Title: "x", Tempo: m, Takes: []production.Take{{Name: "horn-2"}}}
	r := &Recording{Owner: "horn-2", Role: Audio, File: &production.File{Path: "intake/horn.wav"},
		Features: &align.Features{LoudDB: -20, NoiseDB: -90, Level: make([]uint8, 3000)}}
	r.Place = align.Placement{Method: "cue", Confidence: 0.88, Offset: -8.34, CueAt: 12.34, Lateness: 0.01,
		Candidates: []align.Candidate{
			{Offset: -8.34, At: 12.34, ByCue: true, Odds: 0.88}, {Offset: -5.94, At: 9.94, ByCue: true,
				Odds: 0.11}, {At: 1, Odds: 0.001},
		}}
	e := evidence{man: man, takes: []Take{{Take: &man.Takes[0], Audio: r}}, windows: syncWindows(m)}
	row := e.rows()[0]
	if want := []string{"1: clap at 12.34 s (88 %)", "2: 9.94 s (11 %)"}; row.State != card.SyncAsks ||
		!slices.Equal(row.Rivals, want) || row.More != "" {
		t.Errorf("state %d, %q, %q, want %q", row.State, row.More, row.Rivals, want)
	}
	for w, tr := range row.Traces {
		if len(tr.Rivals) != 2 || math.Abs(tr.Rivals[0]-4) > 1e-9 || math.Abs(tr.Rivals[1]-1.6) > 1e-9 {
			t.Errorf("window %d: places at %v, want 4 and 1.6", w, tr.Rivals)
		}
	}
	if o := e.page([]card.SyncRow{row}, 0, 1); !strings.Contains(o.Summary, "numbers:") {
		t.Errorf("the legend does not speak of numbers: %s", o.Summary)
	}
	r.Place.Sure = true
	row = e.rows()[0]
	if o := e.page([]card.SyncRow{row}, 0, 1); row.Rivals != nil || row.Traces[0].Rivals != nil ||
		strings.Contains(o.Summary, "numbers") {
		t.Errorf("a sure take has places to choose from: %+v", row)
	}
}

// The clap of a re-take, which lies elsewhere in guide time, is drawn where the
// others clap.
func TestSyncRowOfARetake(t *testing.T) {
	man, err := manifest.Parse("production.yaml", []byte(`version: 1
title: x
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 9
guide:
  variants: [{name: again, from: m5, to: m7}]
takes: [{name: by-cue, guide: again, audio: {file: intake/again.wav, cue_at: 4.7}}]
`))
	if err != nil {
		t.Fatal(err)
	}
	m, shift := guideOf(man, "again")
	clap := m.Cue() + shift // guide time of the re-take's own cue
	if math.Abs(clap-4) < 1 {
		t.Fatalf("the re-take claps at %v, as the others do", clap)
	}
	r := &Recording{Owner: "by-cue", Role: Audio, File: man.Takes[0].Audio, Features: &align.Features{
		LoudDB: -20, NoiseDB: -90, Level: make([]uint8, 3000), Events: []align.Event{{Time: 4.7, Strength: 15,
			Level: -18}},
	}}
	r.Place = align.Placement{Method: "cue given", Sure: true, Confidence: 1, Offset: clap - 4.7, CueAt: 4.7,
		Lateness: math.NaN()}
	row := evidence{man: man, takes: []Take{{Take: &man.Takes[0], Audio: r}}, windows: syncWindows(man.Tempo)}.rows()[0]
	// The cue of four measures of count-in is the first beat of the third, at
	// guide time 4.
	tr := row.Traces[0]
	if row.State != card.SyncGiven || math.Abs(tr.Cue-4) > 1e-6 || len(tr.Onsets) == 0 ||
		math.Abs(tr.Onsets[0].At-4) > 0.01 {
		t.Errorf("state %d, cue at %v, onsets %v", row.State, tr.Cue, tr.Onsets)
	}
}
