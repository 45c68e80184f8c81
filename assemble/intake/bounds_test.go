package intake

import (
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/media"
)

// What people send is looked at as a whole; what is large for its file in part.
func TestBoundsOf(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		what         string
		bytes        int64
		w, h, fps    int
		seconds      float64
		frames, only int // seconds, rounded down
	}{
		{"a messenger's, 480 lines", 5_000_000, 854, 480, 30, 40, 0, 0},
		{"720 lines at 1 Mb/s", 5_000_000, 1280, 720, 30, 40, 0, 0},
		{"1080 lines at 10 Mb/s", 5_000_000, 1920, 1080, 30, 4, 0, 0},
		{"1080 lines at 1 Mb/s", 5_000_000, 1920, 1080, 30, 40, 0, 19},
		{"five minutes of 240 lines", 5_000_000, 426, 240, 25, 300, 0, 0},
		{"a phone's minute", 100_000_000, 1920, 1080, 30, 60, 0, 0},
		{"a phone's hour", 4_000_000_000, 3840, 2160, 60, 3600, 0, 1929},
		{"8K that hardly moves", 5_000_000, 7680, 4320, 30, 300, 36, 1},
		{"of unknown rate", 5_000_000, 1920, 1080, 0, 40, 0, 9},
	} {
		path := filepath.Join(dir, "a.mp4")
		if err := os.WriteFile(path, nil, 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(path, c.bytes); err != nil {
			t.Fatal(err)
		}
		v := &media.Video{W: c.w, H: c.h, FPSNum: c.fps, FPSDen: 1}
		got := BoundsOf(media.Info{Path: path, Duration: c.seconds, Video: v})
		if got.Frames != c.frames || int(got.Seconds) != c.only {
			t.Errorf("%s: %+v, want %d frames and %d s", c.what, got, c.frames, c.only)
		}
	}
}
