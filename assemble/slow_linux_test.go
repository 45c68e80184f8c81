package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/session"
)

// slowPictures are files of at most 5 MB that are made to keep a decoder busy: a few
// frames, repeated, with much picture in few bytes.
func slowPictures() []hostile {
	gray := func(size string) []string { return []string{"-f", "lavfi", "-i", "color=gray:s=" + size + ":r=30"} }
	moving := []string{"-f", "lavfi", "-i", "testsrc2=s=1280x720:r=30"}
	x264 := []string{"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-g"}
	return []hostile{
		{name: "pairs-of-4k.mp4", args: join(gray("3840x2160"), x264, []string{"2", "-frames:v", "2"})},
		{name: "4k-without-key-frames.mp4", args: join(gray("3840x2160"), []string{"-frames:v", "12", "-c:v", "mpeg4",
			"-g", "12"})},
		{name: "vp9.webm", args: join(gray("1920x1080"), []string{"-frames:v", "2", "-c:v", "libvpx-vp9", "-deadline",
			"realtime", "-cpu-used", "8", "-g", "2"})},
		{name: "hevc.mp4", args: join(gray("1920x1080"), []string{"-frames:v", "2", "-c:v", "libx265", "-preset",
			"ultrafast", "-x265-params", "keyint=2:log-level=error"})},
		{name: "grain.mp4", args: join(moving, []string{"-frames:v", "4", "-c:v", "libsvtav1", "-preset", "12", "-g",
			"4", "-crf", "63", "-svtav1-params", "film-grain=50"})},
		{name: "thousands-of-slices.mp4", args: join(gray("1920x1080"), x264, []string{"2", "-frames:v", "2",
			"-x264-params", "slice-max-mbs=4"})},
		{name: "interlaced.mp4", args: join(moving, x264, []string{"8", "-frames:v", "8", "-flags", "+ildct+ilme",
			"-x264-params", "deblock=6,6:cabac=1:bframes=3"})},
		{name: "run-lengths.mov", args: join(gray("3840x2160"), []string{"-frames:v", "4", "-c:v", "qtrle", "-g",
			"4"})},
		// Two key frames in the first minute, as of a picture that needs no care, and then
		// hundreds.
		{name: quietAtFirst, args: join(gray("7680x4320"), x264, []string{"1", "-frames:v", "1",
			"-x264-params", "cabac=1"})},
	}
}

const quietAtFirst = "quiet-at-first.mp4"

// writeSlow makes the file of h in a folder, of its frames so often that it has nearly
// 5 MB, but not more often than it takes.
func writeSlow(t *testing.T, tool *ffmpeg.Tool, h hostile, dir string) {
	t.Helper()
	const most, copies = 4_500_000, 40
	unit, path := filepath.Join(t.TempDir(), h.name), filepath.Join(dir, h.name)
	run(t, tool, ffmpeg.Command{Args: join(h.args, []string{"-threads", "1", "-y", "file:" + unit})})
	st, err := os.Stat(unit)
	if err != nil {
		t.Fatal(err)
	}
	if n := most / st.Size(); h.name == quietAtFirst {
		many := filepath.Join(filepath.Dir(unit), "many.mp4")
		repeat(t, tool, filepath.Dir(unit), many, strings.Repeat("file "+h.name+"\n", 30))
		repeat(t, tool, filepath.Dir(unit), path, strings.Repeat("file "+h.name+"\nduration 40\n", 2)+
			strings.Repeat("file many.mp4\n", int(n/30)))
	} else {
		repeat(t, tool, filepath.Dir(unit), path, strings.Repeat("file "+h.name+"\n", int(min(copies, n))))
	}
	if st, err = os.Stat(path); err != nil || st.Size() > 5_000_000 {
		t.Errorf("%s has %d bytes, %v", h.name, st.Size(), err)
	}
}

// repeat writes the packets of files in a folder one after the other, as a list of
// ffmpeg's says.
func repeat(t *testing.T, tool *ffmpeg.Tool, dir, path, list string) {
	t.Helper()
	script := filepath.Join(dir, "list")
	if err := os.WriteFile(script, []byte("ffconcat version 1.0\n"+list), 0o666); err != nil {
		t.Fatal(err)
	}
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "concat", "-i", script, "-c", "copy", "-y", "file:" + path}})
}

// TestSlowPictures checks slow pictures beside a good take, with a fifth of the time
// that files usually have, so that the test is short. None takes more than that before
// it is accepted or refused.
func TestSlowPictures(t *testing.T) {
	t.Parallel()
	const patience = time.Minute / 5
	most := hostileTime / 5
	s := newShort(t)
	run(t, s.tool, ffmpeg.Command{Args: join(somePicture, someSound, x264, []string{"-c:a", "aac", "-threads", "1",
		"-y", s.file("good.mp4")})})
	takes := "  - {name: good, video: {file: intake/good.mp4, offset: 0}}\n"
	table := slowPictures()
	for i, h := range table {
		writeSlow(t, s.tool, h, s.file(""))
		takes += fmt.Sprintf("  - {name: bad-%d, video: {file: intake/%s, offset: 0}}\n", i, h.name)
	}
	intake, err := filepath.EvalSymlinks(s.file(""))
	if err != nil {
		t.Fatal(err)
	}
	c := &costs{dir: filepath.Join(s.dir, session.StoreFolder), intake: intake, time: map[string]time.Duration{}}
	p := reopen(t, s.open(t, takes, "aspect: 16:9", 640, 360), func(set *Settings) {
		set.Workers = 1
		set.Programs.Ended, set.Programs.Patience = c.ended, patience
	})
	checked, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]Bad{}
	for _, b := range checked.Faults {
		told[b.Take] = b
	}
	if b, ok := told["good"]; ok {
		t.Errorf("the good take: %+v", b)
	}
	for i, h := range table {
		b, refused := told[fmt.Sprintf("bad-%d", i)]
		// Whether the slowest is done in time is the machine's affair.
		if refused && (h.name != quietAtFirst || !strings.Contains(b.Hint, "--patience")) {
			t.Errorf("%s: refused: %s (%s)", h.name, b.What, b.Hint)
		}
		if took := c.time[h.name]; took == 0 || took > most {
			t.Errorf("%s kept the processor busy for %v, at most %v is allowed", h.name, took, most)
		} else {
			t.Logf("%s: %v", h.name, took.Round(10*time.Millisecond))
		}
	}
}
