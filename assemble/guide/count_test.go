package guide

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/guide/speech"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/mix/audio"
)

// speaker makes a production whose count-in is spoken, with recordings of three numbers.
func speaker(t *testing.T, count string) (*session.Session, Job) {
	t.Helper()
	dir := t.TempDir()
	for i, level := range []float64{0.3, 0.02, 0.9} {
		x := make([]float64, audio.Rate/2)
		for k := range x[:audio.Rate/4] {
			x[k+audio.Rate/8] = level * math.Sin(2*math.Pi*float64(200+100*i)*float64(k)/audio.Rate)
		}
		path := filepath.Join(dir, fmt.Sprintf("%d.wav", i+1))
		if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(audio.Block{x}, audio.Rate),
			media.PCM24); err != nil {
			t.Fatal(err)
		}
	}
	text := "version: 1\ntitle: T\nlanguage: de\ntempo: {count_in: {measures: 2}, measures: 1, " +
		"changes: [{measure: 1, meter: 3/4, bpm: 60}]}\nguide: {count: " + count + "}\n"
	man, err := manifest.Parse(filepath.Join(dir, manifest.FileName), []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	jobs, err := Jobs(man, nil)
	if err != nil {
		t.Fatal(err)
	}
	return session.New(session.Settings{Dir: dir}, man, ffmpegtest.Tool(t)), jobs[0]
}

// Recordings of numbers become words of the guide; a silent one is told by its name.
func TestRecordedNumbers(t *testing.T) {
	s, j := speaker(t, "[1.wav, 2.wav, 3.wav]")
	list, notes, err := words(t.Context(), s, j)
	if err != nil || len(list) != 3 || len(notes) > 0 {
		t.Fatalf("%d words, %q, %v", len(list), notes, err)
	}
	j.Options.Words = list
	if _, err := j.Source(); err != nil {
		t.Error(err)
	}
	silent := filepath.Join(s.Manifest().Dir, "2.wav")
	if _, err := media.CreateWAV(t.Context(), silent, audio.NewMemory(audio.NewBlock(1, 9600), audio.Rate),
		media.PCM24); err != nil {
		t.Fatal(err)
	}
	if _, _, err := words(t.Context(), s, j); err == nil || !strings.Contains(err.Error(),
		"2.wav: nothing is heard in it") {
		t.Error(err)
	}
	if err := os.Remove(silent); err != nil {
		t.Fatal(err)
	}
	if _, _, err := words(t.Context(), s, j); err == nil || !strings.Contains(err.Error(), "does not exist") {
		t.Error(err)
	}
}

// A program that stands in for espeak-ng is asked for each number in the production's
// language; where there is none, a note says so and the guide is made without.
func TestSpokenNumbers(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the stand-in is a shell script")
	}
	s, j := speaker(t, "spoken")
	folder := t.TempDir()
	asked := filepath.Join(folder, "asked")
	script := "#!/bin/sh\necho \"$@\" >> " + asked + "\n/bin/cp " + filepath.Join(s.Manifest().Dir, "1.wav") +
		" \"$6\"\n"
	if err := os.WriteFile(filepath.Join(folder, "espeak-ng"), []byte(script), 0o777); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", folder)
	list, notes, err := words(t.Context(), s, j)
	if err != nil || len(list) != 3 || len(notes) > 0 {
		t.Fatalf("%d words, %q, %v", len(list), notes, err)
	}
	got, _ := os.ReadFile(asked)
	for i, line := range strings.Split(strings.TrimSpace(string(got)), "\n") {
		if !strings.HasPrefix(line, "-v de -s 170 -w ") || !strings.HasSuffix(line, fmt.Sprintf(" -- %d", i+1)) {
			t.Errorf("it was asked %q", line)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, "espeak-ng"), []byte("#!/bin/sh\necho no voice\nexit 3\n"),
		0o777); err != nil {
		t.Fatal(err)
	}
	if _, _, err := words(t.Context(), s, j); err == nil || !strings.Contains(err.Error(), "no voice") {
		t.Error(err)
	}
	t.Setenv("PATH", t.TempDir())
	if list, notes, err := words(t.Context(), s, j); len(list) > 0 || len(notes) != 1 || err != nil {
		t.Errorf("without the program: %d words, %q, %v", len(list), notes, err)
	}
}

// The real program speaks the same samples twice, where it is installed.
func TestRealSpeech(t *testing.T) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		t.Skip("espeak-ng is an option and is not installed")
	}
	var before []byte
	for range 2 {
		files, err := speech.Numbers(context.Background(), "it", 1, t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(files[0])
		if err != nil || len(data) < 4000 || before != nil && string(data) != string(before) {
			t.Errorf("%d bytes, before %d, %v", len(data), len(before), err)
		}
		before = data
	}
}
