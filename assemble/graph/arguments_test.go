package graph

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// line returns the whole command as a line.
func line(t *testing.T, c Command, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(c.Argv("-/filter_complex", "graph.txt"), " ")
}

// lacks returns what of some words a line has not.
func lacks(line string, words ...string) []string {
	words = slices.DeleteFunc(words, func(w string) bool { return strings.Contains(line, w) })
	if len(words) == 0 {
		return nil
	}
	return words
}

// option returns the value behind an option in a line.
func option(line, name string) string {
	_, rest, _ := strings.Cut(line, " "+name+" ")
	value, _, _ := strings.Cut(rest, " ")
	return value
}

// A sound is encoded whole or in pieces that begin and end at whole frames of 1024
// samples, told in whole microseconds, which is what ffmpeg counts in.
func TestArgumentsOfSound(t *testing.T) {
	c, err := AAC("file:/m.wav", "file:/f.m4a")
	whole := line(t, c, err)
	if l := lacks(whole, "-i file:/m.wav", "-c:a aac", "-b:a 256k", "-f mp4", "-map_metadata -1", "+bitexact",
		"file:/f.m4a"); l != nil || strings.Contains(whole, "-ss") {
		t.Errorf("no %q in %s", l, whole)
	}
	c, err = Proxy("file:/v.wav", 2, "file:/v.aac")
	proxy := line(t, c, err)
	if l := lacks(proxy, "-i file:/v.wav", "-c:a aac", "-b:a 192k", "-f adts", "-cutoff 20000", "-aac_pns 0",
		"-aac_is 0",
		"-aac_ms 0", "+bitexact", "file:/v.aac"); l != nil {
		t.Errorf("no %q in %s", l, proxy)
	}
	for from, want := range map[int]string{0: "", 15: "0.320000", 360: "7.680000", 375 * 40: "320.000000"} {
		c, err := AACPiece("file:/m.wav", from, 405, "file:/p.aac")
		piece := line(t, c, err)
		if got := option(piece, "-ss"); got != want || option(piece, "-t") != "8.640000" ||
			!strings.Contains(piece, "-f adts") {
			t.Errorf("from %d: %s", from, piece)
		}
	}
	c, err = AACPiece("file:/m.wav", 15, 0, "file:/p.aac")
	if last := line(t, c, err); strings.Contains(last, "-t ") {
		t.Errorf("to the end: %s", last)
	}
	for n := range 100_000 { // whole microseconds of 1024/48000 s only every third frame
		if n%3 == 0 {
			if s := aacSeconds(n); math.Abs(math.Round(float64(n)*AACFrame/48000*1e6)-float64(
				n)*AACFrame/48000*1e6) > 1e-3 {
				t.Fatalf("%d frames are %s s, no whole microseconds", n, s)
			}
		}
	}
	c, err = MP3("file:/g.wav", "file:/g.mp3", "Round: a=b 'c'")
	if l := lacks(line(t, c, err), "-c:a libmp3lame", "-f mp3", "title=Round: a=b 'c'"); l != nil {
		t.Errorf("no %q", l)
	}
}

// Bare frames hold as many samples as are behind the encoder's delay: every frame but
// the last lasts 1024, the last what is left. Numbers that do not fit are refused.
func TestFramesOfSoundAreTimed(t *testing.T) {
	for _, c := range []struct {
		frames  int
		samples int64
		last    int // samples of the last frame; 0: refused
	}{{2, 1, 1}, {2, 1024, 1024}, {2, 1025, 0}, {2, 0, 0}, {3, 1025, 1}, {3, 2048, 1024}, {1, 1, 0}, {0, 0, 0},
		{470, 480_000, 768}, {471, 480_257, 1}, {471, 480_256, 0}, {471, 479_232, 0}, {471, -5, 0}} {
		cmd, err := WrapAAC("file:/a.aac", c.frames, c.samples, "file:/a.m4a")
		if (err != nil) != (c.last == 0) {
			t.Errorf("%d frames of %d samples: %v", c.frames, c.samples, err)
		}
		if err != nil {
			continue
		}
		setts := option(line(t, cmd, nil), "-bsf:a")
		_, rest, _ := strings.Cut(setts, "duration=")
		duration, _, _ := strings.Cut(rest, ":time_base")
		_, rest, _ = strings.Cut(setts, "pts=")
		pts, _, _ := strings.Cut(rest, ":")
		total := 0.0
		for n := range c.frames {
			vars := map[string]float64{"N": float64(n)}
			if at := evaluate(t, pts, vars); at != float64((n-1)*AACFrame) {
				t.Errorf("frame %d of %d is at %v", n, c.frames, at)
			}
			if n > 0 {
				total += evaluate(t, duration, vars)
			}
		}
		if total != float64(c.samples) {
			t.Errorf("%d frames last %v samples, want %d", c.frames, total, c.samples)
		}
	}
}

