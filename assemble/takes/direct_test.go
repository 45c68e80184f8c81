package takes

import (
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix/align"
	"ripieno/mix/playing"
	"ripieno/mix/tempo/score"
)

// scored returns a production of four measures of 4/4 at 120, 2 s each, that begin at
// guide time 4, with a score of two parts.
func scored(t *testing.T, takes string) *production.Production {
	t.Helper()
	man, err := manifest.Parse(filepath.Join(t.TempDir(), manifest.FileName), []byte(`version: 1
title: x
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
`+takes))
	if err != nil {
		t.Fatal(err)
	}
	onset := func(quarter float64, note int) score.Onset { return score.Onset{Quarter: quarter, Note: note} }
	man.Score = &score.Score{Parts: []score.Part{
		{Name: "Oboe", Onsets: []score.Onset{onset(0, 72), onset(4, 74), onset(12, 76)}}, // measures 1, 2, 4
		{Name: "Cello", Onsets: []score.Onset{onset(0, 48), onset(8, 50)}},               // measures 1, 3
	}}
	return man
}

func TestStartsOfMeasures(t *testing.T) {
	man := scored(t, "  - {name: a, audio: {file: a.wav}}\n")
	if got := MeasureStarts(man); !slices.Equal(got, []float64{4, 6, 8, 10, 12}) {
		t.Errorf("%v", got)
	}
}

