package handover

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/interchange"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
	"ripieno/layout/shot"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// What an earlier hand-over may have written and this one may remove: nothing that
// somebody else put there.
func TestTextsOfAHandOver(t *testing.T) {
	for file, want := range map[string]bool{
		"timeline.otio": true, "tempo.mid": true, "offsets.csv": true, "edits/take-oboe.edl": true,
		"edits/film-final-2.edl": true,
		"edits/notes.txt":        false, "edits/deep/x.edl": false, "x.edl": false, "Timeline.otio": false,
		"edits":            false,
		"":                 false,
		"../timeline.otio": false, "stems/takes/oboe.wav": false, "edits/.edl": true,
	} {
		if got := IsText(file); got != want {
			t.Errorf("%q is a text: %v", file, got)
		}
	}
}

// A file that is not one piece of time stands as several, each on its own clock;
// parts of which the file has nothing stand nowhere.
func TestPartsAsMedia(t *testing.T) {
	m := interchange.Media{Name: "a.mov", First: 0.5, Last: 60, Clock: audio.Clock{Offset: -1, Drift: 1000}}
	if got := partsOf(m, nil); len(got) != 1 || got[0].Name != "a.mov" || got[0].First != 0.5 || got[0].Last != 60 ||
		got[0].Clock != m.Clock {
		t.Errorf("a whole file: %+v", got)
	}
	got := partsOf(m, audio.Parts{{From: 0, To: 20}, {From: 21, To: 50, Shift: 2},
		{From: 50, To: math.Inf(1), Shift: -1}})
	if len(got) != 3 {
		t.Fatalf("%+v", got)
	}
	for i, want := range []struct{ first, last, offset float64 }{
		{0.5, 20, -1}, {21, 50, -1 + 2*1.001}, {50, 60, -1 - 1.001}, // a shift is in the file's own seconds
	} {
		if g := got[i]; g.First != want.first || g.Last != want.last || math.Abs(g.Clock.Offset-want.offset) > 1e-12 ||
			g.Clock.Drift != 1000 || g.Name != "a.mov" {
			t.Errorf("part %d: %+v, want %+v", i, g, want)
		}
	}
	if got := partsOf(m, audio.Parts{{From: 0, To: 0.5}, {From: 0.5, To: 70}, {From: 80, To: 90}}); len(got) != 1 ||
		got[0].Last != 60 {
		t.Errorf("parts beyond the file: %+v", got)
	}
}

// A shot is called by what it shows and, with one take, by that take, unless nobody
// may learn of it.
func TestNamesOfShots(t *testing.T) {
	tile := func(take string) plan.Tile { return plan.Tile{Take: take} }
	for _, c := range []struct {
		shot plan.Shot
		want string
	}{
		{plan.Shot{Show: shot.Card}, "card"},
		{plan.Shot{Show: shot.Solo, Tiles: []plan.Tile{tile("oboe")}}, "solo oboe"},
		{plan.Shot{Show: shot.Solo, Tiles: []plan.Tile{{Take: "oboe", Absent: plan.Withheld}}}, "solo"},
		{plan.Shot{Show: shot.Tutti, Tiles: []plan.Tile{tile("oboe"), tile("horn"), tile("viola")}}, "tutti of 3"},
	} {
		if got := shotName(c.shot); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// The timeline refers to files from its own folder, so that the whole production can
// be moved; what no address may hold is escaped (RFC 3986, 3.3).
func TestAddresses(t *testing.T) {
	x := &writer{Source: Source{Dir: filepath.FromSlash("/p/out/export")}}
	for path, want := range map[string]string{
		"/p/intake/mara.mov":               "../../intake/mara.mov",
		"/p/out/export/stems/takes/a.wav":  "stems/takes/a.wav",
		"/p/intake/Jörg & Åse 100 %?#.wav": "../../intake/J%C3%B6rg%20&%20%C3%85se%20100%20%25%3F%23.wav",
		"/elsewhere/x.mov":                 "../../../elsewhere/x.mov",
	} {
		if got := x.address(filepath.FromSlash(path)); got != want {
			t.Errorf("%s is %s, want %s", path, got, want)
		}
	}
}

// Films of many shots go over as many lists as the format needs, each shot once, and
// shots of no frame nowhere.
func TestShotsOfAFilm(t *testing.T) {
	const many = interchange.MaxEvents + 3
	f := plan.Film{Name: "final"}
	for k := range many {
		f.Shots = append(f.Shots, plan.Shot{Span: plan.Span{From: 10 * k, To: 10*k + 10}, Show: shot.Card})
		f.Shots = append(f.Shots, plan.Shot{Span: plan.Span{From: 10*k + 10, To: 10*k + 10}, Show: shot.Tutti})
	}
	x := &writer{Source: Source{Plan: &plan.Plan{Title: "Round",
		Timeline: plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}}}}}
	if err := x.shots(f); err != nil {
		t.Fatal(err)
	}
	var names []string
	cuts := 0
	for _, text := range x.texts {
		names = append(names, text.File)
		cuts += strings.Count(string(text.Data), "SHOT: card")
		if strings.Contains(string(text.Data), "SHOT: tutti") {
			t.Errorf("%s has a shot of no frame", text.File)
		}
	}
	if want := []string{"edits/film-final.edl", "edits/film-final-2.edl"}; !slices.Equal(names, want) || cuts != many {
		t.Errorf("%q with %d shots, want %q with %d", names, cuts, want, many)
	}
}

