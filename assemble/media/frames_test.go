package media

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// keep collects copies of frames.
type keep struct{ frames []Gray }

func (k *keep) take(g Gray) error {
	g.Pix = append([]byte{}, g.Pix...)
	k.frames = append(k.frames, g)
	return nil
}

// A picture that is black on the left and white on the right, in full range,
// in limited range, and turned by a quarter with the file's mark to turn it
// back: all come out as the same grey picture.
func TestRealSampleGray(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	half := "-vf drawbox=x=80:w=80:h=90:color=white:t=fill -c:v libx264 -preset ultrafast -pix_fmt "
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i color=black:s=160x90:r=25:d=6"),
		ffmpegtest.Output{Name: "limited.mp4", Args: args(half + "yuv420p -g 25")},
		ffmpegtest.Output{Name: "full.mp4", Args: args(half + "yuvj420p -g 25")},
		ffmpegtest.Output{Name: "side.mp4",
			Args: args("-vf drawbox=x=80:w=80:h=90:color=white:t=fill,transpose=cclock -c:v libx264 -preset " +
				"ultrafast -pix_fmt yuv420p -g 25")})
	paths = append(paths, ffmpegtest.Make(t, "turned.mp4", args("-i", paths[2], "-c copy -metadata:s:v rotate=270")...))
	for _, path := range []string{paths[0], paths[1], paths[3]} {
		info := probe(t, path)
		for _, whole := range []bool{false, true}[:1+btoi(path == paths[0])] {
			var k keep
			if _, err := SampleGray(ctx, tool, info, Sampling{Width: 32, Every: 2, Whole: whole}, k.take); err != nil {
				t.Fatal(err)
			}
			if len(k.frames) != 3 {
				t.Fatalf("%s: %d frames in 6 s", path, len(k.frames))
			}
			g := k.frames[1]
			if g.W != 32 || g.H != 18 || len(g.Pix) != 32*18 {
				t.Fatalf("%s: %d × %d", path, g.W, g.H)
			}
			for i, v := range g.Pix {
				if x := i % 32; x < 15 && v > 4 || x > 16 && v < 251 {
					t.Fatalf("%s: pixel %d,%d is %d", path, x, i/32, v)
				}
			}
		}
	}
	info := probe(t, paths[0])
	stop := errors.New("enough")
	if _, err := SampleGray(ctx, tool, info, Sampling{Width: 32}, func(Gray) error { return stop }); err != stop {
		t.Errorf("the user's error came back as %v", err)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := SampleGray(cancelled, tool, info, Sampling{Width: 32}, new(keep).take); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
	for _, s := range []Sampling{{Width: 2}, {Width: 100_000}, {Width: 32, Every: -1}, {Width: 32, Every: math.NaN()}} {
		if _, err := SampleGray(ctx, tool, info, s, new(keep).take); err == nil {
			t.Errorf("%+v was accepted", s)
		}
	}
	info.Video = nil
	_, err := SampleGray(ctx, tool, info, Sampling{Width: 32}, new(keep).take)
	faultOf(t, err)
}

// One key frame in three gives the frames that every third one would be, turned,
// mirrored and in full range as well, and from codecs and containers of other
// kinds, of which some have to be decoded the plain way.
func TestRealSampleOneKeyFrameInSome(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i testsrc2=s=320x180:r=25:d=6"),
		ffmpegtest.Output{Name: "a.mp4", Args: args("-c:v libx264 -preset ultrafast -pix_fmt yuv420p -g 25 -bf 2")},
		ffmpegtest.Output{Name: "full.mp4",
			Args: args("-c:v libx264 -preset ultrafast -pix_fmt yuvj420p -color_range pc -g 25")},
		ffmpegtest.Output{Name: "b.avi", Args: args("-c:v mpeg4 -q:v 2 -g 25 -bf 2")},
		ffmpegtest.Output{Name: "c.mov", Args: args("-c:v mjpeg -q:v 2 -r 5")},
		ffmpegtest.Output{Name: "d.webm", Args: args("-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -g 25 -b:v 2M")},
		ffmpegtest.Output{Name: "e.ts", Args: args("-c:v mpeg2video -q:v 2 -g 25 -bf 2")})
	var turned []ffmpegtest.Output
	for _, turn := range []int{90, 180, 270} {
		turned = append(turned, ffmpegtest.Output{Name: fmt.Sprint(turn, ".mp4"),
			Args: args("-c copy -metadata:s:v", fmt.Sprint("rotate=", turn))})
	}
	paths = append(paths, ffmpegtest.MakeAll(t, args("-i", paths[0]), turned...)...)
	for n, m := range [][4]int32{{-1, 0, 0, 1}, {1, 0, 0, -1}, {0, 1, 1, 0}, {0, -1, -1, 0}} {
		path := withMatrix(t, paths[0], fmt.Sprint("mirrored", n, ".mp4"), m)
		if !probe(t, path).Video.Mirrored {
			t.Fatalf("%s is not mirrored", path)
		}
		paths = append(paths, path)
	}
	for _, path := range paths {
		sameThinned(t, path)
	}
	stop := errors.New("enough")
	if _, err := SampleGray(ctx, tool, probe(t, paths[0]), Sampling{Width: 32, OneIn: 2},
		func(Gray) error { return stop }); err != stop {
		t.Errorf("the user's error came back as %v", err)
	}
}