// A film is joined without encoding, every frame put on its own time; chapters come from
// a file of their own, without which no metadata of anybody gets in.
func TestArgumentsOfJoining(t *testing.T) {
	rate := shot.Rate{Num: 30000, Den: 1001}
	c, err := Mux("file:/list", "file:/s.m4a", "", "file:/f.mp4", "The Round", rate)
	plain := line(t, c, err)
	if l := lacks(plain, "-f concat", "-safe 0", "-i file:/list", "-f mov", "-i file:/s.m4a", "-c copy",
		"-metadata title=The Round", "+faststart", "-map_metadata -1", "-map_chapters -1",
		"-video_track_timescale 30000"); l != nil {
		t.Errorf("no %q in %s", l, plain)
	}
	_, rest, _ := strings.Cut(option(plain, "-bsf:v"), "pts=")
	pts, _, _ := strings.Cut(rest, ":")
	for _, n := range []int{0, 1, 2, 41, 107_892} { // joined files count in microseconds
		tb := 1e-6
		rounded := math.Round(float64(n) * 1001 / 30000 / tb)
		got := evaluate(t, pts, map[string]float64{"PTS": rounded, "TB": tb}) * tb
		if math.Abs(got-float64(n)*1001/30000) > 1e-9 {
			t.Errorf("frame %d is put at %v s", n, got)
		}
	}
	c, err = Mux("file:/list", "file:/s.m4a", "file:/chapters.txt", "file:/f.mp4", "The Round", rate)
	with := line(t, c, err)
	if l := lacks(with, "-f ffmetadata -i file:/chapters.txt", "-map_metadata 2", "-map_chapters 2"); l != nil {
		t.Errorf("no %q in %s", l, with)
	}
	if strings.Index(with, "file:/s.m4a") > strings.Index(with, "file:/chapters.txt") {
		t.Errorf("the chapters are no third input: %s", with)
	}
}

// A frame of a film is opened half a frame early, which is that frame whatever the
// rounding; the first is not sought at all.
func TestArgumentsOfOneFrame(t *testing.T) {
	for _, c := range []struct {
		frame int
		rate  shot.Rate
		want  string
	}{{0, fps30, ""}, {1, fps30, "0.016666666666666666"}, {90, fps30, "2.9833333333333334"},
		{90, shot.Rate{Num: 24000, Den: 1001}, "3.7328958333333335"}} {
		cmd, err := Frame("file:/f.mp4", c.frame, c.rate, "file:/p.png")
		l := line(t, cmd, err)
		if option(l, "-ss") != c.want && !strings.HasPrefix(l, "-ss "+c.want) || lacks(l, "-frames:v 1", "-c:v png",
			"-update 1") != nil {
			t.Errorf("frame %d at %v: %s", c.frame, c.rate, l)
		}
	}
	c, err := GuideFilm(layout.Canvas{W: 1280, H: 720}, fps30, "file:/g.wav", nil, "file:/g.mp4", "Round")
	if l := lacks(line(t, c, err), "-f rawvideo", "-pixel_format rgba", "-video_size 1280x720", "-framerate 30",
		"-i pipe:0", "-i file:/g.wav", "-metadata title=Round", "-c:v libx264", "-c:a aac"); l != nil {
		t.Errorf("no %q", l)
	}
}

