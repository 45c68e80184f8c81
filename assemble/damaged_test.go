package assemble

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/intake"
	"ripieno/assemble/roll"
)

// flipped overwrites a stretch in the middle of a file with noise.
func flipped(t *testing.T, path string, bytes int) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for i := len(data) / 2; i < len(data)/2+bytes; i++ {
		data[i] = byte(rng.Uint32())
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

// Files whose middle was overwritten, as transfers and failing cards do it, are
// told to be damaged, in sound and picture, whatever their format; the same
// files whole are not. A second check knows it without decoding again.
func TestCheckFindsDamage(t *testing.T) {
	t.Parallel()
	ffmpegtest.Tool(t)
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "in"), 0o777); err != nil {
		t.Fatal(err)
	}
	in := []string{
		"-f", "lavfi", "-i", "testsrc2=size=640x360:rate=25:duration=12",
		"-f", "lavfi", "-i", "aevalsrc='0.3*sin(2*PI*440*t)*exp(-3*mod(t,0.5))+0.002*(random(0)-0.5)':s=48000:d=12",
	}
	both := []string{"-map", "0:v", "-map", "1:a", "-c:v", "libx264", "-preset", "ultrafast", "-g", "25", "-bf", "2",
		"-pix_fmt", "yuv420p", "-c:a", "aac"}
	sound := []string{"-map", "1:a"}
	formats := []struct {
		name, kind string
		args       []string
		bytes      int      // to overwrite
		parts      []string // that are said to be damaged
	}{
		{"phone.mp4", "video", both, 100_000, []string{"of the sound", "of the picture"}},
		{"screen.mkv", "video", both, 100_000, []string{"of the"}},
		{"memo.m4a", "audio", sound, 4000, []string{"of the sound"}},
		{"memo.mp3", "audio", sound, 4000, []string{"of the sound"}},
		{"memo.ogg", "audio", append(sound, "-c:a", "libvorbis"), 4000, []string{"of the sound"}},
		{"take.flac", "audio", sound, 4000, []string{"of the sound"}},
	}
	takes := ""
	var outputs []ffmpegtest.Output
	for _, f := range formats {
		outputs = append(outputs, ffmpegtest.Output{Name: f.name, Args: f.args})
	}
	made := ffmpegtest.MakeAll(t, in, outputs...)
	for i, f := range formats {
		data, err := os.ReadFile(made[i])
		if err != nil {
			t.Fatal(err)
		}
		for _, which := range []string{"whole", "broken"} {
			path := filepath.Join(dir, "in", which+"-"+f.name)
			if err := os.WriteFile(path, data, 0o666); err != nil {
				t.Fatal(err)
			}
			if which == "broken" {
				flipped(t, path, f.bytes)
			}
			takes += fmt.Sprintf("  - {name: %s%d, %s: {file: in/%s-%s, offset: 0}}\n", which, i, f.kind, which, f.name)
		}
	}
	text := "version: 1\ntitle: Damage\ntempo: {count_in: {measures: 0}, changes: [{measure: 1, meter: 4/4, bpm: " +
		"120}], measures: 5}\nrelease: yes\ntakes:\n" + takes
	for _, r := range checkTwice(t, openTest(t, dir, text)) {
		for i, c := range r.Takes {
			parts := formats[i/2].parts
			if i%2 == 0 {
				parts = nil
			}
			tellsDamage(t, formats[i/2].name, c, parts)
		}
	}
}

// tellsDamage holds what is said of a take's damage against the parts that are
// damaged, none of a whole take.
func tellsDamage(t *testing.T, file string, c roll.Checked, parts []string) {
	t.Helper()
	var said []string
	asked := false
	for _, f := range c.Findings {
		if f.Code == intake.Damaged {
			said = append(said, f.What)
			asked = asked || f.Level == intake.Ask && f.Ask != ""
		}
	}
	for _, part := range parts {
		if !slices.ContainsFunc(said, func(s string) bool { return strings.Contains(s, part) }) {
			t.Errorf("%s of %s: nothing is said %s: %q", c.Name, file, part, said)
		}
	}
	if parts == nil && said != nil {
		t.Errorf("%s of %s is whole, and called damaged: %q", c.Name, file, said)
	}
	if parts != nil && !asked {
		t.Errorf("%s of %s: the player is not asked: %q", c.Name, file, said)
	}
}
