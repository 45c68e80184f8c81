package media

import (
	"bytes"
	"flag"
	"io"
	"math"
	"slices"
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
		keys, err := ReadKeys(t.Context(), path, v.Index)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		out, err := ffmpegtest.Tool(t).Probe(t.Context(), []string{"-select_streams", "v:0", "-show_entries",
			"packet=dts_time,pts_time,flags", "-of", "csv=p=0", path})
		if err != nil {
			t.Fatal(err)
		}
		if holes := keys.Holes; (len(holes) > 0) != (c.name == "holes.mp4") {
			t.Errorf("%s: holes %+v", c.name, holes)
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

// Holes of pictures in Matroska, WebM and fragments, which have no index, are read from their
// packets: those that the same picture has in the index of an MP4, to a millisecond, in which
// Matroska counts.
func TestRealHolesWithoutAnIndex(t *testing.T) {
	const holed = "-c:v libx264 -preset fast -bf 2 -g 17 -pix_fmt yuv420p -fps_mode vfr -vf select='not(between(n,20,39))'"
	indexed := ffmpegtest.Make(t, "a.mp4", args(avArgs, holed)...)
	keys, err := ReadKeys(t.Context(), indexed, probe(t, indexed).Video.Index)
	if err != nil || len(keys.Holes) != 1 {
		t.Fatalf("%+v, %v", keys.Holes, err)
	}
	want := keys.Holes[0]
	for _, c := range []struct{ name, more string }{
		{"a.mkv", "-c copy"}, {"fragments.mp4", "-c copy -movflags frag_keyframe+empty_moov"},
		{"a.webm", "-c:v libvpx -deadline realtime -c:a libopus"},
	} {
		path := ffmpegtest.Make(t, c.name, args("-i "+indexed+" -fps_mode passthrough", c.more)...)
		info := probe(t, path)
		if _, err := ReadKeys(t.Context(), path, info.Video.Index); err == nil {
			t.Errorf("%s has an index", c.name)
		}
		got, err := ReadHoles(t.Context(), ffmpegtest.Tool(t), info)
		if err != nil || len(got) != 1 || math.Abs(got[0].At-want.At) > 0.0025 || math.Abs(got[0].Length-want.Length) > 0.0025 {
			t.Errorf("%s: %+v, %v, want %+v", c.name, got, err, want)
		}
	}
	info := probe(t, ffmpegtest.Make(t, "sound.wav", args("-f lavfi -i sine=d=1")...))
	if _, err := ReadHoles(t.Context(), ffmpegtest.Tool(t), info); err == nil {
		t.Error("a sound has frames")
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
		if _, err := ReadKeys(t.Context(), path, c.stream); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	whole := ffmpegtest.Make(t, "whole.mp4", args(avArgs, h264+"-g 25")...)
	cut := ffmpegtest.Make(t, "cut.mp4", args("-ss 0.3 -i", whole, "-c copy")...)
	if _, err := ReadKeys(t.Context(), cut, 0); err == nil || !strings.Contains(err.Error(), "edited") {
		t.Errorf("a file that begins within its first group of pictures: %v", err)
	}
}

// A file is opened where its reader begins with a key frame that is shown in
// time, and not at one that stands early and is shown late.
func TestKeysOpenAt(t *testing.T) {
	k := Keys{tick: 1e-3, step: 1e-3, list: []key{{-0.1, 0}, {0.9, 1}, {1.95, 2.1}, {4.9, 5}}}
	coarse := Keys{tick: 0.04, step: 0.04, list: []key{{0, 0}, {1, 1}, {1.04, 3}, {5, 5}}}
	for _, c := range []struct {
		keys         Keys
		start, first float64
		want         float64 // 0: from the beginning
	}{
		{k, 1, 0, 0.9}, {k, 1.5, 0, 0.9}, {k, 1 - 1e-9, 0, 0.9}, {k, 0.99, 0, 0}, {k, 2.05, 0, 0.9},
		{k, 2.1, 0, 1.95}, {k, 4.95, 0, 1.95}, {k, 5, 0, 4.9}, {k, 9, 0, 4.9}, {k, 1.5, 0.5, 1.4}, {k, 0.4, 0, 0},
		// Behind the frame at 1 s comes one that waits for 2 s: with a tick lost reading
		// would begin with that.
		{coarse, 2, 0, 0}, {coarse, 4, 0, 1.04}, {coarse, 6, 0, 5},
	} {
		if got, ok := c.keys.OpenAt(c.start, c.first); math.Abs(got-c.want) > 1e-9 || ok != (c.want > 0) {
			t.Errorf("for %g s after %g: %g, %v, want %g", c.start, c.first, got, ok, c.want)
		}
	}
}

// A hole is where one frame stays much longer than the others: not what a phone does that
// films in the dark, lets a frame go or writes uneven times.
func TestHolesAmongFrames(t *testing.T) {
	frames := func(stays ...int64) []int64 {
		at := []int64{0}
		for _, n := range stays {
			at = append(at, at[len(at)-1]+n)
		}
		return at
	}
	usual := []int64{33, 34, 33, 33, 34, 33, 33, 34, 33}
	with := func(n ...int64) []int64 {
		return frames(slices.Concat(usual, n, usual)...)
	}
	reordered := with(900)
	reordered[3], reordered[4] = reordered[4], reordered[3] // as frames that wait for each other are written
	for name, c := range map[string]struct {
		shown []int64
		want  []Hole
	}{
		"even":                   {frames(usual...), nil},
		"uneven":                 {frames(20, 45, 16, 66, 33, 50, 17, 33, 40, 28), nil},
		"a frame is missing":     {with(67), nil},
		"three are missing":      {with(133), nil},
		"dark":                   {frames(33, 33, 33, 66, 67, 66, 67, 66, 100, 100, 66), nil},
		"a second is missing":    {with(1033), []Hole{{At: 0.333, Length: 1}}},
		"two holes":              {with(533, 33, 33, 283), []Hole{{At: 0.333, Length: 0.5}, {At: 0.932, Length: 0.25}}},
		"out of order":           {reordered, []Hole{{At: 0.333, Length: 0.867}}},
		"a picture a second":     {frames(1000, 1000, 1000, 1000, 1500, 1000), nil},
		"three frames":           {frames(33, 3000), nil},
		"frames at the one time": {frames(0, 0, 0, 0, 0, 0), nil},
	} {
		got := findHoles(c.shown, 0.001)
		if len(got) != len(c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
			continue
		}
		for i, w := range c.want {
			if math.Abs(got[i].At-w.At) > 0.0015 || math.Abs(got[i].Length-w.Length) > 0.0015 {
				t.Errorf("%s: %+v, want %+v", name, got[i], w)
			}
		}
	}
}

// FuzzReadKeys reads indexes that may say anything about key frames and edits:
// there are frames or an error, and a file is opened where it may be. It needs no
// program and no file: with a real recording as its seed, a process to make it in
// every worker and a file for every try it had three tries in 25 s.
func FuzzReadKeys(f *testing.F) {
	times := box("stts", words(0, 2, 5, 40, 1, 200)...)
	sizes := box("stsz", words(0, 0, 6, 1, 1, 1, 1, 1, 1)...)
	sync := box("stss", words(0, 2, 1, 4)...)
	early := box("ctts", words(1<<24, 3, 2, 80, 2, 0xffffffd8, 2, 0)...)
	long := append(words(1<<24, 1), words(0, 900, 0, 40, 1<<16)...) // an edit list of 64 bits
	for _, edits := range [][]byte{nil,
		box("edts", box("elst", words(0, 1, 400, 0, 1<<16)...)...),
		box("edts", box("elst", words(0, 2, 10, 0xffffffff, 1<<16, 400, 0, 1<<16)...)...),
		box("edts", box("elst", long...)...),
		box("edts", box("elst", words(0, 2, 100, 0, 1<<16, 100, 200, 1<<16)...)...),
		box("edts", box("elst", words(0, 0x7fffffff)...)...),
	} {
		f.Add(edited(edits, "vide", itself, sizes, times, sync, early), 0)
		f.Add(edited(edits, "vide", itself, sizes, times), 0)
	}
	read := 0
	f.Fuzz(func(t *testing.T, data []byte, stream int) {
		k, err := readKeys(bytes.NewReader(data), int64(len(data)), stream)
		if err != nil {
			if k.list != nil {
				t.Error("an error and key frames")
			}
			return
		}
		read++
		for _, f := range k.list {
			if math.IsNaN(f.taken) || math.IsInf(f.taken, 0) || math.IsNaN(f.shown) || math.IsInf(f.shown, 0) {
				t.Errorf("a key frame at %+v", f)
			}
		}
		if len(k.list) > 1000 { // what follows looks at all of them again and again
			return
		}
		for _, start := range []float64{0, 0.04, 1, 1.5, 3, 1e4, -1} {
			for _, first := range []float64{0, 0.5, -0.5} {
				steps := func(at float64) float64 { return at / k.step }
				if at, ok := k.OpenAt(start, first); ok != (at > 0) || at < 0 ||
					math.Abs(steps(at)-math.Round(steps(at)))*k.step > 1e-6 {
					t.Errorf("for %g s after %g it opens at %g", start, first, at)
				}
			}
		}
	})
	if read == 0 && !fuzzing() {
		f.Error("none of the seeds has key frames")
	}
}

// fuzzing tells whether targets run for longer than their seeds take.
func fuzzing() bool {
	fuzz := flag.Lookup("test.fuzz")
	return fuzz != nil && fuzz.Value.String() != ""
}

// readKeys is [ReadKeys] of what r reads.
func readKeys(r io.ReaderAt, size int64, stream int) (Keys, error) {
	x, err := readIndex(r, size, stream)
	if err != nil {
		return Keys{}, err
	}
	return x.openings(), nil
}