// Who plays when is what the score says where it knows the part, and nothing for a take
// that is neither in it nor heard; takes that are withheld are not even named.
func TestDirectedByTheScore(t *testing.T) {
	man := scored(t, `  - {name: oboe-1, part: Oboe, section: winds, video: {file: a.mov}}
  - {name: cello, part: cello., audio: {file: b.wav}}
  - {name: drum, part: Drum, audio: {file: c.wav}}
  - {name: horn, part: Horn, release: no, video: {file: d.mov}}
  - {name: tuba, part: Tuba, expected: true}
`)
	s := &Set{}
	for i := range man.Takes {
		s.Takes = append(s.Takes, Take{Take: &man.Takes[i]})
	}
	s.Takes[0].Video = &Recording{Role: Video, Info: media.Info{Video: &media.Video{}}}
	players, starts, byScore, err := s.Directed(man, task.Result{})
	if err != nil || len(starts) != 5 || byScore != 2 {
		t.Fatalf("%v by score, %v, %v", byScore, starts, err)
	}
	var got []string
	for _, p := range players {
		got = append(got, fmt.Sprint(p.Take, " ", p.Plays, " ", p.Shown))
	}
	want := []string{"oboe-1 [true true false true] true", "cello [true false true false] false",
		"drum [false false false false] false", "tuba [false false false false] true"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if players[0].Section != "winds" {
		t.Errorf("the oboe is of %q", players[0].Section)
	}
	if n := players[0].Notes; len(n) != 3 || n[1].At != 6 || n[1].Pitch != 74 || !math.IsNaN(n[1].Level) {
		t.Errorf("the oboe plays %v; a score says nothing of levels", n)
	}
	if edges := s.Listens(man); len(edges) != 0 {
		t.Errorf("%d takes are listened to, and none has a place", len(edges))
	}
}

// A take's notes of the score are those within its own part of the piece: trims cut
// them, mutes are quiet, and edges of the film cut nothing.
func TestTakesAsTheyShouldPlay(t *testing.T) {
	man := scored(t, `  - {name: whole, part: Oboe, audio: {file: a.wav}}
  - {name: trimmed, part: Oboe, trim: {from: m2, to: m4}, audio: {file: b.wav}}
  - {name: quiet, part: "OBOE!", mutes: [{from: m2, to: m3}, {from: start, to: m1}, {from: m4, to: end}], audio: {file: c.wav}}
  - {name: other, part: Oboe 2, audio: {file: d.wav}}
`)
	notes := func(i int) string {
		var all []string
		for _, n := range expectPlaying(man, &man.Takes[i]).Score {
			all = append(all, fmt.Sprintf("%g:%d", n.At, n.MIDI))
		}
		return fmt.Sprint(all)
	}
	for i, want := range []string{"[4:72 6:74 10:76]", "[6:74]", "[4:72 6:74 10:76]", "[]"} {
		if got := notes(i); got != want {
			t.Errorf("%s has the notes %s, want %s", man.Takes[i].Name, got, want)
		}
	}
	if p := expectPlaying(man, &man.Takes[0]); p.From != 4 || p.To != 12 || p.Quiet != nil || p.Part != "oboe" ||
		p.Name != "whole" {
		t.Errorf("%+v", p)
	}
	if p := expectPlaying(man, &man.Takes[1]); p.From != 6 || p.To != 10 {
		t.Errorf("%+v", p)
	}
	inf := math.Inf(1)
	if p := expectPlaying(man, &man.Takes[2]); !slices.Equal(p.Quiet,
		[]playing.Span{{From: 6, To: 8}, {From: -inf, To: 4},
			{From: 10, To: inf}}) {
		t.Errorf("quiet %+v", p.Quiet)
	}
}

// A note that is heard has the pitch of the tone that sounds within 0.15 s of it, and
// none where no tone is steady; what is 30 dB below the loudest is somebody else.
func TestNotesAsHeard(t *testing.T) {
	r := &Recording{Place: align.Placement{Offset: -2}, Features: &align.Features{LoudDB: -10, Events: []align.Event{
		{Time: 1, Heard: 1.01, Level: -12},
		{Time: 2, Heard: 2.02, Level: -20},
		{Time: 2.5, Heard: 2.5, Level: -41}, // too soft
		{Time: 3, Heard: 3, Level: -40},
		{Time: 4, Heard: 4, Level: -12},
	}}}
	tones := &playing.Tones{Steady: []playing.Tone{{From: 1.1, To: 1.9, Note: 60}, {From: 2.2, To: 2.9, Note: 62},
		{From: 2.95, To: 3.5, Note: 64}}}
	var got []string
	for _, n := range heardNotes(r, tones) {
		got = append(got, fmt.Sprintf("%.2f:%v:%v", n.At, n.Pitch, n.Level))
	}
	if want := "[-0.99:60:-12 0.02:NaN:-20 1.00:64:-40 2.00:NaN:-12]"; fmt.Sprint(got) != want {
		t.Errorf("%v, want %s", got, want)
	}
	if got := heardNotes(&Recording{Features: &align.Features{}}, &playing.Tones{}); got != nil {
		t.Errorf("of silence: %v", got)
	}
}

// Names of parts are told apart by letters and figures alone.
func TestNamesOfParts(t *testing.T) {
	for in, want := range map[string]string{"Oboe": "oboe", "  OBOE. ": "oboe", "Violin I": "violin i",
		"violin-i": "violin i", "Cor anglais": "cor anglais", "": "", "…": "", "Flöte 2": "flöte 2", "第一": "第一"} {
		if got := partName(in); got != want {
			t.Errorf("%q is %q, want %q", in, got, want)
		}
	}
}

// The roles of a piece by its score are those that direct finds in the same players; another score
// gives another key, and who is withheld has no place among the roles.
func TestTurnsByTheScore(t *testing.T) {
	man := scored(t, `  - {name: oboe, part: Oboe, audio: {file: a.wav}}
  - {name: horn, part: Horn, release: no, video: {file: d.mov}}
  - {name: cello, part: Cello, audio: {file: b.wav}}
`)
	s := &Set{}
	for i := range man.Takes {
		s.Takes = append(s.Takes, Take{Take: &man.Takes[i]})
	}
	turns := s.Turns(man)
	path := filepath.Join(t.TempDir(), "roles.gob")
	if err := turns.Task().Make(t.Context(), nil, path, nil); err != nil {
		t.Fatal(err)
	}
	got, err := store.Load[[]direct.Turn](path)
	if err != nil {
		t.Fatal(err)
	}
	players, starts, _, err := s.Directed(man, task.Result{})
	if err != nil || len(players) != 2 {
		t.Fatal(players, err)
	}
	if want := direct.Roles(players, starts); len(got) == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if again := s.Turns(man); again.Action().ID() != turns.Action().ID() {
		t.Error("the same roles have two keys")
	}
	man.Score.Parts[1].Onsets[0].Note = 49
	if other := s.Turns(man); other.Action().ID() == turns.Action().ID() {
		t.Error("another score has the same key")
	}
}
