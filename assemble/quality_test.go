package assemble

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// grainy makes a moving picture with grain, as a phone encodes it: 30 frames a
// second in BT.709.
func grainy(t testing.TB, tool *ffmpeg.Tool, path string, w, h, frames int) {
	t.Helper()
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("testsrc2=size=%dx%d:rate=30,noise=alls=6:allf=t:all_seed=7", w, h),
		"-frames:v", strconv.Itoa(frames), "-c:v", "libx264", "-preset", "veryfast", "-crf", "23", "-g", "250",
		"-pix_fmt", "yuv420p",
		"-colorspace", "bt709", "-y", path}})
}

// likeness measures a against b, frame by frame, with a filter of ffmpeg's;
// before is applied to each first.
func likeness(t testing.TB, tool *ffmpeg.Tool, filter, a, b, beforeA, beforeB string) float64 {
	t.Helper()
	stats := filepath.Join(t.TempDir(), "stats")
	run(t, tool, ffmpeg.Command{Args: []string{"-i", a, "-i", b, "-lavfi",
		fmt.Sprintf("[0:v]%ssettb=1/30,setpts=N[a];[1:v]%ssettb=1/30,setpts=N[b];[a][b]%s=f=%s:shortest=1", beforeA,
			beforeB, filter, stats), "-f", "null", "pipe:1"}})
	data, err := os.ReadFile(stats)
	if err != nil {
		t.Fatal(err)
	}
	// SSIM is averaged as it is, PSNR as mean square error.
	pattern := map[string]string{"ssim": `All:([0-9.]+)`, "psnr": `mse_avg:([0-9.]+)`}[filter]
	sum, n := 0.0, 0
	for _, m := range regexp.MustCompile(pattern).FindAllSubmatch(data, -1) {
		v, err := strconv.ParseFloat(string(m[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		sum, n = sum+v, n+1
	}
	if n == 0 {
		t.Fatalf("no frames were compared: %s", data)
	}
	if filter == "psnr" {
		return 10 * math.Log10(255*255*float64(n)/sum)
	}
	return sum / float64(n)
}

// A kept picture is, at its own size, as good as the take scaled directly:
// SSIM above 0.98, also where a rough cut decodes it quickly.
func TestMezzanineIsAsGoodAsScalingDirectly(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	take := filepath.Join(dir, "take.mp4")
	grainy(t, tool, take, 1280, 720, 60)
	for _, c := range []struct {
		name   string
		w, h   int
		draft  bool
		zscale bool
	}{
		{"final", 480, 270, false, true}, {"without zscale", 480, 270, false, false}, {"tiny", 160, 90, false,
			true}, {"rough", 320, 180, true, true},
	} {
		if c.zscale && !tool.Filter("zscale") {
			continue
		}
		conform := plan.Conform{W: c.w, H: c.h, Frames: plan.Span{From: 0, To: 60}, Draft: c.draft}
		conform.Picture = plan.Picture{W: 1280, H: 720, FPS: 30, Last: 2, Matrix: "bt709", PixFmt: "yuv420p"}
		out := filepath.Join(dir, c.name+".mp4")
		cmd, err := graph.Conform(conform, graph.Source{Path: take, Zscale: c.zscale, Threads: 1},
			shot.Rate{Num: 30, Den: 1}, out)
		if err != nil {
			t.Fatal(err)
		}
		runGraph(t, tool, cmd, out)
		if n, err := media.CountFrames(out); n != 60 || err != nil {
			t.Errorf("%s: %d frames, %v", c.name, n, err)
		}
		got := likeness(t, tool, "ssim", out, take, "", fmt.Sprintf("scale=%d:%d:flags=bicubic+accurate_rnd,", c.w,
			c.h))
		t.Logf("%s: SSIM %.4f", c.name, got)
		if got < 0.98 {
			t.Errorf("%s: SSIM %.4f against scaling directly, want 0.98", c.name, got)
		}
	}
}

// runGraph runs a command with its graph in a file.
func runGraph(t testing.TB, tool *ffmpeg.Tool, c graph.Command, out string) {
	t.Helper()
	run(t, tool, ffmpeg.Command{Args: argvOf(t, c, out)})
}

func argvOf(t testing.TB, c graph.Command, out string) []string {
	t.Helper()
	if err := os.WriteFile(out+".graph", []byte(c.Graph), 0o666); err != nil {
		t.Fatal(err)
	}
	return append(c.Argv("-filter_complex_script", out+".graph"), "-y")
}

// A film in the shortest segments is nearly as good as one encoded whole: no frame more
// or less, and at its size within a tenth of a decibel of the whole film at that size.
func TestSegmentsAreAsGoodAsTheWhole(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	const frames, parts = 300, 5 // two seconds each: no film is cut finer for its length
	take := filepath.Join(dir, "take.mp4")
	grainy(t, tool, take, 320, 180, frames)
	overlay := filepath.Join(dir, "nothing.png")
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		"color=black:s=320x180,format=rgba,colorchannelmixer=aa=0", "-frames:v", "1", overlay}})
	whole := layout.Rect{W: 320, H: 180}
	compose := func(name string, from, n int, crf string) (string, int64) {
		out := filepath.Join(dir, name)
		cmd, err := graph.Compose(graph.Segment{
			Canvas: layout.Canvas{W: 320, H: 180}, Rate: shot.Rate{Num: 30, Den: 1}, Frames: n,
			Scene: graph.Scene{Overlay: overlay,
				Pieces: []graph.Piece{{Path: take, Skip: from, Count: n, Crop: whole, W: 320, H: 180, Hole: whole}}},
		}, graph.Coding{}, out)
		if err != nil {
			t.Fatal(err)
		}
		args := argvOf(t, cmd, out)
		args[slices.Index(args, "-crf")+1] = crf
		run(t, tool, ffmpeg.Command{Args: args})
		st, err := os.Stat(out)
		if err != nil {
			t.Fatal(err)
		}
		return out, st.Size()
	}
	one, size := compose("whole.mp4", 0, frames, "19")
	softer, small := compose("softer.mp4", 0, frames, "20")
	var list bytes.Buffer
	var together int64
	for k := range parts {
		path, n := compose(fmt.Sprintf("part%d.mp4", k), k*frames/parts, frames/parts, "19")
		together += n
		fmt.Fprintf(&list, "file %s\n", filepath.Base(path))
	}
	names := filepath.Join(dir, "list.txt")
	if err := os.WriteFile(names, list.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	joined := filepath.Join(dir, "joined.mp4")
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "concat", "-i", names, "-c", "copy", joined}})
	for _, path := range []string{one, joined} {
		if n, err := media.CountFrames(path); n != frames || err != nil {
			t.Errorf("%s: %d frames, %v, want %d", path, n, err, frames)
		}
	}
	quality := func(path string) float64 { return likeness(t, tool, "psnr", path, take, "", "") }
	atWhole, atSofter, got := quality(one), quality(softer), quality(joined)
	// Between two encodes of the whole, PSNR goes with the logarithm of size.
	slope := (atWhole - atSofter) / math.Log(float64(size)/float64(small))
	want := atWhole + slope*math.Log(float64(together)/float64(size))
	t.Logf("whole %d bytes %.3f dB, in segments %d bytes %.3f dB; the whole at that size %.3f dB", size, atWhole,
		together, got, want)
	// The encoder looks at what comes after a frame, and a segment ends sooner: with two of
	// ten seconds 0.01 dB are lost, with several of two 0.09, which is 1.5 % of the bits.
	if got < want-0.1 {
		t.Errorf("segments have %.3f dB, the whole film has %.3f dB at their size", got, want)
	}
	if math.Abs(float64(together)/float64(size)-1) > 0.03 {
		t.Errorf("segments take %d bytes, the whole film %d", together, size)
	}
}

