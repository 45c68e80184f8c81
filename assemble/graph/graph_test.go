package graph

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

var fps30 = shot.Rate{Num: 30, Den: 1}

func TestComposeGraph(t *testing.T) {
	c, err := Compose(Segment{
		Canvas: layout.Canvas{W: 640, H: 360}, Rate: fps30, Frames: 60, Backdrop: "b.png",
		Scene: Scene{Overlay: "o.png", Pieces: []Piece{
			{Path: "a.mp4", Skip: 30, Count: 60, Crop: layout.Rect{X: 40, W: 400, H: 270}, W: 480, H: 270,
				Hole: layout.Rect{X: 10, Y: 50, W: 300, H: 200}},
			{Path: "b.mp4", Start: 20, Count: 40, Crop: layout.Rect{W: 100, H: 200}, W: 100, H: 200,
				Hole: layout.Rect{X: 330, Y: 60, W: 100, H: 200}},
		}},
	}, Coding{}, "out.mp4")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"crop=400:270:40:0",                         // the focus, in the mezzanine's pixels
		"scale=300:200:",                            // to its hole
		"loop=loop=19:size=1", "concat=n=2:v=1:a=0", // 20 frames of background before the second
		"xstack=inputs=2:layout=0_0|320_10:fill=black",
		"pad=w=640:h=360:x=10:y=50",
	} {
		if !strings.Contains(c.Graph, want) {
			t.Errorf("the graph lacks %q:\n%s", want, c.Graph)
		}
	}
	argv := strings.Join(c.Argv("-filter_complex_script", "graph.txt"), " ")
	for _, want := range []string{
		"-ss 0.9833333333333333 -threads 1 -i a.mp4", // half a frame before frame 30
		"-filter_complex_script graph.txt", "-frames:v 60", "-profile:v high", "-colorspace bt709", "-r 30 -threads 1",
	} {
		if !strings.Contains(argv, want) {
			t.Errorf("the arguments lack %q:\n%s", want, argv)
		}
	}
	if strings.Contains(argv, "-filter_complex ") {
		t.Error("the graph is still an argument")
	}
}

// Two inputs whose options have the same sum are one node to ffmpeg-go; the
// count must notice when that ever reaches us.
func TestTwoInputsTakenForOneAreAnError(t *testing.T) {
	same := Piece{Path: "a.mp4", Count: 60, Crop: layout.Rect{W: 100, H: 100}, W: 100, H: 100,
		Hole: layout.Rect{W: 100, H: 100}}
	other := same
	other.Hole.X = 200
	_, err := Compose(Segment{Canvas: layout.Canvas{W: 640, H: 360}, Rate: fps30, Frames: 60,
		Scene: Scene{Overlay: "o.png", Pieces: []Piece{same, other}}}, Coding{}, "out.mp4")
	if err == nil {
		t.Fatal("two pieces of one file with the same options were composed")
	}
}

func TestComposeIsTheSameEveryTime(t *testing.T) {
	g := Segment{Canvas: layout.Canvas{W: 1920, H: 1080}, Rate: fps30, Frames: 300, Scene: Scene{Overlay: "o.png"},
		Backdrop: "b.png"}
	for i := range 40 {
		g.Pieces = append(g.Pieces, Piece{
			Path: "m" + string(rune('a'+i)) + ".mp4", Skip: i, Start: i % 3, Count: 200 + i, W: 320, H: 180,
			Crop: layout.Rect{W: 320, H: 180}, Hole: layout.Rect{X: 20 * i, Y: 10 * i, W: 160, H: 90},
		})
	}
	first, err := Compose(g, Coding{}, "out.mp4")
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		again, err := Compose(g, Coding{}, "out.mp4")
		if err != nil || again.Graph != first.Graph {
			t.Fatalf("another graph for the same segment (%v)", err)
		}
	}
}

