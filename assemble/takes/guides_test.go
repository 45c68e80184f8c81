package takes

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/align/simulate"
	"ripieno/mix/tempo"
)

// guidesManifest is a piece at so many beats a minute, whose last measures are
// recorded once more.
const guidesManifest = `version: 1
title: Round
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: %g}, {measure: 9, bpm: %g}], measures: 16}
guide: {variants: [{name: end, from: m9}]}
takes:
  - {name: a, audio: {file: a.wav}}
  - {name: b, audio: {file: b.wav}}
  - {name: c, audio: {file: c.wav}}
  - {name: again, guide: end, audio: {file: again.wav}}
`

func parse(t *testing.T, dir string, bpm, end float64) *production.Production {
	t.Helper()
	man, err := manifest.Parse(filepath.Join(dir, manifest.FileName), fmt.Appendf(nil, guidesManifest, bpm, end))
	if err != nil {
		t.Fatal(err)
	}
	return man
}

// placedAt returns the takes of a manifest as they would be placed, each with the tempo
// over its guide's that it fits far better.
func placedAt(man *production.Production, other ...float64) *Set {
	s := &Set{}
	for i, x := range other {
		take := &man.Takes[i]
		s.Takes = append(s.Takes, Take{Take: take, Audio: &Recording{
			Owner: take.Name, Role: Audio, File: take.Audio, Info: media.Info{Audio: &media.Audio{Rate: 48000}},
			Place: align.Placement{Sure: x == 0, OtherTempo: x},
		}})
	}
	return s
}

// record writes what was made of a manifest.
func record(t *testing.T, dir string, of ...*production.Production) {
	t.Helper()
	var made manifest.Made
	for _, man := range of {
		v := man.Guide.Variants[0]
		made.Add(manifest.MadeGuide{Guide: "guide", Spec: man.Tempo.Spec()})
		made.Add(manifest.MadeGuide{Guide: "guide-end", From: v.From, To: v.To - 1, Spec: v.Tempo.Spec()})
	}
	if err := os.WriteFile(filepath.Join(dir, manifest.MadeName), made.Encode(), 0o666); err != nil {
		t.Fatal(err)
	}
}

// A take that fits the tempo of a guide made before was played to that, and a
// re-take is held against the guides of its own part only: its part goes at 60
// and went at 57, while the piece in the mean went otherwise.
func TestTakesArePlayedToAGuideOfBefore(t *testing.T) {
	dir := t.TempDir()
	before, now := parse(t, dir, 104, 57), parse(t, dir, 120, 60)
	record(t, dir, before, now)
	piece := speed(before) / speed(now)
	s := placedAt(now, piece*1.005, 0, piece*0.992, 0.95)
	s.compareGuides(now)
	const said = "an older guide-end.wav was made with 57 bpm; production.yaml now says 60 bpm; takes played to " +
		"it: again"
	if len(s.Guides) != 2 || !slices.Equal(s.Guides[0].Takes, []string{"a"}) || !s.Guides[0].Older ||
		!slices.Equal(s.Guides[1].Takes, []string{"again"}) || s.Guides[1].What != said {
		t.Errorf("%+v", s.Guides)
	}
	for i, want := range []string{
		"104 bpm in measure 1; production.yaml now says 120 bpm in measure 1", "", "",
		"57 bpm; production.yaml now says 60 bpm",
	} {
		r := s.Takes[i].Audio
		if r.playedTo != want || (want != "") != strings.Contains(r.Place.Reason, "made with "+want+"; ") {
			t.Errorf("%s: %q, %q", r.Owner, r.playedTo, r.Place.Reason)
		}
	}
	// The last guide was that of before: it is told once, with its takes.
	record(t, dir, before)
	s = placedAt(now, piece, piece, 0, 0)
	s.compareGuides(now)
	if len(s.Guides) != 2 || s.Guides[0].Older || !slices.Equal(s.Guides[0].Takes, []string{"a", "b"}) ||
		len(s.Guides[1].Takes) != 0 {
		t.Errorf("%+v", s.Guides)
	}
	// A take of the piece's tempo of before is no re-take of that time.
	s = placedAt(now, 0, 0, 0, piece)
	if s.compareGuides(now); s.Takes[3].Audio.playedTo != "" {
		t.Errorf("the re-take was %q", s.Takes[3].Audio.playedTo)
	}
}

