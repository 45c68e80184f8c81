package media

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// What ffmpeg writes is counted as ffmpeg counts it: 2 seconds of 25 frames.
func TestRealCountFrames(t *testing.T) {
	for _, c := range []struct {
		name string
		more string
	}{
		{"a.mp4", ""},
		{"sound-first.mov", "-map 1 -map 0"},
		{"index-first.mp4", "-movflags +faststart"},
		{"intra.mp4", "-g 1"},
	} {
		path := ffmpegtest.Make(t, c.name, args(avArgs, c.more)...)
		if n, err := CountFrames(path); n != 50 || err != nil {
			t.Errorf("%s: %d frames, %v, want 50", c.name, n, err)
		}
	}
}

// A file that was not finished has no number of frames.
func TestCountFramesOfABrokenFile(t *testing.T) {
	whole, err := os.ReadFile(ffmpegtest.Make(t, "a.mp4", args(avArgs)...))
	if err != nil {
		t.Fatal(err)
	}
	short := filepath.Join(t.TempDir(), "short.mp4")
	for _, c := range []struct {
		size int
		want string
	}{{0, "does not end"}, {len(whole) / 2, "does not end"}, {len(whole) - 1, "does not end"}} {
		if err := os.WriteFile(short, whole[:c.size], 0o666); err != nil {
			t.Fatal(err)
		}
		if n, err := CountFrames(short); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%d of %d bytes: %d frames, %v", c.size, len(whole), n, err)
		}
	}
	sound := ffmpegtest.Make(t, "sound.mp4", args("-f lavfi -i sine=d=1 -c:a aac")...)
	if _, err := CountFrames(sound); err == nil || !strings.Contains(err.Error(), "no picture") {
		t.Errorf("sound alone: %v", err)
	}
	if _, err := CountFrames(filepath.Join(t.TempDir(), "none.mp4")); !os.IsNotExist(err) {
		t.Errorf("no file: %v", err)
	}
}

func FuzzCountSamples(f *testing.F) {
	track := func(more ...byte) []byte {
		return box("trak", box("mdia", append(box("hdlr", 0, 0, 0, 0, 0, 0, 0, 0, 'v', 'i', 'd', 'e'),
			box("minf", box("stbl", box("stsz", append([]byte{0, 0, 0, 0, 0, 0, 0, 0}, more...)...)...)...)...)...)...)
	}
	whole := box("moov", track(0, 0, 1, 2)...)
	if n, err := countSamples(bytes.NewReader(whole), int64(len(whole))); n != 258 || err != nil {
		f.Fatalf("%d, %v", n, err)
	}
	f.Add(whole)
	f.Add(box("moov", track()...))
	f.Add(append(box("mdat", 1, 2, 3), box("moov")...))
	f.Fuzz(func(t *testing.T, data []byte) {
		n, err := countSamples(bytes.NewReader(data), int64(len(data)))
		if n < 0 || err != nil && n != 0 {
			t.Errorf("%d, %v", n, err)
		}
	})
}