func TestConformFollowsTheClock(t *testing.T) {
	c := plan.Conform{W: 480, H: 270, Frames: plan.Span{From: 180, To: 480}}
	c.Picture.Clock = audio.Clock{Offset: -12.25, Drift: 80}
	c.Picture.Matrix, c.Picture.FPS = "bt601", 25
	cmd, err := Conform(c, Source{Path: "take.mp4", Stream: 1, Options: map[string]string{"max_streams": "16"}}, fps30,
		"out.mp4")
	if err != nil {
		t.Fatal(err)
	}
	// Guide 6 s is file time 18.24854 s; the file is opened 3 s earlier, at
	// 15 s, which is guide 2.7512 s, 3.2488 s before the first frame; half a
	// frame of 25 a second comes on top.
	for _, want := range []string{"[0:1]", "floor((PTS*TB*1.000080000000-3.268800000)/TB)",
		"fps=fps=30:start_time=0:round=up", "in_color_matrix=bt601", "pad=w=480:h=270"} {
		if !strings.Contains(cmd.Graph, want) {
			t.Errorf("the graph lacks %q:\n%s", want, cmd.Graph)
		}
	}
	argv := strings.Join(cmd.Argv("-filter_complex_script", "g"), " ")
	for _, want := range []string{"-ss 15 ", "-max_streams 16", "-reinit_filter 0", "-frames:v 300", "-g 1 "} {
		if !strings.Contains(argv, want) {
			t.Errorf("the arguments lack %q:\n%s", want, argv)
		}
	}
}

// A broken take is opened before the frame that its second part shows, loses what is in
// no part, and has every part shifted by itself; a whole one has neither filter.
func TestConformPutsPartsInTheirPlaces(t *testing.T) {
	c := plan.Conform{W: 480, H: 270, Frames: plan.Span{From: 600, To: 700}}
	c.Picture.FPS, c.Picture.Parts = 25, audio.Parts{{To: 8}, {From: 10.5, To: math.Inf(1), Shift: -2.5}}
	cmd, err := Conform(c, Source{Path: "take.mp4"}, fps30, "out.mp4")
	if err != nil {
		t.Fatal(err)
	}
	// Guide 20 s is second 22.5 of the file, which is opened at 19.
	for _, want := range []string{
		`select=gte(t\\\,-19.000500000)*lt(t\\\,-11.000500000)+gte(t\\\,-8.500500000)`,
		`setpts=floor((PTS*TB*1.000000000000-1.020000000-2.500000000*gte(T\\\,-8.500500000))/TB)`,
	} {
		if !strings.Contains(cmd.Graph, want) {
			t.Errorf("the graph lacks %q:\n%s", want, cmd.Graph)
		}
	}
	c.Picture.Parts = nil
	if cmd, err = Conform(c, Source{Path: "take.mp4"}, fps30, "out.mp4"); err != nil ||
		strings.Contains(cmd.Graph, "select") {
		t.Errorf("a whole take has %s (%v)", cmd.Graph, err)
	}
}

// Of sixty frames a second, thirty are not shown; they must not be mapped to
// another range or scaled first.
func TestFramesAreChosenBeforeWhatIsDear(t *testing.T) {
	for dear, p := range map[string]plan.Picture{
		"tonemap":     {W: 1920, H: 1080, FPS: 60, HDR: true, Transfer: "arib-std-b67"},
		"zscale=w":    {W: 1920, H: 1080, FPS: 60, Matrix: "bt709", PixFmt: "yuv420p"},
		"format=pix_": {W: 1920, H: 1080, FPS: 60, Matrix: "bt601", PixFmt: "yuv420p", Gain: [3]float64{1, 1.1, 1}},
	} {
		cmd, err := Conform(plan.Conform{W: 480, H: 270, Frames: plan.Span{From: 0, To: 30}, Picture: p},
			Source{Path: "take.mp4", Zscale: true}, fps30, "out.mp4")
		if err != nil {
			t.Fatal(err)
		}
		chosen, at := strings.Index(cmd.Graph, "fps=fps=30"), strings.Index(cmd.Graph, dear)
		if chosen < 0 || at < 0 || chosen > at {
			t.Errorf("%s comes before frames are chosen: %s", dear, cmd.Graph)
		}
	}
}

func TestRotationOfTheManifestOverrulesTheFile(t *testing.T) {
	for degrees, filter := range map[int]string{0: "", 90: "transpose=dir=clock", 180: "hflip",
		270: "transpose=dir=cclock"} {
		c := plan.Conform{W: 480, H: 270, Frames: plan.Span{From: 0, To: 30}}
		c.Picture.Rotate = &degrees
		cmd, err := Conform(c, Source{Path: "take.mp4"}, fps30, "out.mp4")
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(strings.Join(cmd.Argv("-f", "g"), " "), "-noautorotate") ||
			!strings.Contains(cmd.Graph, filter) {
			t.Errorf("%d degrees: %s", degrees, cmd.Graph)
		}
		// Colour is at the left of its pair of pixels again, where it was.
		if sited := strings.Contains(cmd.Graph, "out_h_chr_pos=0:out_v_chr_pos=128"); sited != (degrees != 0) {
			t.Errorf("%d degrees: colour is put in place: %v", degrees, sited)
		}
	}
}

