package assemble

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/session"
	"ripieno/mix/audio"
	"ripieno/mix/tempo/smf"
)

// handed is as much of a timeline as this test reads.
type handed struct {
	Start  handedTime `json:"global_start_time"`
	Tracks struct {
		Markers []struct {
			Name   string
			Marked handedRange `json:"marked_range"`
		}
		Children []handedTrack
	}
}

type handedTrack struct {
	Name, Kind string
	Children   []struct {
		Schema  string      `json:"OTIO_SCHEMA"`
		Source  handedRange `json:"source_range"`
		Effects []struct {
			Scalar float64 `json:"time_scalar"`
		}
		References map[string]struct {
			URL string `json:"target_url"`
		} `json:"media_references"`
	}
}

type handedTime struct{ Value, Rate float64 }

func (h handedTime) seconds() float64 { return h.Value / h.Rate }

type handedRange struct {
	Start    handedTime `json:"start_time"`
	Duration handedTime `json:"duration"`
}

// TestExportAddsUp reads a hand-over back: what the timeline plays at any
// moment is where the manifest says that the recording lies, every file is
// there, and stems, tempo map and table say the same.
func TestExportAddsUp(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := manifestOf(takes, "  - {name: take-5, player: Player 5, part: Part 5, expected: true}\n")
	p := openTest(t, dir, strings.Replace(text, "fps: 30", "fps: 29.97", 1))
	r, err := p.Export(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Faults) != 1 || r.Faults[0].Take != "take-5" || len(r.Releases) != 0 || len(r.Edits) != 5 ||
		len(r.Stems) != 5 {
		t.Errorf("result %+v", r)
	}
	data, err := os.ReadFile(r.Timeline)
	if err != nil {
		t.Fatal(err)
	}
	var film handed
	if err := json.Unmarshal(data, &film); err != nil {
		t.Fatal(err)
	}
	if film.Start.Value != 107892 { // 01:00:00;00 by SMPTE ST 12-1
		t.Errorf("it begins at frame %v", film.Start)
	}
	if len(film.Tracks.Children) != 8 {
		t.Fatalf("%d tracks", len(film.Tracks.Children))
	}
	for i, track := range film.Tracks.Children {
		take := takes[i%4]
		kind := []string{"Video", "Audio"}[i/4]
		if track.Kind != kind || track.Name != fmt.Sprintf("take-%d %s", take.id, strings.ToLower(kind)) {
			t.Errorf("track %d is %q of %s", i, track.Name, track.Kind)
		}
		checkHanded(t, track, take, r.Timeline)
	}
	var marks []string
	for _, m := range film.Tracks.Markers {
		marks = append(marks, fmt.Sprintf("%s %.0f", m.Name, m.Marked.Start.Value))
	}
	// Measures begin at guide times 4 and 6. The take that is not in has no tile.
	if want := []string{"m1 30", "m2 90", "tutti of 4 0"}; !slices.Equal(marks, want) {
		t.Errorf("marks are %q, want %q", marks, want)
	}
	for _, s := range r.Stems {
		if tags := broadcastTags(t, s.File); tags["time_reference"] != "0" {
			t.Errorf("%s: %v", s.File, tags)
		}
	}
	checkOffsets(t, r.Offsets, takes)
	checkTempoFile(t, p, r.Tempo)
}

// The film of TestExportAddsUp begins at guide frame 90 and has 180 frames.
const (
	handedRate = 30000.0 / 1001
	handedZero = 90 / handedRate
	handedEnd  = handedZero + 180/handedRate
)

// checkHanded adds up one track of a timeline: gaps and one clip, which plays
// the file of its take where the take lies.
func checkHanded(t *testing.T, track handedTrack, take placedTake, timeline string) {
	t.Helper()
	at, clips := handedZero, 0
	for _, c := range track.Children {
		end := at + c.Source.Duration.seconds()
		if c.Schema != "Clip.2" {
			at = end
			continue
		}
		clips++
		ref := c.References["DEFAULT_MEDIA"]
		name, err := url.PathUnescape(ref.URL)
		if err != nil {
			t.Fatal(err)
		}
		if got := filepath.Join(filepath.Dir(timeline),
			filepath.FromSlash(name)); got != filepath.Join(filepath.Dir(timeline), "..", "..", "intake", take.name) {
			t.Errorf("track %q plays %s", track.Name, got)
		}
		scalar := 1.0
		for _, e := range c.Effects {
			scalar = e.Scalar
		}
		begin := c.Source.Start.seconds()
		if a, b := take.guide(begin), take.guide(begin+(end-at)*scalar); math.Abs(a-at) > 1e-6 ||
			math.Abs(b-end) > 1e-6 {
			t.Errorf("track %q plays guide time %.6f to %.6f at %.6f to %.6f", track.Name, a, b, at, end)
		}
		// All of the file that lies in the film, but for a frame at either end.
		first, last := math.Max(take.shownFrom(), handedZero), math.Min(take.shownTo(), handedEnd)
		if track.Kind == "Video" && (at-first > 1.01/handedRate || last-end > 1.01/handedRate || at < first-1e-6 ||
			end > last+1e-6) {
			t.Errorf("track %q covers %.3f to %.3f of %.3f to %.3f", track.Name, at, end, first, last)
		}
		at = end
	}
	if clips != 1 || math.Abs(at-handedEnd) > 1e-6 {
		t.Errorf("track %q has %d clips and ends at %g", track.Name, clips, at)
	}
}