// Somebody who is seen in a guide film lies over its pictures, both counted in whole frames
// of the film's rate, from the frame at which they begin; the kept picture is not turned
// again. Without them the film has nothing of it.
func TestArgumentsOfAnInset(t *testing.T) {
	ntsc := shot.Rate{Num: 30000, Den: 1001}
	canvas := layout.Canvas{W: 960, H: 540}
	c, err := GuideFilm(canvas, ntsc, "file:/g.wav", &Inset{Path: "file:/m.mp4", Y: 90, From: 17}, "file:/g.mp4",
		"Round")
	if l := lacks(line(t, c, err)+" "+c.Graph, "-noautorotate", "-i file:/m.mp4", "-i pipe:0", "-i file:/g.wav",
		"settb=expr=1001/30000", "setpts=expr=N+0", "setpts=expr=N+17",
		"overlay=x=0:y=90:eof_action=pass:repeatlast=0"); l != nil {
		t.Errorf("no %q in %s %s", l, line(t, c, err), c.Graph)
	}
	c, err = GuideFilm(canvas, ntsc, "file:/g.wav", nil, "file:/g.mp4", "Round")
	if all := line(t, c, err) + c.Graph; strings.Contains(all, "overlay") || strings.Contains(all, "setpts") {
		t.Errorf("with nobody: %s", all)
	}
}

// A take is read under the options it is given, whole frames as they are stored, and
// from its own time on.
func TestArgumentsOfATake(t *testing.T) {
	turned := 90
	pic := plan.Picture{Path: "/takes/a b.mov", Stream: 2, W: 1080, H: 1920, Last: 60, FPS: 30, Matrix: "bt709",
		PixFmt: "yuv420p", Rotate: &turned, Clock: audio.Clock{Offset: -10}}
	src := SourceOf(pic, []string{"-protocol_whitelist", "file", "-max_streams", "16", "-odd"}, true)
	if src.Path != "file:/takes/a b.mov" || src.Stream != 2 || !src.Zscale || len(src.Options) != 2 ||
		src.Options["protocol_whitelist"] != "file" || src.Options["max_streams"] != "16" {
		t.Errorf("%+v", src)
	}
	c := plan.Conform{Picture: pic, W: 108, H: 192, Frames: plan.Span{From: 30, To: 60}}
	for _, x := range []struct {
		what string
		src  func(*Source, *plan.Conform)
		want []string
		not  []string
	}{
		{"as it is", func(*Source, *plan.Conform) {}, []string{"-ss 8 ", "-noaccurate_seek", "-noautorotate",
			"-reinit_filter 0", "-i file:/takes/a b.mov", "-frames:v 30", "-g 1"}, []string{"-hwaccel", "-skip_frame",
			"-skip_loop_filter"}},
		{"where its index tells", func(s *Source, _ *plan.Conform) { s.Indexed, s.Open = true, 9.5 },
			[]string{"-ss 9.5 "}, nil},
		{"from its beginning", func(s *Source, _ *plan.Conform) { s.Indexed = true }, nil,
			[]string{"-ss ", "-noaccurate_seek"}},
		{"with one thread", func(s *Source, _ *plan.Conform) { s.Threads = 1 }, []string{"-threads 1"}, nil},
		{"for a draft", func(_ *Source, c *plan.Conform) { c.Draft = true }, []string{"-skip_loop_filter all"}, nil},
		{"of key frames", func(_ *Source, c *plan.Conform) { c.Keys = true }, []string{"-skip_frame nokey"}, nil},
		{"by hardware", func(s *Source, _ *plan.Conform) { s.Device = "cuda" }, []string{"-hwaccel cuda"}, nil},
	} {
		src, c := src, c
		x.src(&src, &c)
		cmd, err := Conform(c, src, fps30, "file:/out.mp4")
		l := " " + line(t, cmd, err)
		if missing := lacks(l, x.want...); len(missing) > 0 {
			t.Errorf("%s: no %q in %s", x.what, missing, l)
		}
		for _, n := range x.not {
			if strings.Contains(l, n) {
				t.Errorf("%s: %q in %s", x.what, n, l)
			}
		}
		if !strings.Contains(cmd.Filters(), "transpose=dir=clock") {
			t.Errorf("%s: not turned: %s", x.what, cmd.Filters())
		}
	}
	for what, build := range map[string]func() (Command, error){
		"a still":   func() (Command, error) { return Still(c, src, fps30, "file:/p.png") },
		"its light": func() (Command, error) { return Light(c, src, "file:/l.rgb") },
		"an encoder": func() (Command, error) {
			return Try(Coding{}, layout.Canvas{W: 64, H: 36}, fps30, 4,
				"file:/t.mp4")
		},
	} {
		cmd, err := build()
		if l := line(t, cmd, err); !strings.Contains(cmd.Graph+l, "pix_fmts=") {
			t.Errorf("%s: %s", what, l)
		}
	}
	if _, err := Try(Coding{Encoder: "no such"}, layout.Canvas{W: 64, H: 36}, fps30, 4, "file:/t.mp4"); err == nil {
		t.Error("an encoder without settings was tried")
	}
}