// withMatrix copies an MP4 file of one picture with another display matrix, of
// whole numbers in reading order (ISO/IEC 14496-12, 8.3.2, version 0).
func withMatrix(t *testing.T, path, name string, m [4]int32) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var matrix []byte
	for _, v := range []int32{m[0] << 16, m[1] << 16, 0, m[2] << 16, m[3] << 16, 0, 0, 0, 1 << 30} {
		matrix = binary.BigEndian.AppendUint32(matrix, uint32(v))
	}
	copy(data[bytes.Index(data, []byte("tkhd"))+44:], matrix)
	return write(t, name, data)
}

// sameThinned compares one key frame in three of a file of six seconds with
// every third of all.
func sameThinned(t *testing.T, path string) {
	t.Helper()
	info := probe(t, path)
	var all, some keep
	for _, c := range []struct {
		k     *keep
		oneIn int
	}{{&all, 1}, {&some, 3}} {
		damaged, err := SampleGray(ctx, ffmpegtest.Tool(t), info, Sampling{Width: 160, OneIn: c.oneIn}, c.k.take)
		if err != nil || damaged > 0 {
			t.Fatalf("%s, one in %d: %d damaged, %v", path, c.oneIn, damaged, err)
		}
	}
	keys := len(all.frames)
	if info.Video.Codec == "vp9" {
		keys = 6 // its decoder knows no key frames, and gave all frames there are
	}
	if want := (keys + 2) / 3; keys < 6 || len(some.frames) != want {
		t.Errorf("%s: %d frames of %d, want %d", path, len(some.frames), keys, want)
		return
	}
	if len(all.frames) != keys {
		return
	}
	for i, g := range some.frames {
		if g.W != all.frames[0].W || g.H != all.frames[0].H {
			t.Fatalf("%s: %d × %d", path, g.W, g.H)
		}
		for j, v := range g.Pix {
			if d := int(v) - int(all.frames[3*i].Pix[j]); d < -1 || d > 1 {
				t.Errorf("%s: frame %d is %d grey values off", path, i, d)
				return
			}
		}
	}
}

// Pictures that refer across key frames, whole and cut between two: nothing in
// them is broken.
func TestRealSampleOpenGroups(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	open := ffmpegtest.Make(t, "open.mp4",
		args("-f lavfi -i testsrc2=s=320x180:r=30:d=8 -c:v libx264 -preset veryfast -pix_fmt yuv420p -x264-params "+
			"open-gop=1:keyint=30:bframes=3")...)
	for _, path := range []string{open, ffmpegtest.Make(t, "cut.mp4", args("-ss 1.5 -i", open, "-c copy")...)} {
		for _, s := range []Sampling{{Width: 32}, {Width: 32, OneIn: 2}, {Width: 32, Whole: true}} {
			if damaged, err := SampleGray(ctx, tool, probe(t, path), s, new(keep).take); err != nil || damaged > 0 {
				t.Errorf("%s %+v: %d damaged, %v", path, s, damaged, err)
			}
		}
	}
}

