package takes

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// What is not known of a place is null and no number, what lists nothing is an empty
// list, and what is told in milliseconds was measured in seconds.
func TestPlacedAsJSON(t *testing.T) {
	r := &Recording{Owner: "oboe", Role: Audio, File: &production.File{Path: "intake/mara.wav"}}
	r.Info.Audio = &media.Audio{Rate: 48000}
	nan := math.NaN()
	r.Place = align.Placement{Offset: -1.25, DriftPPM: 40, Confidence: 0.9, Method: align.ByPlaying, Lateness: nan,
		CueAt:     nan,
		CueOffset: nan, Uncertainty: nan}
	text, err := json.Marshal(r.Placed(production.Tightened))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"name":"oboe"`, `"role":"audio"`, `"offset":-1.25`, `"lateness_ms":null`,
		`"cue_at":null`,
		`"cue_offset":null`, `"expected_error_ms":null`, `"evidence":[]`, `"candidates":[]`, `"timing":"tightened"`,
		`"confidence":0.9`, `"beat_confidence":0.9`, `"sure":false`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%s lacks %s", text, want)
		}
	}
	for _, not := range []string{"sample_rate", "parts", "breaks", "other_tempo"} {
		if strings.Contains(string(text), not) {
			t.Errorf("%s says %s of a whole recording with a true rate", text, not)
		}
	}
	r.Place.Lateness, r.Place.Kept, r.Place.Uncertainty, r.Place.Sure = 0.0125, 0.008, 0.003, true
	r.Place.Candidates = []align.Candidate{{Offset: 2, At: 7, ByCue: true, Odds: 0.88}, {Offset: 4, At: 9, Odds: 0.11}}
	r.Parts, r.Rate = audio.Break(61.5, 2.2), 44100
	p := r.Placed(production.AsPlayed)
	if *p.LatenessMS != 12.5 || p.KeptMS != 8 || *p.ErrorMS != 3 || p.SampleRate != 44100 || p.LabelledRate != 48000 {
		t.Errorf("%+v", p)
	}
	if c := p.Candidates; len(c) != 2 || c[0].Number != 1 || c[0].By != "cue" || c[1].Number != 2 ||
		c[1].By != "first note" {
		t.Errorf("candidates %+v", c)
	}
	if q := p.Parts; len(q) != 2 || *q[0].To != 61.5 || q[1].To != nil || q[1].Shift != 2.2 {
		t.Errorf("parts %+v", q)
	}
}

// A sound that is labelled wrongly is faster or slower than its file says. Its
// picture is not, unless somebody made the whole file so: then both are as long as
// each other by the wrong label.
func TestClockOfThePicture(t *testing.T) {
	clock := audio.Clock{Offset: 3, Drift: 20}
	for _, c := range []struct {
		what          string
		labelled, rel int
		sound, video  float64 // seconds, as the file says them
		factor        float64 // by which its time runs besides
	}{
		{"true label", 48000, 48000, 100, 100, 1},
		{"nobody looked", 48000, 0, 100, 100, 1},
		{"the picture has its own time", 48000, 44100, 91.875, 100, 1}, // 100·44.1/48
		{"the whole file is faster", 48000, 44100, 91.875, 91.875, 48000.0 / 44100},
		{"the whole file is slower", 44100, 48000, 100, 100.01, 44100.0 / 48000},
		{"the file does not say how long", 48000, 44100, 91.875, 0, 1},
	} {
		r := &Recording{Rate: c.rel}
		r.Info.Audio = &media.Audio{Rate: c.labelled, Duration: c.sound}
		r.Info.Video = &media.Video{Duration: c.video}
		got := r.pictureClock(clock)
		if want := clock.Drift.Ratio() * c.factor; got.Offset != 3 || math.Abs(got.Drift.Ratio()-want) > 1e-9 {
			t.Errorf("%s: ratio %.9f from %v, want %.9f", c.what, got.Drift.Ratio(), got.Offset, want)
		}
	}
	sound := &Recording{Rate: 44100}
	sound.Info.Audio = &media.Audio{Rate: 48000, Duration: 9}
	if got := sound.pictureClock(clock); got != clock {
		t.Errorf("without a picture: %+v", got)
	}
}

// Whoever wants no name shown is called by the take in all that is made; files may
// be named where they do not tell who it is.
func TestFilesOfHiddenNames(t *testing.T) {
	for _, c := range []struct {
		hide         bool
		path         string
		video, sound string
		named        bool
	}{
		{false, "intake/mara-voss.mov", "intake/mara-voss.mov", "intake/mara-voss.mov", true},
		{true, "intake/mara-voss.mov", "video of oboe-1", "sound of oboe-1", false},
		{true, "intake/maravoss.mov", "video of oboe-1", "sound of oboe-1", false},
		{true, "intake/oboe-1.mov", "video of oboe-1", "sound of oboe-1", true},
	} {
		x := Take{Take: &production.Take{Name: "oboe-1", Player: "Mara Voss", Part: "Oboe 1", HideName: c.hide}}
		if v, a := x.PublicFile(Video, c.path), x.PublicFile(Audio, c.path); v != c.video || a != c.sound {
			t.Errorf("%s: %q and %q", c.path, v, a)
		}
		if got := x.MayBeNamed(c.path); got != c.named {
			t.Errorf("%s may be named: %v", c.path, got)
		}
	}
}

// Recordings to the guide of a part of the piece are placed on that guide's time:
// what is written and heard in guide time moves there, the caller's own stays.
func TestRecordingsByTheirGuides(t *testing.T) {
	main := parseTempo(t, "  count_in: {measures: 1}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 9\n")
	part := parseTempo(t, "  count_in: {measures: 1}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 2\n")
	man := &production.Production{Tempo: main,
		Guide: production.Guide{Variants: []production.Variant{{Name: "again", Tempo: part, Shift: 8, From: 5, To: 7},
			{Name: "loud", Tempo: part}}},
		Takes: []production.Take{{Name: "oboe"}, {Name: "horn", Guide: "again"}, {Name: "flute", Guide: "loud"}}}
	offset := 10.5
	recs := []align.Recording{
		{Name: "oboe/audio", Take: "oboe", Offset: &offset, Onsets: []float64{12}},
		{Name: "horn/audio", Take: "horn", Offset: &offset, Onsets: []float64{12, 13}},
		{Name: "flute/video", Take: "flute"}, // a whole guide that only sounds otherwise
		{Name: "horn/video", Take: "horn"},
	}
	groups := byGuide(man, recs)
	if len(groups) != 2 || groups[0].tempo != main || groups[1].tempo != part || groups[0].shift != 0 ||
		groups[1].shift != 8 {
		t.Fatalf("%d guides: %+v", len(groups), groups)
	}
	if a, b := groups[0].recs, groups[1].recs; len(a) != 2 || a[1].Name != "flute/video" || len(b) != 2 ||
		b[1].Name != "horn/video" {
		t.Fatalf("%+v", groups)
	}
	if r := groups[0].recs[0]; *r.Offset != 10.5 || r.Onsets[0] != 12 {
		t.Errorf("to the main guide: %v, %v", *r.Offset, r.Onsets)
	}
	if r := groups[1].recs[0]; *r.Offset != 2.5 || r.Onsets[0] != 4 || r.Onsets[1] != 5 {
		t.Errorf("to the guide of a part: %v, %v", *r.Offset, r.Onsets)
	}
	if offset != 10.5 || recs[1].Onsets[0] != 12 {
		t.Error("what was given was changed")
	}
	places := groups[1].places(map[string]align.Placement{"horn/audio": {Offset: 9}})
	if len(places) != 2 || places[0].Offset != 1 || places[1].Offset != -8 {
		t.Errorf("places on its time: %+v", places)
	}
	if p := Piece(man, &man.Takes[1]); p.Start != part.Start()+8 || p.End != part.End()+8 || p.Cue != part.Cue()+8 ||
		p.BPM != 120 {
		t.Errorf("a re-take is expected to hold %+v", p)
	}
}