// A file whose name says who does not want to be named is in no hand-over, and told
// to whoever makes it; one that nobody may see is no question.
func TestFilesThatAreNotNamed(t *testing.T) {
	recording := func(owner, path string, sure, unseen bool) *takes.Recording {
		return &takes.Recording{Owner: owner, Role: takes.Video, File: &production.File{Path: path}, Unseen: unseen,
			Place: align.Placement{Sure: sure}}
	}
	take := func(name, player string, hide bool, r *takes.Recording) takes.Take {
		return takes.Take{Take: &production.Take{Name: name, Player: player, HideName: hide}, Video: r}
	}
	set := &takes.Set{Takes: []takes.Take{
		take("oboe", "Mara Voss", true, recording("oboe", "intake/mara.mov", true, false)),
		take("horn", "Ilse Brandt", true, recording("horn", "intake/horn.mov", true, false)),
		take("viola", "Davit Sorel", false, recording("viola", "intake/davit.mov", true, false)),
		take("flute", "Nell Orrin", true, recording("flute", "intake/nell.mov", false, false)),
		take("cello", "Bram Ostler", true, recording("cello", "intake/bram.mov", true, true)),
	}}
	s := Source{Takes: set}
	var told []string
	for _, b := range s.Unnamed() {
		told = append(told, b.Take)
		if b.Kind != takes.KindRelease || b.Hint == "" {
			t.Errorf("%+v", b)
		}
	}
	if !slices.Equal(told, []string{"oboe"}) {
		t.Errorf("told of %q", told)
	}
	for name, want := range map[string]bool{"oboe": false, "horn": true, "viola": true, "nobody": false} {
		r := recording(name, "intake/"+map[string]string{"oboe": "mara", "viola": "davit"}[name]+".mov", true, false)
		if got := s.mayName(r); got != want {
			t.Errorf("%s may be named: %v", name, got)
		}
	}
}

// Where a take's own file may not be referred to, its stem stands for its sound; it
// begins with guide time, or with the film where that begins earlier.
func TestStemsAsMedia(t *testing.T) {
	x := &writer{Source: Source{Dir: filepath.FromSlash("/p/out/export"),
		Plan: &plan.Plan{Timeline: plan.Timeline{AudioStart: 48000, AudioLen: 6 * 48000}},
		Stems: []soundtrack.Stem{{Section: "winds", File: "stems/sections/winds.wav"},
			{Take: "oboe", File: "stems/takes/oboe.wav"}}}}
	m, ok := x.stemSource("oboe")
	if !ok || m.Name != "oboe.wav" || m.URL != "stems/takes/oboe.wav" || m.Rate != audio.Rate || m.Channels != 2 ||
		m.Clock.Offset != 0 || m.Last != 7 {
		t.Errorf("%+v, %v", m, ok)
	}
	x.Plan.Timeline.AudioStart = -48000
	if m, _ = x.stemSource("oboe"); m.Clock.Offset != -1 || m.Last != 6 {
		t.Errorf("of a film that begins before the guide: %+v", m)
	}
	if m, ok := x.stemSource("horn"); ok {
		t.Errorf("a stem of nobody: %+v", m)
	}
}
