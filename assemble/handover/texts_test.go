package handover

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/interchange"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/production"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/tempo/smf"
)

// round is a piece of four measures of 2 s behind a count-in of 4 s.
const round = `version: 1
title: Test Round
release: yes
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
  - {name: oboe, player: Mara Voss, part: Oboe, section: winds, video: {file: intake/oboe.mp4, offset: 0}}
  - {name: horn, player: Ilse Brandt, part: Horn, video: {file: intake/ilse.mp4, offset: 0}}
  - {name: viola, player: Davit Sorel, part: Viola, audio: {file: "intake/viola, 2.wav", offset: 0}}
picture: {fps: 30, aspect: 16:9, lead_in: 1, tail: 1}
chapters: [{at: m3, name: Trio}]
shots: [{from: start, show: tutti}, {from: m3, show: solo, take: horn}]
deliver: [{name: final, canvas: 1280x720}]
`

// source returns what a hand-over of the production is written from: every take has one
// recording, a minute long from guide time 0 on. change may change a take's recording.
func source(t *testing.T, change func(t *production.Take, r *takes.Recording)) Source {
	t.Helper()
	pl := plantest.Plan(t, round, true)
	set := &takes.Set{}
	for _, x := range []struct {
		name, player, part, section, path string
		role                              takes.Role
	}{{"oboe", "Mara Voss", "Oboe", "winds", "intake/oboe.mp4", takes.Video}, {"horn", "Ilse Brandt", "Horn", "",
		"intake/ilse.mp4", takes.Video}, {"viola", "Davit Sorel", "Viola", "", "intake/viola, 2.wav", takes.Audio}} {
		take := &production.Take{Name: x.name, Player: x.player, Part: x.part, Section: x.section}
		r := &takes.Recording{Owner: x.name, Role: x.role, File: &production.File{Path: x.path},
			Hash: store.HashBytes([]byte(x.name)), Info: media.Info{Duration: 60, Audio: &media.Audio{Rate: 48000,
				Channels: 1}},
			Place: align.Placement{Sure: true, Method: align.ByCuePlaying, Confidence: 0.98}}
		file := take
		if x.role == takes.Video {
			r.Info.Video = &media.Video{W: 1920, H: 1080, FPSNum: 30, FPSDen: 1}
			file.Video = r.File
		} else {
			file.Audio = r.File
		}
		one := takes.Take{Take: take, Heard: r}
		if x.role == takes.Video {
			one.Video = r
		} else {
			one.Audio = r
		}
		if change != nil {
			change(take, r)
		}
		set.Takes = append(set.Takes, one)
	}
	return Source{Plan: pl, Takes: set, Home: filepath.FromSlash("/p"), Dir: filepath.FromSlash("/p/out/export"),
		Stems: []soundtrack.Stem{{Take: "horn", File: "stems/takes/horn.wav"},
			{Take: "oboe", File: "stems/takes/oboe.wav"}}}
}

// texts returns the texts by their files.
func texts(t *testing.T, s Source) map[string]string {
	t.Helper()
	list, err := s.Texts()
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, x := range list {
		if _, twice := all[x.File]; twice || !IsText(x.File) {
			t.Errorf("%s is written twice or is no text of a hand-over", x.File)
		}
		all[x.File] = string(x.Data)
	}
	return all
}

// timeline is what a reader of OpenTimelineIO finds: the schema names are those of the
// format's own documentation.
type timeline struct {
	Schema string `json:"OTIO_SCHEMA"`
	Tracks struct {
		Children []struct {
			Name, Kind string
			Children   []struct {
				Schema string                    `json:"OTIO_SCHEMA"`
				Name   string                    `json:"name"`
				Range  rangeOf                   `json:"source_range"`
				Media  map[string]mediaReference `json:"media_references"`
			}
		}
		Markers []struct {
			Name  string
			Range rangeOf `json:"marked_range"`
		}
	}
}

type rangeOf struct {
	Start struct{ Rate, Value float64 } `json:"start_time"`
	Long  struct{ Rate, Value float64 } `json:"duration"`
}

type mediaReference struct {
	URL string `json:"target_url"`
}