// A push-in shows all of the picture at its beginning and evenly less of it, about a
// point that keeps its place: at the end the part is as much smaller as it is to be
// enlarged.
func TestPushesInExpressions(t *testing.T) {
	p := Push{Zoom: 1.25, At: 10, Frames: 100, X: 0.25, Y: 0.75}
	c, err := build(1, func() *ffmpegStream { return output(p.apply(picture("a.png", "yuv420p"))) })
	if err != nil {
		t.Fatal(err)
	}
	edges := map[string]string{}
	for _, m := range regexp.MustCompile(`([xy][0-3])=([^:;\[]+)`).FindAllStringSubmatch(c.Graph, -1) {
		edges[m[1]] = strings.ReplaceAll(m[2], `\`, "")
	}
	if len(edges) != 8 {
		t.Fatalf("%q in %s", edges, c.Graph)
	}
	for on := 1; on <= 90; on++ {
		vars := map[string]float64{"on": float64(on), "W": 640, "H": 360}
		at := func(name string) float64 { return evaluate(t, edges[name], vars) }
		zoom := 1 + 0.25*float64(on-1+10)/100
		left, right, top, bottom := at("x0"), at("x1"), at("y0"), at("y2")
		if math.Abs(right-left-640/zoom) > 1e-9 || math.Abs(bottom-top-360/zoom) > 1e-9 {
			t.Fatalf("frame %d shows %v by %v, enlarged %v times", on, right-left, bottom-top, zoom)
		}
		// The point has the same share of what is shown as of all.
		if x := (0.25*640 - left) / (right - left); math.Abs(x-0.25) > 1e-9 {
			t.Fatalf("frame %d: the point is at %v", on, x)
		}
		if y := (0.75*360 - top) / (bottom - top); math.Abs(y-0.75) > 1e-9 {
			t.Fatalf("frame %d: the point is at %v down", on, y)
		}
	}
}

// Gliding tiles begin where they were and end where they are to be, on even pixels, and
// never go back; before and behind the gliding they rest.
func TestGlidesInExpressions(t *testing.T) {
	g := Segment{Rate: shot.Rate{Num: 30000, Den: 1001}, Frames: 30, Into: &Into{Leave: 6, Arrive: 6}}
	from, to := layout.Rect{X: 20, Y: 300, W: 160, H: 90}, layout.Rect{X: 400, Y: 40, W: 320, H: 180}
	m := Move{From: from, Piece: Piece{Hole: to}}
	x, y, w, h := m.way(g)
	last := from
	for n := range g.Frames {
		vars := map[string]float64{"t": float64(n) * 1001 / 30000}
		at := func(e string) int { return int(math.Round(evaluate(t, e, vars))) }
		r := layout.Rect{X: at(x), Y: at(y), W: at(w), H: at(h)}
		if r.X%2 != 0 || r.Y%2 != 0 || r.W%2 != 0 || r.H%2 != 0 {
			t.Fatalf("frame %d: %+v", n, r)
		}
		if r.X < last.X || r.Y > last.Y || r.W < last.W || r.H < last.H {
			t.Fatalf("frame %d goes back: %+v after %+v", n, r, last)
		}
		if n < 6 && r != from || n >= 24 && r != to {
			t.Errorf("frame %d: %+v rests elsewhere", n, r)
		}
		if n == 15 && (r.X < 180 || r.X > 240) { // about half way in the middle
			t.Errorf("frame %d: %+v", n, r)
		}
		last = r
	}
	if last != to {
		t.Errorf("it ends at %+v", last)
	}
	still := Move{From: to, Piece: Piece{Hole: to}}
	if x, y, w, h := still.way(g); x != "400" || y != "40" || w != "720-400" || h != "220-40" {
		t.Errorf("%s, %s, %s, %s", x, y, w, h)
	}
}

// A frame of a recording in parts is shown when it lies in one, later by its part's
// shift; a frame a tick early belongs to its part.
func TestPartsInExpressions(t *testing.T) {
	parts := audio.Parts{{From: 0, To: 10}, {From: 12, To: 20, Shift: 1.5}, {From: 20, To: math.Inf(1), Shift: -1}}
	const seek, ratio = 5, 1.0001
	shown, later := inParts(parts, seek), laterInParts(parts, seek, ratio)
	for _, c := range []struct {
		file  float64
		shown bool
		later float64
	}{{5, true, 0}, {9.99, true, 0}, {9.9999, false, 0}, {11, false, 0}, {11.9996, true, 1.5}, {12, true, 1.5},
		{19.9, true, 1.5}, {20, true, -1}, {500, true, -1}} {
		vars := map[string]float64{"t": c.file - seek, "T": c.file - seek}
		if got := evaluate(t, shown, vars) != 0; got != c.shown {
			t.Errorf("second %v is shown: %v", c.file, got)
		}
		if got := evaluate(t, "0"+later, vars); c.shown && math.Abs(got-c.later*ratio) > 1e-9 {
			t.Errorf("second %v is %v later", c.file, got)
		}
	}
	if got := laterInParts(audio.Parts{{To: math.Inf(1)}}, 0, 1); got != "" {
		t.Errorf("one part is %q later", got)
	}
}

// How many frames may repeat the last one follows from how long a frame of the source
// lasts, two at least and two seconds at most.
func TestFramesHeldAtTheEnd(t *testing.T) {
	for _, c := range []struct {
		fps  float64
		want int
	}{{30, 2}, {60, 2}, {8, 4}, {1, 31}, {0.1, 61}, {0, 2}, {-1, 2}, {15, 3}} {
		if got := heldAtEnd(c.fps, fps30); got != c.want {
			t.Errorf("of %v frames a second %d, want %d", c.fps, got, c.want)
		}
	}
}

// Fades are the film's, whatever segment they touch: a segment in the middle has none.
func TestFadesOfSegments(t *testing.T) {
	for _, c := range []struct {
		what string
		fade Fade
		want []string
	}{
		{"the beginning", Fade{In: 60, Out: 30, At: 0, Total: 300}, []string{"fade=t=in:st=0:d=2.000000000"}},
		{"the rest of the fade", Fade{In: 60, At: 30, Total: 300}, []string{"fade=t=in", "PTS+round(30*1/30/TB)"}},
		{"the middle", Fade{In: 60, Out: 30, At: 100, Total: 300}, nil},
		{"the end", Fade{Out: 30, At: 270, Total: 300}, []string{"fade=t=out:st=9.000000000:d=1.000000000"}},
		{"all of a short film", Fade{In: 10, Out: 10, At: 0, Total: 30}, []string{"t=in", "t=out"}},
		{"none", Fade{At: 0, Total: 300}, nil},
	} {
		g := Segment{Rate: fps30, Frames: 30, Fade: c.fade}
		cmd, err := build(1, func() *ffmpegStream { return output(fade(picture("a.png", "yuv420p"), g)) })
		if err != nil {
			t.Fatal(err)
		}
		graph := strings.ReplaceAll(cmd.Graph, `\`, "")
		if missing := lacks(graph, c.want...); len(missing) > 0 || c.want == nil && strings.Contains(graph, "fade=") {
			t.Errorf("%s: no %q in %s", c.what, missing, graph)
		}
	}
}

// What a setting may be is listed with where it may stand.
func TestChoices(t *testing.T) {
	for _, c := range []struct {
		check   func(string) error
		good    []string
		bad     []string
		named   string
		allowed string
	}{
		{CheckChoice, append([]string{"software", "hardware", "auto"}, Families()...), []string{"", "cuda", "Software",
			"nvenc "}, "encoder is ", "nvenc"},
		{CheckDecoder, append([]string{"software", "auto"}, Devices()...), []string{"", "hardware", "nvenc", "CUDA"},
			"decoder is ", "cuda"},
	} {
		for _, s := range c.good {
			if err := c.check(s); err != nil {
				t.Errorf("%q: %v", s, err)
			}
		}
		for _, s := range c.bad {
			err := c.check(s)
			if fault.KindOf(err) != fault.Manifest || !strings.HasPrefix(fmt.Sprint(err), fmt.Sprintf("%s%q", c.named,
				s)) || !strings.Contains(fault.Format(err), c.allowed) {
				t.Errorf("%q: %v", s, err)
			}
		}
	}
	if Families()[0] = "changed"; slices.Contains(Families(), "changed") {
		t.Error("the families can be changed from outside")
	}
}
