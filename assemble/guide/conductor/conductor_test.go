package conductor

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/layout/shot"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// round returns a production of eight measures of two seconds, behind a count-in of two and
// a second of pick-up, with a guide of measures 5 and 6.
func round(t *testing.T, conductor string) *production.Production {
	t.Helper()
	man, err := manifest.Parse(manifest.FileName, []byte(`version: 1
title: Small Round
tempo: {count_in: {measures: 2}, pick_up: 2, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
guide: {`+conductor+`variants: [{name: end, from: m5, to: m7}, {name: loud}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	return man
}

// A film is seen from the frame that is nearest to its first to its last, and never longer
// than the guide; in the guide of a passage on that guide's own time, in its measures alone.
func TestWhatIsSeenOfAFilm(t *testing.T) {
	man := round(t, "")
	jobs, err := guide.Jobs(man, nil)
	if err != nil {
		t.Fatal(err)
	}
	rate := shot.Rate{Num: 25, Den: 1}
	film := func(offset, seconds float64) *Film {
		return &Film{picture: plan.Picture{Path: "/beat.mp4", W: 1920, H: 1080, FPS: 50, Last: seconds,
			Clock: audio.Clock{Offset: offset}}}
	}
	for _, c := range []struct {
		what string
		film *Film
		job  int
		want plan.Span
	}{
		{"longer than the guide", film(-3, 60), 0, plan.Span{To: 600}},
		{"that begins late", film(2, 60), 0, plan.Span{From: 50, To: 600}},
		{"that ends early", film(-3, 10), 0, plan.Span{To: 175}},
		{"of before", film(-30, 10), 0, plan.Span{To: -500}},
		{"in a guide of other sounds", film(-3, 60), 2, plan.Span{To: 600}},
		{"in a passage", film(-3, 60), 1, plan.Span{From: 100, To: 200}}, // count-in 4 s, measures 4 s
		{"that ends in a passage", film(-3, 17), 1, plan.Span{From: 100, To: 150}},
	} {
		got := c.film.plan(jobs[c.job], rate, 24)
		if got.Frames != c.want && (c.want.Len() > 0 || got.Frames.Len() > 0) {
			t.Errorf("%s: frames %+v, want %+v", c.what, got.Frames, c.want)
		}
		if got.W != 640 || got.H != 360 || got.Take != owner {
			t.Errorf("%s: %d × %d of %q", c.what, got.W, got.H, got.Take)
		}
	}
	// Measure 5 of the piece, 12 s into its guide, is 4 s into that of the passage.
	f := film(-3, 60)
	c := f.plan(jobs[1], rate, 24)
	if at := c.Picture.File(4); math.Abs(at-15) > 1e-9 || f.picture.Clock.Offset != -3 {
		t.Errorf("the passage begins at %.3f s of the file, want 15; the film's own place is now %v", at,
			f.picture.Clock)
	}
	if got := (&Film{}).plan(jobs[0], rate, 24); got.Frames.Len() != 0 {
		t.Errorf("of a film that nobody may see: %+v", got)
	}
}

// What a person should know of a film: that it begins or ends within the piece, and that
// who conducts has to agree before it is sent.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		what         string
		release      production.Release
		begins, ends float64
		want         []string
	}{
		{"all of the piece, released", production.ReleaseYes, -3, 21, nil},
		{"from the first beat to the last", production.ReleaseYes, 0, 20, nil},
		{"late", production.ReleaseYes, 1.5, 21, []string{"begins 1.5 s after the count-in has begun"}},
		{"short", production.ReleaseYes, -3, 9, []string{"ends in m3, 11.0 s before the piece does"}},
		{"neither, and not released", production.ReleaseMissing, 1, 19.5,
			[]string{"begins 1.0 s after", "ends in m8, 0.5 s", "ask them first, for minors their guardians"}},
	} {
		got := notesOf(&production.Conductor{Video: production.File{Path: "intake/beat.mp4"}, Release: c.release},
			round(t, ""), c.begins, c.ends)
		if len(got) != len(c.want) {
			t.Errorf("%s: %q", c.what, got)
			continue
		}
		for i, w := range c.want {
			if !strings.Contains(got[i], w) || !strings.Contains(got[i], "intake/beat.mp4") {
				t.Errorf("%s: %q does not say %q", c.what, got[i], w)
			}
		}
	}
}

// A film whose place is not clear is asked about, with the line to write and the clap that
// is likeliest where there is one.
func TestUnplacedAsks(t *testing.T) {
	c := &production.Conductor{Video: production.File{Path: "intake/beat.mp4", Mark: fault.Mark{File: "production.yaml",
		Line: 7, Column: 3}}}
	for _, x := range []struct {
		what        string
		place       align.Placement
		says, write string
	}{
		{"nothing heard", align.Placement{Reason: "there is nothing to hear in this file"},
			"production.yaml:7:3: intake/beat.mp4 needs review: there is nothing to hear", "such as cue_at: 11.482;"},
		{"a clap", align.Placement{Confidence: 0.6, Candidates: []align.Candidate{{At: 3.4567, ByCue: true, Odds: 0.6},
			{At: 9, Odds: 0.4}}}, "needs review: clap at 3.46 s (60 %) or", "such as cue_at: 3.457;"},
		{"a note", align.Placement{Confidence: 0.6, Candidates: []align.Candidate{{At: 3.4567, Odds: 0.6}}},
			"needs review: ", "such as cue_at: 11.482;"},
	} {
		err := unplaced(c, &takes.Recording{Place: x.place})
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Decision || !strings.Contains(f.Error(), x.says) ||
			!strings.Contains(f.Hint, x.write) || !strings.Contains(f.Hint, "or write offset") {
			t.Errorf("%s: %v, hint %q", x.what, err, f.Hint)
		}
	}
}

// What is wrong with the file is said where the manifest names it, with another name where
// that helps; what is nobody's file stays as it is.
func TestUnusable(t *testing.T) {
	c := &production.Conductor{Video: production.File{Path: "intake/beat.mp4", Mark: fault.Mark{File: "production.yaml",
		Line: 7, Column: 3}}}
	const own = "name a film of somebody who conducts to the guide, or delete conductor: for films of the beats alone"
	for _, x := range []struct{ what, hint, want string }{
		{"the file does not exist", "copy it there", own},
		{"the file does not exist", `did you mean "intake/bear.mp4"?`, `did you mean "intake/bear.mp4"?`},
		{"the file does not exist", `the recording that had this name is "intake/b.mp4" now`,
			`the recording that had this name is "intake/b.mp4" now`},
		{"the file has no picture", "list it under audio:", own},
	} {
		var f *fault.Fault
		err := unusable(c, fault.New(fault.Media, "intake/beat.mp4", x.what, x.hint))
		if !errors.As(err, &f) || f.Kind != fault.Media || f.Hint != x.want ||
			f.Error() != `production.yaml:7:3: the conductor's film "intake/beat.mp4" cannot be used: `+x.what {
			t.Errorf("%v, hint %q, want %q", err, f.Hint, x.want)
		}
	}
	full := fault.New(fault.Failed, "/disk", "full", "")
	if unusable(c, full) != error(full) {
		t.Error("a full disk is the conductor's")
	}
}

// Nothing is opened where no film is wanted, there is nobody, or the players may not see
// them; the last is told.
func TestNobodyIsLookedFor(t *testing.T) {
	find := func(conductor string, wanted bool) (*Film, error) {
		return Find(t.Context(), session.New(session.Settings{}, round(t, conductor), nil), wanted)
	}
	if f, err := find("", true); f != nil || err != nil {
		t.Errorf("nobody: %+v, %v", f, err)
	}
	if f, err := find("conductor: {video: gone.mp4}, ", false); f != nil || err != nil {
		t.Errorf("no film: %+v, %v", f, err)
	}
	f, err := find("conductor: {video: gone.mp4, release: no}, ", true)
	if err != nil || f == nil || f.picture.Path != "" || !slices.Equal(f.notes, []string{
		"gone.mp4 is left out: its release is no"}) {
		t.Errorf("released to nobody: %+v, %v", f, err)
	}
}