// Packets whose first length is wrong are counted one by one, whatever share of
// the key frames is decoded.
func TestRealSampleCountsPackets(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	path := ffmpegtest.Make(t, "a.mp4", args("-f lavfi -i testsrc2=s=160x90:r=25:d=8 -c:v libx264 -preset ultrafast "+
		"-pix_fmt yuv420p -g 25")...)
	out, err := tool.Probe(ctx, args("-show_entries packet=pos -of csv=p=0", path))
	if err != nil {
		t.Fatal(err)
	}
	packets := strings.Fields(string(out))
	for _, broken := range [][]int{{33}, {75}, {10, 20, 30, 40, 60, 75, 80, 90}} { // 75 is a key frame
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range broken {
			at, err := strconv.Atoi(packets[n])
			if err != nil {
				t.Fatal(err)
			}
			binary.BigEndian.PutUint32(data[at:], math.MaxInt32)
		}
		info := probe(t, write(t, "broken.mp4", data))
		for _, oneIn := range []int{1, 2, 3} {
			if damaged, err := SampleGray(ctx, tool, info, Sampling{Width: 32, OneIn: oneIn},
				new(keep).take); err != nil || damaged != len(broken) {
				t.Errorf("packets %v broken, one key frame in %d: %d damaged, %v", broken, oneIn, damaged, err)
			}
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestRealFrameTimes(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i", picture),
		ffmpegtest.Output{Name: "even.mp4", Args: args("-c:v libx264 -preset fast -bf 2 -g 25 -sc_threshold 0")},
		ffmpegtest.Output{Name: "gap.mp4",
			Args: args("-vf select=lt(n\\,20)+gt(n\\,34) -fps_mode vfr -c:v libx264 -preset ultrafast")})
	for n, want := range [][]float64{{0, 0.04, 0.08}, {0, 0.04, 0.08}} {
		times, keys, err := FrameTimes(ctx, tool, probe(t, paths[n]), 60)
		if err != nil {
			t.Fatal(err)
		}
		// What the index says is what ffprobe says, to the microsecond that it prints.
		near := func(a, b float64) bool { return math.Abs(a-b) < 2e-6 }
		inTimes, inKeys, err := IndexTimes(ctx, probe(t, paths[n]), 60)
		if err != nil || !slices.EqualFunc(inTimes, times, near) || !slices.EqualFunc(inKeys, keys, near) {
			t.Errorf("file %d: the index says %v and %v, %v", n, inTimes, inKeys, err)
		}
		for i := range want {
			if math.Abs(times[i]-want[i]) > 1e-4 {
				t.Errorf("file %d frame %d at %g, want %g", n, i, times[i], want[i])
			}
		}
		if n == 0 && !slices.Equal(keys, []float64{0, 1}) {
			t.Errorf("key frames at %v", keys)
		}
		if n == 0 && len(times) != 50 || n == 1 && (len(times) != 35 || math.Abs(times[20]-1.4) > 1e-4) {
			t.Errorf("file %d: %d frames, %v", n, len(times), times)
		}
	}
}

func TestRealVerifyFilm(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	// 144,123 is no multiple of a packet, so the last one is padded.
	good := "-map 0 -map 1 -vf scale=out_color_matrix=bt709:out_range=tv,format=yuv420p -c:v libx264 -profile:v " +
		"high -preset fast " +
		"-colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv -af atrim=end_sample=144123 -c:a " +
		"aac -movflags +faststart"
	silent := "-map 0 -vf scale=out_color_matrix=bt709:out_range=tv,format=yuv420p -c:v libx264 -profile:v high " +
		"-preset fast " +
		"-colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv -movflags +faststart"
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i testsrc=s=160x90:r=30:d=3 -f lavfi -i anoisesrc=r=48000:d=4"),
		ffmpegtest.Output{Name: "good.mp4", Args: args(good)},
		ffmpegtest.Output{Name: "late index.mp4", Args: args(good, "-movflags -faststart")},
		ffmpegtest.Output{Name: "frame less.mp4", Args: args(good, "-frames:v 89")},
		ffmpegtest.Output{Name: "frame more.mp4",
			Args: args(good, "-vf tpad=stop=1,scale=out_color_matrix=bt709:out_range=tv,format=yuv420p")},
		ffmpegtest.Output{Name: "short sound.mp4", Args: args(good, "-af atrim=end_sample=142000")},
		ffmpegtest.Output{Name: "silent.mp4", Args: args(silent)})
	want := Want{W: 160, H: 90, Frames: 90, FPSNum: 30, FPSDen: 1, AudioSamples: 144123, Channels: 1}
	for n, bad := range []bool{false, true, true, true, true, true} {
		if err := VerifyFilm(ctx, tool, paths[n], want); (err != nil) != bad {
			t.Errorf("%s: %v", paths[n], err)
		}
	}
	want.AudioSamples = 0
	if err := VerifyFilm(ctx, tool, paths[5], want); err != nil {
		t.Errorf("a film that shall be silent: %v", err)
	}
	if err := VerifyFilm(ctx, tool, paths[0], want); err == nil {
		t.Error("sound where none is wanted passed")
	}
	if err := VerifyFilm(ctx, tool, paths[0]+".none", want); err == nil {
		t.Error("a missing film passed")
	}
}

// In a transport stream whose sound begins a second before its picture, the
// picture decoded alone must still begin a second after the file's zero.
func TestRealPictureKeepsItsClock(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	made := ffmpegtest.MakeAll(t, args("-f lavfi -i", picture, "-f lavfi -i", sound),
		ffmpegtest.Output{Name: "v.mp4", Args: args("-map 0 -c:v libx264 -preset ultrafast -pix_fmt yuv420p")},
		ffmpegtest.Output{Name: "a.m4a", Args: args("-map 1 -c:a aac")})
	for _, name := range []string{"late.ts", "late.mkv"} {
		info := probe(t, ffmpegtest.Make(t, name, args("-i", made[1], "-itsoffset 1 -i", made[0],
			"-map 0:a -map 1:v -c copy")...))
		if math.Abs(info.Video.Start-1) > 0.05 {
			t.Fatalf("%s: the picture starts at %g s", name, info.Video.Start)
		}
		var out byteCounter
		// The fps filter fills the time before the first picture with it.
		if err := tool.Run(ctx, ffmpeg.Command{Stdout: &out, Args: append(InputArgs(tool, info.Path),
			args("-map 0:v -vf fps=25:start_time=0,scale=16:16,format=gray -f rawvideo pipe:1")...)}); err != nil {
			t.Fatal(err)
		}
		if frames := out.n / 256; frames < 74 || frames > 76 {
			t.Errorf("%s: %d frames at 25 a second, want 3 s", name, frames)
		}
	}
}
