package assemble

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// TestDamagedTakesGiveTheSameBytes renders takes with damaged pictures alone and
// several at once: what a decoder puts in the place of what it cannot read must
// not depend on how much else the machine does.
func TestDamagedTakesGiveTheSameBytes(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	takes := ""
	for _, c := range []struct{ name, codec string }{{"phone.mp4", "libx264"}, {"browser.webm", "libvpx"}} {
		run(t, s.tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", "testsrc2=s=640x360:r=24:d=3", "-c:v",
			c.codec, "-threads", "1",
			"-b:v", "1M", "-g", "48", "-pix_fmt", "yuv420p", "-y", s.file(c.name)}})
		flipped(t, s.file(c.name), 400)
		takes += "  - {name: " + strings.TrimSuffix(c.name, filepath.Ext(c.name)) + ", video: {file: intake/" +
			c.name + ", offset: 0}}\n"
	}
	films := map[int][]byte{}
	for _, workers := range []int{1, 3} {
		p := s.open(t, takes, "aspect: 16:9", 640, 360)
		p = reopen(t, p, func(set *Settings) { set.Workers = workers })
		r, err := p.Render(t.Context(), RenderOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if films[workers], err = os.ReadFile(r.Output); err != nil {
			t.Fatal(err)
		}
		if _, err := p.Clean(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if string(films[1]) != string(films[3]) {
		t.Error("with another number of workers the film has other bytes")
	}
}

// TestReplacedWhileRead puts another file, and a link that leads out of the
// folder, in a take's place while ffmpeg reads it. Neither gets into the film
// nor into the store under the first one's key.
func TestReplacedWhileRead(t *testing.T) {
	t.Parallel()
	for _, what := range []string{"another file", "a link"} {
		t.Run(what, func(t *testing.T) {
			s := newShort(t)
			for name, filter := range map[string]string{"take.mp4": "color=red", "other.mp4": "color=lime"} {
				run(t, s.tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", filter + ":s=320x180:r=24:d=3", "-f",
					"lavfi", "-i", "sine=d=3",
					"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac", "-y",
					s.file(name)}})
			}
			first, err := os.ReadFile(s.file("take.mp4"))
			if err != nil {
				t.Fatal(err)
			}
			outside := filepath.Join(t.TempDir(), "outside.mp4")
			if err := os.Rename(s.file("other.mp4"), outside); err != nil {
				t.Fatal(err)
			}
			const takes = `  - {name: take, video: {file: intake/take.mp4, offset: 0}}`
			p := s.open(t, takes, "aspect: 16:9", 320, 180)
			// As soon as the first process that reads the take has ended, it is replaced.
			replaced := false
			ended := func(u ffmpeg.Usage) {
				if replaced || !strings.Contains(strings.Join(u.Args, " "), "take.mp4") || u.Args[0] != "ffmpeg" {
					return
				}
				replaced = true
				part := s.file("part")
				put := os.Symlink(outside, part)
				if what == "another file" {
					data, err := os.ReadFile(outside)
					put = errors.Join(err, os.Remove(part), os.WriteFile(part, data, 0o666))
				}
				if err := errors.Join(put, os.Rename(part, s.file("take.mp4"))); err != nil {
					t.Error(err)
				}
			}
			p = reopen(t, p, func(set *Settings) { set.Programs.Ended = ended })
			r, err := p.Render(t.Context(), RenderOptions{})
			told := false
			for _, f := range r.Faults {
				told = told || strings.Contains(f.What, "intake/take.mp4: the file changed while it was read")
			}
			if err == nil && !told {
				t.Errorf("nothing is said: %+v", r.Faults)
			}
			if !replaced {
				t.Fatal("it was not replaced")
			}
			if err := p.Close(); err != nil {
				t.Fatal(err)
			}
			// With the first file in its place again the film is its own.
			if err := errors.Join(os.Remove(s.file("take.mp4")), os.WriteFile(s.file("take.mp4"), first,
				0o666)); err != nil {
				t.Fatal(err)
			}
			f := s.film(t, takes, "aspect: 16:9", 320, 180)
			if c := f.middle(12, 0, 0.5, 0.5); c[2] < 200 {
				t.Errorf("the picture is not red: %v", c)
			}
		})
	}
}
