package picture

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// patterned returns a test pattern of 160x96 as a take's picture, with a clock of its own.
func patterned(path string, v *media.Video) plan.Picture {
	p := plan.Picture{Path: path, Stream: v.Index, First: v.Start, W: 160, H: 96,
		FPS: float64(v.FPSNum) / float64(v.FPSDen), Matrix: "bt709", PixFmt: v.PixFmt,
		Clock: audio.Clock{Offset: -0.213, Drift: 40}}
	if v.Interlaced {
		p.Fields = [2]int{v.W, v.H}
	}
	if v.HDR() {
		p.HDR, p.Matrix, p.Transfer, p.Primaries = true, v.Matrix, v.Transfer, v.Primaries
	}
	return p
}

// A part of a take's picture is opened near its beginning and not at the
// file's, and has the very frames of the picture conformed whole: in every kind
// of container, with key frames far apart, with pictures that wait for later
// ones, with holes in time, ticks as long as a frame and an edit list.
func TestPartsAreFoundByTheIndex(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	lavfi := []string{"-f", "lavfi", "-i", "testsrc2=size=160x96:rate=30:duration=8,noise=alls=20:allf=t:all_seed=3"}
	h264 := "-c:v libx264 -preset fast -bf 3 -g 62 -sc_threshold 0 -pix_fmt yuv420p "
	for _, c := range []struct {
		name, args string
		indexed    bool // begins at a key frame that its index names
	}{
		{"plain.mp4", h264, true},
		{"ticks.mp4", h264 + "-video_track_timescale 30", true},
		{"open.mp4", h264 + "-x264-params open-gop=1", true},
		{"open.mov", "-c:v libx265 -preset ultrafast -x265-params log-level=none:keyint=62:open-gop=1:bframes=3 " +
			"-pix_fmt yuv420p -tag:v hvc1", true},
		{"holes.mp4", h264 + "-g 58 -vf select='not(between(mod(n,60),20,41))' -fps_mode vfr", false},
		{"ntsc.mov", h264 + "-r 30000/1001", true},
		{"fragments.mp4", h264 + "-movflags frag_keyframe+empty_moov", false},
		{"late.mov", h264 + "-output_ts_offset 0.37", true},
		{"fields.mov", h264 +
			"-vf tinterlace=interleave_top,fieldorder=tff -flags +ildct+ilme -x264-params tff=1 -r 30",
			false},
		{"hlg.mp4", "-c:v libx265 -preset ultrafast -x265-params log-level=none:keyint=31:bframes=3:pools=1:" +
			"frame-threads=1 -pix_fmt yuv420p10le -color_trc arib-std-b67 -color_primaries bt2020 -colorspace " +
			"bt2020nc", true},
		{"plain.mkv", h264, false},
		{"live.webm", "-c:v libvpx -deadline realtime -g 62 -f webm -live 1", false},
		{"plain.ts", h264, false},
		{"plain.avi", "-c:v mpeg4 -g 60", false},
	} {
		path := filepath.Join(dir, c.name)
		run(t, tool, ffmpeg.Command{Args: append(append(lavfi[:len(lavfi):len(lavfi)], strings.Fields(c.args)...),
			path)})
		info, err := media.Probe(t.Context(), tool, path)
		if err != nil {
			t.Fatal(c.name, err)
		}
		v := info.Video
		take := plan.Conform{W: 160, H: 96, Picture: patterned(path, v)}
		if strings.HasPrefix(c.name, "fields") != v.Interlaced || strings.HasPrefix(c.name, "hlg") != v.HDR() {
			t.Errorf("%s: interlaced %v, HDR %v", c.name, v.Interlaced, v.HDR())
		}
		frames := func(from, to int) [][]byte {
			take.Frames = plan.Span{From: from, To: to}
			out := filepath.Join(dir, fmt.Sprintf("%s.%d.mp4", c.name, from))
			src := reading.Source(tool, take.Picture)
			openAt(t.Context(), &src, take, shot.Rate{Num: 25, Den: 1})
			if start := take.Picture.Clock.File(float64(from) / 25); c.indexed && from > 45 && src.Open < start-2.1 {
				t.Errorf("%s: for %.2f s the file is opened at %g", c.name, start, src.Open)
			}
			cmd, err := graph.Conform(take, src, shot.Rate{Num: 25, Den: 1}, "file:"+out)
			if err != nil {
				t.Fatal(err)
			}
			runGraph(t, tool, cmd, out)
			var md5 bytes.Buffer
			run(t, tool, ffmpeg.Command{Args: []string{"-i", out, "-f", "framemd5", "pipe:1"}, Stdout: &md5})
			var sums [][]byte
			for line := range bytes.Lines(md5.Bytes()) {
				if line[0] != '#' {
					sums = append(sums, line[bytes.LastIndexByte(line, ',')+1:])
				}
			}
			return sums
		}
		whole := frames(0, 175)
		if len(whole) != 175 {
			t.Fatalf("%s: %d frames", c.name, len(whole))
		}
		// The second is at 3.09 s of the file. In the file with holes a key frame
		// that stands before 2.7 s is shown at 3.4 s, and reading must begin with
		// the one before.
		for _, from := range []int{45, 72, 120} {
			for k, sum := range frames(from, from+6) {
				if !bytes.Equal(sum, whole[from+k]) {
					at := slices.IndexFunc(whole, func(w []byte) bool { return bytes.Equal(w, sum) })
					t.Errorf("%s from frame %d: frame %d is the picture of %d of the whole", c.name, from, from+k, at)
				}
			}
		}
	}
}
