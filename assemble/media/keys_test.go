package media

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// Key frames, when they are taken and when they are shown, are as ffprobe lists
// them.
func TestRealKeysAreThoseOfFFprobe(t *testing.T) {
	h264 := "-c:v libx264 -preset fast -bf 3 -g 17 -pix_fmt yuv420p "
	for _, c := range []struct{ name, more string }{
		{"a.mp4", h264},
		{"sound-first.mov", "-map 1 -map 0 " + h264},
		{"late.mov", h264 + "-output_ts_offset 0.5"},
		{"holes.mp4", h264 + "-vf select='not(between(mod(n,20),5,9))' -fps_mode vfr"},
		{"negative.mp4", h264 + "-movflags negative_cts_offsets"},
		{"intra.mp4", "-c:v mjpeg -pix_fmt yuvj420p"},
	} {
		path := ffmpegtest.Make(t, c.name, args(avArgs, c.more)...)
		v := probe(t, path).Video
		keys, err := ReadKeys(path, v.Index)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		out, err := ffmpegtest.Tool(t).Probe(t.Context(), []string{"-select_streams", "v:0", "-show_entries", "packet=dts_time,pts_time,flags", "-of", "csv=p=0", path})
		if err != nil {
			t.Fatal(err)
		}
		var want []key
		first := math.Inf(1)
		for line := range strings.Lines(string(out)) {
			f := strings.Split(strings.TrimSpace(line), ",")
			shown, err1 := strconv.ParseFloat(f[0], 64)
			taken, err2 := strconv.ParseFloat(f[1], 64)
			if err1 != nil || err2 != nil {
				t.Fatal(c.name, line)
			}
			first = min(first, shown)
			if strings.HasPrefix(f[2], "K") {
				want = append(want, key{taken, shown})
			}
		}
		if len(want) < 2 || len(keys.list) != len(want) {
			t.Errorf("%s: %d key frames, ffprobe has %d", c.name, len(keys.list), len(want))
			continue
		}
		for i, w := range want {
			if k := keys.list[i]; math.Abs(k.taken-(w.taken-first)) > 2e-6 || math.Abs(k.shown-(w.shown-first)) > 2e-6 {
				t.Errorf("%s: key frame %d is %+v, ffprobe has %+v after %g", c.name, i, k, w, first)
			}
		}
	}
}

// Files whose index does not say it, or says it of something else, are errors
// and no wrong times.
func TestRealKeysThatAreNotThere(t *testing.T) {
	h264 := "-c:v libx264 -g 10 -pix_fmt yuv420p "
	for _, c := range []struct {
		name, more string
		stream     int
		want       string
	}{
		{"sound.mp4", h264, 1, "no picture"},
		{"none.mp4", h264, 7, "no such stream"},
		{"fragments.mp4", h264 + "-movflags frag_keyframe+empty_moov", 0, "0 frames"},
		{"a.mkv", h264, 0, "no index"},
	} {
		path := ffmpegtest.Make(t, c.name, args(avArgs, c.more)...)
		if _, err := ReadKeys(path, c.stream); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	whole := ffmpegtest.Make(t, "whole.mp4", args(avArgs, h264+"-g 25")...)
	cut := ffmpegtest.Make(t, "cut.mp4", args("-ss 0.3 -i", whole, "-c copy")...)
	if _, err := ReadKeys(cut, 0); err == nil || !strings.Contains(err.Error(), "edited") {
		t.Errorf("a file that begins within its first group of pictures: %v", err)
	}
}

// A file is opened where its reader begins with a key frame that is shown in
// time, and not at one that stands early and is shown late.
func TestKeysOpenAt(t *testing.T) {
	k := Keys{tick: 1e-3, list: []key{{-0.1, 0}, {0.9, 1}, {1.95, 2.1}, {4.9, 5}}}
	for _, c := range []struct {
		start, first float64
		want         float64 // 0 for none
	}{
		{1, 0, 1}, {1.5, 0, 1}, {1 - 1e-9, 0, 1}, {0.99, 0, 0},
		{2.05, 0, 1}, {2.1, 0, 2}, {3.9, 0, 3}, {4.95, 0, 4}, {5, 0, 5}, {9, 0, 9},
		{1.5, 0.5, 1}, {1.2, 0.5, 1}, {2.5, 0.5, 2}, {2.7, 0.5, 2}, {0.4, 0, 0},
	} {
		if got, ok := k.OpenAt(c.start, c.first, 3); got != c.want || ok != (c.want > 0) {
			t.Errorf("for %g s after %g: %g, %v, want %g", c.start, c.first, got, ok, c.want)
		}
	}
}

func FuzzReadKeys(f *testing.F) {
	path := ffmpegtest.Make(f, "seed.mp4", args(avArgs, "-c:v libx264 -g 10 -pix_fmt yuv420p")...)
	whole, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "f.mp4")
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		k, err := ReadKeys(path, 0)
		if err != nil && k.list != nil {
			t.Error("an error and key frames")
		}
		for start := range 10 {
			if at, ok := k.OpenAt(float64(start), 0, 3); ok && (at > float64(start) || at < float64(start)-3) {
				t.Errorf("for %d s it opens at %g", start, at)
			}
		}
	})
}