func TestSegmentListRefusesNamesThatNeedQuoting(t *testing.T) {
	got, err := SegmentList([]string{"/s/ab.mp4", "/s/cd.mp4"}, []int{240, 61}, fps30)
	if err != nil || got != "ffconcat version 1.0\nfile /s/ab.mp4\nduration 8.000000\nfile /s/cd.mp4\nduration "+
		"2.033333\n" {
		t.Errorf("%q, %v", got, err)
	}
	for _, bad := range []string{"", "a b.mp4", "a'b.mp4", "a\nfile /etc/passwd", "a#b"} {
		if _, err := SegmentList([]string{bad}, []int{1}, fps30); err == nil {
			t.Errorf("%q was accepted", bad)
		}
	}
	if _, err := SegmentList([]string{"a", "b"}, []int{1}, fps30); err == nil {
		t.Error("two segments with one length were accepted")
	}
}

// TestSegmentsOfAnHourAddUp: whatever a segment's length is rounded to, the
// last one begins on its frame.
func TestSegmentsOfAnHourAddUp(t *testing.T) {
	for _, rate := range []shot.Rate{{Num: 24000, Den: 1001}, {Num: 24, Den: 1}, {Num: 30000, Den: 1001}, fps30,
		{Num: 60000, Den: 1001}} {
		names, frames, sum := []string(nil), []int(nil), 0
		for sum < rate.Frame(3600) {
			n := 1 + (7*len(names))%rate.Frame(8)
			names, frames, sum = append(names, "s"), append(frames, n), sum+n
		}
		list, err := SegmentList(names, frames, rate)
		if err != nil {
			t.Fatal(err)
		}
		var seconds float64
		for _, line := range strings.Split(list, "\n") {
			if d, ok := strings.CutPrefix(line, "duration "); ok {
				f, err := strconv.ParseFloat(d, 64)
				if err != nil {
					t.Fatal(err)
				}
				seconds += f
			}
		}
		if off := seconds - rate.Seconds(sum); math.Abs(off) > 1e-6 {
			t.Errorf("%v: %d segments are %g s off", rate, len(names), off)
		}
	}
}

func TestTimescaleHoldsWholeFrames(t *testing.T) {
	for _, c := range []struct {
		r    shot.Rate
		want string
	}{{fps30, "30000"}, {shot.Rate{Num: 25, Den: 1}, "25000"}, {shot.Rate{Num: 30000, Den: 1001}, "30000"}} {
		if got := timescale(c.r); got != c.want {
			t.Errorf("%s: %s, want %s", c.r, got, c.want)
		}
	}
}

// Every gap has a background of its own, whatever the files are called: a film in which
// several takes end early failed in one of some eight runs.
func TestGapsAreToldApart(t *testing.T) {
	for run := range 500 {
		dir := fmt.Sprintf("file:/round/.store/14/tmp-%d-%d/", run*7919, run*104729)
		g := Segment{Canvas: layout.Canvas{W: 320, H: 180}, Rate: shot.Rate{Num: 30, Den: 1}, Frames: 90, Queues: true}
		g.Overlay, g.Backdrop = dir+"out.007.png", dir+"out.000.png"
		for k := range 6 {
			h := 88 - 2*(k/3)
			g.Pieces = append(g.Pieces, Piece{Path: fmt.Sprintf("%sout.%03d.mp4", dir, k+1), Count: 75, W: 104, H: h,
				Crop: layout.Rect{W: 104, H: h}, Hole: layout.Rect{X: 2 + 106*(k%3), Y: 2 + 90*(k/3), W: 104, H: h}})
		}
		for _, g.Scenery = range []bool{false, true} {
			if _, err := Compose(g, Coding{}, dir+"out.mp4"); err != nil {
				t.Fatalf("%s: %v", dir, err)
			}
		}
	}
}
