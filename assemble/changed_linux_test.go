package assemble

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
)

// TestReplacedFolder puts a link to another folder in the place of a take's, while
// it is read, and the folder back before anybody looks: the file under its name is
// the same before and after, and neither its size, times nor inode tell. What is
// read is the take all the same, by this program, by ffprobe and by ffmpeg, in every
// kind of file; an ending that means nothing, or none, does not matter.
func TestReplacedFolder(t *testing.T) {
	s := newShort(t)
	temp, outside := t.TempDir(), t.TempDir()
	t.Setenv("TMPDIR", temp)
	p := s.open(t, "  - {name: x, expected: true}\n", "aspect: 16:9", 320, 180)
	files := []struct {
		name string
		args []string
	}{
		{"a.mp4", []string{"-c:a", "aac"}}, {"b.mov", []string{"-c:a", "pcm_s16le"}}, {"c.webm",
			[]string{"-c:a", "libopus"}},
		{"d.mp3", []string{"-c:a", "libmp3lame"}}, {"e.aac", []string{"-c:a", "aac"}}, {"f.wav",
			[]string{"-c:a", "pcm_s24le"}},
		{"g.flac", []string{"-c:a", "flac"}}, {"h.ts", []string{"-c:a", "mp2"}},
		{"no ending", []string{"-c:a", "flac", "-f", "flac"}}, {"a.b.an ending longer than any",
			[]string{"-c:a", "aac", "-f", "mp4"}},
	}
	all := []string{"-y", "-f", "lavfi", "-i", "sine=r=48000:d=3"}
	for _, c := range files {
		all = join(all, c.args, []string{"-t", "3", "file:" + s.file(c.name)},
			c.args, []string{"-t", "1", "file:" + filepath.Join(outside, c.name)})
	}
	run(t, s.tool, ffmpeg.Command{Args: all})
	for _, c := range files {
		path := s.file(c.name)
		path, err := media.Resolve(s.dir, path)
		if err != nil {
			t.Fatal(err)
		}
		id, err := p.Store().HashFile(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := media.Probe(t.Context(), s.tool, path)
		if err != nil {
			t.Fatal(err)
		}
		folder, dst := filepath.Dir(path), filepath.Join(t.TempDir(), "sound.wav")
		var info media.Info
		var d media.Decoded
		err = p.Store().Steady(t.Context(), path, id, func(ctx context.Context) (err error) {
			if err := errors.Join(os.Rename(folder, folder+".aside"), os.Symlink(outside, folder)); err != nil {
				t.Fatal(err)
			}
			if info, err = media.Probe(ctx, s.tool, path); err == nil {
				d, err = media.Decode(ctx, s.tool, info, dst)
			}
			return errors.Join(err, os.Remove(folder), os.Rename(folder+".aside", folder))
		})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := float64(d.Frames) / float64(d.Rate); math.Abs(got-3) > 0.1 || math.Abs(info.Duration-3) > 0.1 {
			t.Errorf("%s: %g s of sound and %g by its head; the take has 3, the other file 1", c.name, got,
				info.Duration)
		}
		if a, b := *info.Audio, *plain.Audio; a != b || info.Path != plain.Path {
			t.Errorf("%s: it is %+v, and by its name %+v", c.name, a, b)
		}
	}
	left, err := os.ReadDir(temp)
	if err != nil || len(left) > 0 {
		t.Errorf("links are left behind: %v, %v", left, err)
	}
}