// read parses a timeline.
func read(t *testing.T, text string) (x timeline) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), &x); err != nil || !strings.HasPrefix(x.Schema, "Timeline.") {
		t.Fatalf("%q, %v", x.Schema, err)
	}
	return x
}

// clips returns the tracks of a timeline in a few words: name, file, first second of the
// file.
func clips(x timeline) []string {
	var list []string
	for _, k := range x.Tracks.Children {
		for _, c := range k.Children {
			if !strings.HasPrefix(c.Schema, "Clip") {
				continue
			}
			url := ""
			for _, m := range c.Media {
				url = m.URL
			}
			list = append(list, fmt.Sprintf("%s %s %s %.2f", k.Name, k.Kind, url,
				c.Range.Start.Value/c.Range.Start.Rate))
		}
	}
	return list
}

// A hand-over has every recording in its place as a timeline and as lists of cuts, the
// shots of every film, the tempo map and the table of places, and nothing else.
func TestTextsOfAProduction(t *testing.T) {
	all := texts(t, source(t, nil))
	var files []string
	for f := range all {
		files = append(files, f)
	}
	slices.Sort(files)
	if want := []string{"edits/film-final.edl", "edits/take-horn.edl", "edits/take-oboe.edl", "edits/take-viola.edl",
		"offsets.csv", "tempo.mid", "timeline.otio"}; !slices.Equal(files, want) {
		t.Fatalf("%q, want %q", files, want)
	}
	x := read(t, all[Timeline])
	// The film begins 1 s before measure 1, at guide time 3.
	want := []string{"oboe video Video ../../intake/oboe.mp4 3.00", "horn video Video ../../intake/ilse.mp4 3.00",
		"oboe audio Audio ../../intake/oboe.mp4 3.00", "horn audio Audio ../../intake/ilse.mp4 3.00",
		"viola audio Audio ../../intake/viola,%202.wav 3.00"}
	if got := clips(x); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	var marks []string
	for _, m := range x.Tracks.Markers {
		marks = append(marks, fmt.Sprintf("%s@%.0f+%.0f", m.Name, m.Range.Start.Value, m.Range.Long.Value))
	}
	if want := []string{"m1@30+0", "m2@90+0", "m3@150+0", "m4@210+0", "tutti of 3@0+150", "solo horn@150+150",
		"Test Round@0+0", "Trio@150+0"}; !slices.Equal(marks,
		want) {
		t.Errorf("marks %q, want %q", marks, want)
	}
	if edl := all["edits/film-final.edl"]; !strings.Contains(edl, "SHOT: tutti of 3") ||
		!strings.Contains(edl, "SHOT: solo horn") {
		t.Errorf("the film is\n%s", edl)
	}
	m, err := smf.Read(bytes.NewReader([]byte(all[Tempo])))
	if err != nil {
		t.Errorf("the tempo map cannot be read: %v", err)
	} else if m == nil {
		t.Error("there is no tempo map")
	}
}

// The table of places has a row for each recording, and numbers that lead back to where
// it lies.
func TestTableOfPlaces(t *testing.T) {
	s := source(t, func(take *production.Take, r *takes.Recording) {
		r.Place.Offset, r.Place.DriftPPM = -1.5, 100
		if take.Name == "horn" {
			take.HideName, take.Player = true, "Ilse Brandt"
		}
	})
	rows, err := csv.NewReader(strings.NewReader(texts(t, s)[Offsets])).ReadAll()
	if err != nil || len(rows) != 4 || strings.Join(rows[0], ",") != strings.Join(offsetsHead, ",") {
		t.Fatalf("%q, %v", rows, err)
	}
	if want := "oboe|Mara Voss|Oboe|winds|video|intake/oboe.mp4|cue+playing|-1.500000|100.000|0.980|-1.500000|58.506000"; strings.Join(rows[1],
		"|") != want {
		t.Errorf("%q, want %q", strings.Join(rows[1], "|"), want)
	}
	if rows[2][1] != "" || rows[2][5] != "video of horn" || rows[3][5] != "intake/viola, 2.wav" {
		t.Errorf("%q, %q", rows[2], rows[3])
	}
}

