package doctor

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
)

// The machine that the tests run on is seen, and its ffmpeg taken.
func TestExamine(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	r, found, err := Examine(t.Context(), ffmpeg.Options{}, t.TempDir())
	if err != nil || found == nil || !r.Ready() {
		t.Fatalf("%v, %+v", err, r.Problems)
	}
	if r.FFmpeg.Version != tool.Version.Text || len(r.FFmpeg.Parts) != len(ffmpeg.Parts()) {
		t.Errorf("ffmpeg is %s with %d parts", r.FFmpeg.Version, len(r.FFmpeg.Parts))
	}
	if r.Cores < 1 || r.Memory < 100<<20 || r.Free < 1<<20 || r.Minute != nil {
		t.Errorf("the machine is %+v", r)
	}
	drawn := map[string]bool{}
	for _, s := range r.Scripts {
		drawn[s.Name] = s.Has
	}
	if !drawn["Latin"] || !drawn["Greek"] || !drawn["Cyrillic"] || drawn["Chinese"] {
		t.Errorf("scripts: %v", drawn)
	}
}

// Without ffmpeg there is a grave problem with the way to mend it, and no error.
func TestExamineWithoutFFmpeg(t *testing.T) {
	r, found, err := Examine(t.Context(), ffmpeg.Options{FFmpeg: filepath.Join(t.TempDir(), "none")}, t.TempDir())
	if err != nil || found != nil || r.Ready() || r.FFmpeg != nil {
		t.Fatalf("%v, %+v", err, r)
	}
	if p := r.Problems[0]; !strings.Contains(p.What, "not found") || !strings.HasPrefix(p.Mend, "install it with ") {
		t.Errorf("the problem is %+v", p)
	}
}

// Of an ffmpeg that lacks several parts the one without which nothing can be made is told
// first, and no tool is returned.
func TestGraveProblemsComeFirst(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the lean ffmpeg is a script")
	}
	tool := ffmpegtest.Tool(t)
	lean := filepath.Join(t.TempDir(), "ffmpeg")
	script := "#!/bin/sh\n\"" + tool.FFmpeg + "\" \"$@\" | grep -vE ' (libx264|libx265|zscale) '\n"
	if err := os.WriteFile(lean, []byte(script), 0o777); err != nil {
		t.Fatal(err)
	}
	r, found, err := Examine(t.Context(), ffmpeg.Options{FFmpeg: lean, FFprobe: tool.FFprobe}, t.TempDir())
	if err != nil || found != nil || r.Ready() || len(r.Problems) < 3 {
		t.Fatalf("%v, %+v", err, r.Problems)
	}
	if p := r.Problems[0]; !p.Grave || !strings.HasSuffix(p.What, "was built without libx264") {
		t.Errorf("the first problem is %+v", p)
	}
	for _, p := range r.Problems[1:] {
		if p.Grave {
			t.Errorf("%q is told late", p.What)
		}
	}
	if r.FFmpeg == nil || len(r.FFmpeg.Parts) != len(ffmpeg.Parts()) {
		t.Error("what the ffmpeg has is not told")
	}
}

// Problems with a hint of their own keep it.
func TestGraveKeepsTheHint(t *testing.T) {
	var r Report
	r.grave(fault.New(fault.FFmpeg, "x", "broken", "turn it off and on"))
	r.grave(errors.New("plain"))
	if r.Problems[0].Mend != "turn it off and on" || r.Problems[1].What != "plain" || r.Ready() {
		t.Errorf("%+v", r.Problems)
	}
}

// The trial's manifest is a good one, and its recording is long enough for everybody's
// stretch of it.
func TestTrial(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	dir, err := WriteTrial(t.Context(), tool)
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	p, err := manifest.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Takes) != TrialPlayers {
		t.Errorf("%d takes", len(p.Takes))
	}
	if got := p.Tempo.End() - p.Tempo.Start(); math.Abs(got-TrialSeconds) > 1e-9 {
		t.Errorf("the piece lasts %v s", got)
	}
	info, err := media.Probe(t.Context(), tool, filepath.Join(dir, p.Takes[0].Video.Path))
	if err != nil {
		t.Fatal(err)
	}
	for _, take := range p.Takes {
		if from := *take.Video.Offset; from > p.Tempo.Start() || from+info.Duration < p.Tempo.End() {
			t.Errorf("%s lies from %.2f to %.2f s, the piece from %.2f to %.2f", take.Name, from, from+info.Duration,
				p.Tempo.Start(), p.Tempo.End())
		}
	}
}

// What tells who somebody is is replaced, however it is written, and parts of other
// words stay.
func TestHide(t *testing.T) {
	s := secrets{{`C:\Users\Mara`, "~"}, {"mara", "(user)"}, {"larch-pc", "(machine)"}}
	for text, want := range map[string]string{
		`"path": "C:\\Users\\Mara\\ffmpeg.exe"`: `"path": "~\\ffmpeg.exe"`,
		"/home/mara/x on LARCH-PC":              "/home/(user)/x on (machine)",
		"marathon, tamara":                      "marathon, tamara",
	} {
		if got := s.hide(text); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}

// A bundle says nothing of the home folder.
func TestBundle(t *testing.T) {
	home, err := os.UserHomeDir()
	if err != nil || len(home) < 3 {
		t.Skip("there is no home folder")
	}
	r := Report{Folder: filepath.Join(home, "round")}
	text, err := r.text("takes: []\n")
	if err != nil || !strings.HasPrefix(text, BundleHead) || !strings.Contains(text, "takes: []") {
		t.Fatalf("%v: %s", err, text)
	}
	if strings.Contains(text, home) {
		t.Errorf("the home folder is in it:\n%s", text)
	}
}