// What runs again follows what changed.
func TestPictureCostsWhatChanged(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	smallProduction(t, dir)
	data, err := os.ReadFile(filepath.Join(dir, "production.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	base := strings.Replace(string(data), "labels: false", "labels: true", 1)
	base = strings.Replace(base, "canvas: 64x36", "canvas: 320x180", 1)
	base = strings.Replace(base, "{from: m2, show: solo, take: horn}",
		"{from: m2, show: solo, take: horn}, {from: m2.3, show: solo, take: oboe}", 1)
	write := func(text string) {
		if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write(base)
	renderIn(t, dir, Settings{})
	for _, c := range []struct {
		name, old, new string
		want           map[string]int
	}{
		{"nothing", "", "", map[string]int{}},
		{"a gain", "part: Oboe,", "part: Oboe, gain: -3,", map[string]int{"mix": 1, "master": 1, "join": 1}},
		// The horn's name stands in the grid and in its solo, not on the card of
		// the title or in the oboe's solo.
		{"a label", "player: Ilse Brandt", "player: Ilse Brand", map[string]int{"draw": 2, "compose": 2, "flashes": 1,
			"join": 1}},
		{"the title", "title: Test Round", "title: Best Round", map[string]int{"draw": 1, "compose": 1, "master": 1,
			"flashes": 1, "join": 1}},
	} {
		write(strings.Replace(base, c.old, c.new, 1))
		p := openWith(t, Settings{Dir: dir, Report: listener{func(string) {}}})
		planned, err := p.Plan(t.Context(), RenderOptions{})
		p.Close()
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]int{}
		for _, x := range planned.Tasks {
			if x.Runs {
				got[x.Stage]++
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: would run %v, want %v", c.name, got, c.want)
		}
	}
}
