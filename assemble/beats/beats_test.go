package beats

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// taps are where somebody taps, in seconds.
func taps() (at []float64) {
	for i := range 24 {
		at = append(at, 1.2+0.5*float64(i)+0.06*math.Sin(float64(i)/4))
	}
	return at
}

// folder makes a production with a recording of taps in it.
func folder(t *testing.T, tempo string) string {
	t.Helper()
	dir := t.TempDir()
	x := make([]float64, 14*audio.Rate)
	for _, at := range taps() {
		for k := range audio.Rate / 20 {
			age := float64(k) / audio.Rate
			x[int(at*audio.Rate)+k] += 0.4 * math.Exp(-age/0.01) * math.Sin(2*math.Pi*1100*age)
		}
	}
	src := audio.NewMemory(audio.Block{x}, audio.Rate)
	if _, err := media.CreateWAV(t.Context(), filepath.Join(dir, "taps.wav"), src, media.PCM24); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, manifest.FileName), "version: 1\ntitle: T\ntempo: {from: taps.wav, "+tempo+"}\n")
	return dir
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// never is for when there is nothing to find.
func never(context.Context) (*ffmpeg.Tool, error) { return nil, errors.New("ffmpeg was asked for") }

// The list is written once; after that it is what counts, until a person corrects it or
// the manifest asks for something else.
func TestTheListIsWrittenAndKept(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	find := func(context.Context) (*ffmpeg.Tool, error) { return tool, nil }
	dir := folder(t, "changes: [{measure: 1, meter: 4/4}]")
	note, err := Find(t.Context(), dir, find)
	if err != nil || !strings.Contains(note, "found 24 beats in taps.wav and wrote them to taps-beats.txt") ||
		!strings.Contains(note, "first clear sound, 1.20 s") {
		t.Fatalf("%q, %v", note, err)
	}
	list := filepath.Join(dir, "taps-beats.txt")
	made := read(t, list)
	man, err := manifest.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for b := range man.Tempo.Beats() {
		if b.CountIn {
			continue
		}
		if d := b.Seconds - man.Beats.Offset - taps()[i]; math.Abs(d) > 0.012 {
			t.Errorf("beat %d is %.4f s off", i, d)
		}
		i++
	}
	if note, err := Find(t.Context(), dir, never); note != "" || err != nil {
		t.Errorf("the second time: %q, %v", note, err)
	}
	// Somebody moves a beat, adds one without a number and deletes a line.
	lines := strings.SplitAfter(made, "\n")
	lines[6] = strings.Replace(lines[6], lines[6][:5], fmt.Sprintf("%.3f", taps()[5]+0.05), 1)
	moved := lines[6][:5]
	lines[12] = fmt.Sprintf("%.3f\n", taps()[11]+0.03)
	write(t, list, strings.Join(append(lines[:8], lines[9:]...), ""))
	if note, err = Find(t.Context(), dir, find); err != nil || !strings.Contains(note, "found 24 beats") {
		t.Fatalf("%q, %v", note, err)
	}
	now := strings.Split(read(t, list), "\n")
	if now[6] != moved+"\t"+moved+"\tm2.2" || !strings.HasSuffix(now[12], "\tm3.4") ||
		!strings.Contains(now[8], "m2.4 @") {
		t.Errorf("%q", now)
	}
	if note, err := Find(t.Context(), dir, never); note != "" || err != nil {
		t.Errorf("after the correction: %q, %v", note, err)
	}
	// Another meter makes other numbers; the recording may be gone as long as nothing changes.
	path := filepath.Join(dir, manifest.FileName)
	write(t, path, strings.Replace(read(t, path), "4/4", "3/4", 1))
	if _, err := Find(t.Context(), dir, never); err == nil {
		t.Error("another meter was not noticed")
	}
	if err := os.Remove(filepath.Join(dir, "taps.wav")); err != nil {
		t.Fatal(err)
	}
	if note, err := Find(t.Context(), dir, never); note != "" || err != nil {
		t.Errorf("without the recording: %q, %v", note, err)
	}
}

// What cannot be used is told with its place.
func TestWhatCannotBeFollowed(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	find := func(context.Context) (*ffmpeg.Tool, error) { return tool, nil }
	dir := folder(t, "measures: 6, changes: [{measure: 1, meter: 4/4}]")
	for text, says := range map[string]string{
		"3.0 m9.1\n":            "the piece has no beat 1 in measure 9",
		"3.0 m2.1\n2.9 m2.2\n":  "is put at",
		"0.05 m2.1\n":           "is put at",
		"3.0 m2.1\n3.05 m2.2\n": "is put at",
	} {
		write(t, filepath.Join(dir, "taps-beats.txt"), text)
		if _, err := Find(t.Context(), dir, find); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", text, err)
		}
	}
	write(t, filepath.Join(dir, "taps-beats.txt"), "now\n") // left to the manifest's reader
	if note, err := Find(t.Context(), dir, never); note != "" || err != nil {
		t.Errorf("%q, %v", note, err)
	}
	if err := os.Remove(filepath.Join(dir, "taps.wav")); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "taps-beats.txt")); err != nil {
		t.Fatal(err)
	}
	if _, err := Find(t.Context(), dir, find); err == nil || !strings.Contains(err.Error(), "does not exist") {
		t.Error(err)
	}
	if note, err := Find(t.Context(), t.TempDir(), never); note != "" || err != nil {
		t.Errorf("in an empty folder: %q, %v", note, err)
	}
}