// checkTempoFile reads the tempo map back: a measure of 4/4 at 120 lasts 2 s.
func checkTempoFile(t *testing.T, p *Production, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s, err := smf.Read(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if c := s.Spec.Changes; len(c) != 1 || math.Abs(c[0].BPM-120) > 1e-9 || c[0].Meter.String() != "4/4" ||
		s.Title != p.Manifest().Title {
		t.Errorf("the tempo map says %+v", s)
	}
	if len(s.Parts) != 1 || len(s.Parts[0].Onsets) != 4*4 { // two measures of count-in and two of the piece
		t.Errorf("the clicks are %+v", s.Parts)
	}
	// Independent of our reader: 07 A1 20 is 500000 µs a quarter, 04 02 is 4/4
	// (Standard MIDI Files 1.0).
	if !bytes.Contains(data, []byte{0xff, 0x51, 0x03, 0x07, 0xa1, 0x20}) ||
		!bytes.Contains(data, []byte{0xff, 0x58, 0x04, 0x04, 0x02}) {
		t.Error("no tempo of 120 or no 4/4 in the file")
	}
	// And by fluidsynth, which begins notes on blocks of 64 samples.
	wave := synthesise(t, path)
	for b := range p.Manifest().Tempo.Beats() {
		from := int(b.Seconds * audio.Rate)
		near := wave[from : from+audio.Rate/20]
		peak := 0.0
		for _, v := range near {
			peak = max(peak, math.Abs(v))
		}
		at := slices.IndexFunc(near, func(v float64) bool { return math.Abs(v) > 0.05*peak })
		if late := float64(at)/audio.Rate - lateOnsets[b.Cue]; peak < 0.01 || math.Abs(late) > 0.002 {
			t.Errorf("the beat at %g s is played %.4f s late, at a level of %.3f", b.Seconds, late, peak)
		}
	}
}

// checkOffsets reads the table of places back.
func checkOffsets(t *testing.T, path string, takes []placedTake) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || len(rows) != 1+len(takes) {
		t.Fatal(err, rows)
	}
	for i, p := range takes {
		row := rows[1+i]
		offset, _ := strconv.ParseFloat(row[slices.Index(rows[0], "offset_s")], 64)
		drift, _ := strconv.ParseFloat(row[slices.Index(rows[0], "drift_ppm")], 64)
		if row[0] != fmt.Sprintf("take-%d", p.id) || math.Abs(offset-p.offset) > 1e-6 ||
			math.Abs(drift-p.drift) > 1e-3 {
			t.Errorf("row %q, want %+v", row, p)
		}
	}
}

// TestExportLeavesStrangeFilesAlone: only what an export wrote, and nobody
// changed since, is removed, and a record that names other files does no harm.
func TestExportLeavesStrangeFilesAlone(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	p := openSound(t, dir, ensembleTakes(t, dir), 2)
	r, err := p.Export(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	mine, old, changed := filepath.Join(r.Dir, "mine.txt"), filepath.Join(r.Dir, "edits",
		"take-old.edl"), filepath.Join(r.Dir, "edits", "take-two.edl")
	for _, path := range []string{mine, old, changed} {
		if err := os.WriteFile(path, []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	list := fmt.Sprintf("%x  edits/take-two.edl\n", sha256.Sum256([]byte("y")))
	for _, file := range []string{"edits/take-old.edl", "../../production.yaml", "mine.txt", mine, "edits/../mine.txt",
		"stems", ""} {
		list += fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte("x")), file)
	}
	if err := os.WriteFile(filepath.Join(r.Dir, session.RecordName), []byte(list), 0o666); err != nil {
		t.Fatal(err)
	}
	r, err = p.Export(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(r.Removed, []string{old}) {
		t.Errorf("removed %q", r.Removed)
	}
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "take-two.edl is of an earlier run") {
		t.Errorf("notes %q", r.Notes)
	}
	for _, path := range []string{mine, changed, filepath.Join(dir, "production.yaml"), r.Stems[0].File} {
		if _, err := os.Stat(path); err != nil {
			t.Error(err)
		}
	}
	if r.Tasks.Run != 0 {
		t.Errorf("%d steps the second time", r.Tasks.Run)
	}
	// Sound without pictures is a timeline too, with the delay of the cello.
	if data, err := os.ReadFile(r.Timeline); err != nil || bytes.Contains(data, []byte(`"kind": "Video"`)) ||
		!bytes.Contains(data, []byte(`"offset": 1.26,`)) {
		t.Errorf("the timeline: %v", err)
	}
}