// speed returns quarters a second in the mean.
func speed(man *production.Production) float64 {
	return man.Tempo.QuartersAt(man.Tempo.End()) / (man.Tempo.End() - man.Tempo.Start())
}

// The manifest's tempo is doubted only when most recordings fit another, and not
// when a guide of before explains it; recordings that are unsure for another
// reason say nothing of it.
func TestTempoIsDoubtedOnlyWhereItDoesNotFit(t *testing.T) {
	dir := t.TempDir()
	now := parse(t, dir, 120, 120)
	for _, c := range []struct {
		other []float64
		doubt bool
	}{
		{[]float64{1.06, 1.06, 0, 0}, false}, {[]float64{1.06, 1.06, 1.06, 0}, true},
		{[]float64{0.9, 0.9, 0}, true}, {[]float64{0.9, 0.9}, false},
	} {
		s := placedAt(now, c.other...)
		if s.compareGuides(now); s.doubtsTempo() != c.doubt {
			t.Errorf("%v: doubted is %v", c.other, !c.doubt)
		}
		for _, r := range s.Recordings() {
			r.Place.OtherTempo = 0 // and still unsure
		}
		if s.doubtsTempo() {
			t.Errorf("%v: unsure takes that fit no other tempo doubt it", c.other)
		}
	}
	record(t, dir, parse(t, dir, 112, 112))
	s := placedAt(now, 112.0/120, 112.0/120, 112.0/120, 0)
	if s.compareGuides(now); s.doubtsTempo() {
		t.Error("the tempo is doubted although a guide of before explains it")
	}
}

// A record that cannot be read is told in place of what it would say.
func TestRecordThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	now := parse(t, dir, 120, 120)
	if err := os.WriteFile(filepath.Join(dir, manifest.MadeName), []byte("version: 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := placedAt(now, 0.9)
	s.compareGuides(now)
	if len(s.Guides) != 1 || !strings.Contains(s.Guides[0].What, "guide.yaml") ||
		!strings.HasPrefix(s.Guides[0].Hint, "delete guide.yaml") {
		t.Errorf("%+v", s.Guides)
	}
}

// A take that was played to a guide whose piece began later after the cue says so and is not sure,
// though its tempo is the guide's and its clap is clear; one to the guide of now is left alone.
func TestTakesOfAGuideWithAnotherCountIn(t *testing.T) {
	e := simulate.New(12, simulate.Options{Level: simulate.Easy, Players: 1, Seconds: 20, Rate: 16000})
	f, err := align.Analyse(e.Takes[0].Source())
	if err != nil {
		t.Fatal(err)
	}
	spec := e.Map.Spec()
	spec.CountIn.Measures++ // before the cue
	other, err := tempo.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var made manifest.Made
	made.Add(manifest.MadeGuide{Guide: "guide", Spec: e.Map.Spec()})
	if err := os.WriteFile(filepath.Join(dir, manifest.MadeName), made.Encode(), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		now    *tempo.Map
		former bool
	}{{other, true}, {e.Map, false}} {
		man := &production.Production{Dir: dir, Tempo: c.now}
		r := &Recording{Owner: "a", Role: Audio, File: &production.File{}, Features: f,
			Place: align.Placement{Sure: true, Confidence: 1}}
		s := &Set{Takes: []Take{{Take: &production.Take{Name: "a"}, Audio: r}}}
		s.compareGuides(man)
		if r.Place.Former != c.former || r.Place.Sure == c.former || (len(s.Guides) > 0) != c.former {
			t.Errorf("%v: %+v, %+v", c.former, r.Place, s.Guides)
		}
		if c.former && (!strings.Contains(r.Place.Question(), "with a count-in of") ||
			!slices.Equal(s.Guides[0].Takes, []string{"a"})) {
			t.Errorf("%q, %+v", r.Place.Question(), s.Guides)
		}
	}
}