// Files whose names tell who wants no name shown are referred to nowhere; the stem
// stands for their sound. Without a stem, or a recording, that is a bug and told.
func TestWhoIsNotNamedIsNotReferredTo(t *testing.T) {
	hidden := texts(t, source(t, func(take *production.Take,
		_ *takes.Recording) {
		take.HideName = take.Name == "horn"
	}))
	want := []string{"oboe video Video ../../intake/oboe.mp4 3.00", "oboe audio Audio ../../intake/oboe.mp4 3.00",
		"horn audio Audio stems/takes/horn.wav 3.00", "viola audio Audio ../../intake/viola,%202.wav 3.00"}
	if got := clips(read(t, hidden[Timeline])); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	for file, text := range hidden {
		if file != Tempo && strings.Contains(strings.ToLower(text), "ilse") {
			t.Errorf("%s names who does not want to be named", file)
		}
	}
	s := source(t, func(take *production.Take, r *takes.Recording) { r.Unseen = take.Name == "viola" })
	if _, err := s.Texts(); err == nil || err.Error() != `take "viola" has no stem` {
		t.Errorf("without a stem: %v", err)
	}
	s = source(t, nil)
	s.Takes.Takes = s.Takes.Takes[1:]
	if _, err := s.Texts(); err == nil || err.Error() != `take "oboe" has no recording` {
		t.Errorf("without a recording: %v", err)
	}
}

// The same production gives the same bytes, whatever was asked for before.
func TestTextsAreTheSameTwice(t *testing.T) {
	one, other := texts(t, source(t, nil)), texts(t, source(t, nil))
	for f, text := range one {
		if other[f] != text {
			t.Errorf("%s differs", f)
		}
	}
}

// A sound ends where its file does, however long its container says, and a delay of the
// mix moves it; a picture of unknown rate has that of the film.
func TestMediaOfRecordings(t *testing.T) {
	s := source(t, nil)
	x := &writer{Source: s}
	src := plan.Source{Take: "viola", Delay: 0.25, Sound: &plan.Sound{Hash: store.HashBytes([]byte("viola")).String(),
		Rate: 48000, Channels: 2, Frames: 30 * 48000, Clock: audio.Clock{Offset: 2, Drift: 10}}}
	m, parts, err := x.soundSource(src)
	if err != nil || parts != nil || m.Last != 30 || m.Clock.Offset != 2.25 || m.Clock.Drift != 10 ||
		m.Channels != 2 || m.First != 0 {
		t.Errorf("%+v, %v", m, err)
	}
	s.Takes.Takes[2].Audio.Info.Audio.Start, s.Takes.Takes[2].Audio.Info.Audio.Duration = 0.5, 12
	if m, _, _ = x.soundSource(src); m.First != 0.5 || m.Last != 12.5 {
		t.Errorf("%+v", m)
	}
	for i := range s.Plan.Sources {
		if p := s.Plan.Sources[i].Picture; p != nil {
			p.FPS = 0
		}
	}
	line, err := x.tracks()
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range line.Tracks {
		if k.Kind == interchange.Video && k.Clip.Rate != 30 {
			t.Errorf("%s has %v frames a second", k.Name, k.Clip.Rate)
		}
	}
	if math.Abs(line.Zero-3) > 1e-9 || line.Frames != 300 || line.Name != "Test Round" {
		t.Errorf("%+v", line)
	}
}

// A recording of several parts stands as several tracks, numbered from the second on.
func TestTracksOfParts(t *testing.T) {
	s := source(t, nil)
	for i := range s.Plan.Sources {
		if s.Plan.Sources[i].Take == "viola" {
			s.Plan.Sources[i].Sound.Parts = audio.Break(6, 1)
		}
	}
	var names []string
	for _, c := range clips(read(t, texts(t, s)[Timeline])) {
		if strings.HasPrefix(c, "viola") {
			names = append(names, c)
		}
	}
	if len(names) != 2 || !strings.HasPrefix(names[0], "viola audio Audio") ||
		!strings.HasPrefix(names[1], "viola audio part 2 Audio") ||
		!strings.HasSuffix(names[1], " 6.00") {
		t.Errorf("%q", names)
	}
}
