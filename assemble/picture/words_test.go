package picture

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/flash"
	"ripieno/layout/framing"
	"ripieno/layout/shot"
	"ripieno/mix/tempo"
)

// isFault reports whether err is a fault of a kind with these words in where, what
// and hint.
func isFault(err error, kind fault.Kind, where, what, hint string) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Kind == kind && strings.Contains(f.Where, where) && strings.Contains(f.What, what) &&
		strings.Contains(f.Hint, hint)
}

// roundTempo returns the tempo of two measures of count-in and four of the piece, 2 s
// each: measure 1 begins at guide time 4.
func roundTempo(t *testing.T) *tempo.Map {
	t.Helper()
	man, err := manifest.Parse("production.yaml", []byte(round))
	if err != nil {
		t.Fatal(err)
	}
	return man.Tempo
}

// A place in the film is told in measures and beats, outside of the piece in seconds;
// a shot that begins on the frame before a downbeat begins with it.
func TestPositions(t *testing.T) {
	m := roundTempo(t)
	for guide, want := range map[float64]string{
		4: "m1", 3.99: "m1", 3.97: "0.0 s before m1", 0: "4.0 s before m1", -2: "6.0 s before m1", 4.49: "m1.2",
		4.47: "m1",
		5.6:  "m1.4", 6: "m2", 11.5: "m4.4", 11.97: "m4.4", 12: "0.0 s after the end", 11.99: "0.0 s after the end",
		14.25: "2.2 s after the end",
	} {
		if got := Position(m, guide); got != want {
			t.Errorf("%v is %q, want %q", guide, got, want)
		}
	}
}

// Why there is no picture of a player is said on their card in the language asked for,
// and in a finished film only where there is nothing to hear either.
func TestNotesOnCards(t *testing.T) {
	f := plan.Film{}
	for _, language := range phrase.Languages() {
		words := phrase.Of(language)
		seen := map[string]bool{}
		for _, c := range []struct {
			tile plan.Tile
			key  string
			film bool // a finished film says it too
		}{
			{plan.Tile{Absent: plan.Awaited}, "film.awaited", true},
			{plan.Tile{Absent: plan.Unplaced}, "film.unplaced", true},
			{plan.Tile{Absent: plan.Elsewhere}, "film.unplaced", true},
			{plan.Tile{Absent: plan.Unreadable}, "film.unreadable", true},
			{plan.Tile{Absent: plan.Withheld}, "film.withheld", true},
			{plan.Tile{}, "film.sound-only", false},
			{plan.Tile{Silent: true}, "", false},
		} {
			want := ""
			if c.key != "" {
				want = words.Say(c.key)
			}
			got := Note(c.tile, words)
			if got != want || c.key != "" && got == "" {
				t.Errorf("%s: %+v says %q, want %q", language, c.tile, got, want)
			}
			seen[got] = true
			rough := f
			rough.Rough = true
			if got := noteIn(rough, c.tile, words); got != want {
				t.Errorf("%s: in a rough cut %q", language, got)
			}
			if got := noteIn(f, c.tile, words); (got != "") != c.film {
				t.Errorf("%s: in a film %q", language, got)
			}
		}
		if len(seen) != 6 {
			t.Errorf("%s: some of %v are the same", language, seen)
		}
	}
}

// Shots as --json has them: seconds of the film, a source for what is seen and a reason
// for what is not, and no name of somebody who is withheld.
func TestShotsAsJSON(t *testing.T) {
	line := plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}}
	f := plan.Film{Shots: []plan.Shot{
		{Span: plan.Span{From: 0, To: 60}, Show: shot.Card},
		{Span: plan.Span{From: 60, To: 150}, Show: shot.Tutti, Sheet: 1, Sheets: 3,
			Into: plan.Transition{Kind: production.Dissolve, Frames: 15},
			Tiles: []plan.Tile{
				{Take: "oboe", Rect: layout.Rect{X: 10, Y: 20, W: 30, H: 40}, Fit: layout.Crop, Sure: 0.75,
					Source: layout.Rect{X: 1, Y: 2, W: 3, H: 4}},
				{Take: "horn", Card: true, Absent: plan.Withheld},
				{Take: "tuba", Card: true, Absent: plan.Awaited},
			}},
	}}
	data, err := json.Marshal(ShotResults(f, line))
	if err != nil {
		t.Fatal(err)
	}
	words := phrase.Of(phrase.Default)
	want := `[{"from":0,"to":2,"show":"card","tiles":[],"transition":""},` +
		`{"from":2,"to":5,"show":"tutti","tiles":[` +
		`{"take":"oboe","x":10,"y":20,"w":30,"h":40,"fit":"crop","source":{"x":1,"y":2,"w":3,"h":4},"auto_crop_confidence":0.75},` +
		`{"take":"","x":0,"y":0,"w":0,"h":0,"fit":"","source":null,"card":"` + words.Say("film.withheld") + `"},` +
		`{"take":"tuba","x":0,"y":0,"w":0,"h":0,"fit":"","source":null,"card":"` + words.Say("film.awaited") + `"}],` +
		`"transition":"dissolve","transition_s":0.5,"sheet":2,"sheets":3}]`
	if string(data) != want {
		t.Errorf("%s\nwant %s", data, want)
	}
	if got := ShotResults(plan.Film{}, line); len(got) != 0 {
		t.Errorf("no shots are %v", got)
	}
}

// More than three flashes within a second are warned of, light or red, whichever is
// worse (ITU-R BT.1702; WCAG 2.3.1).
func TestWarningsOfFlashes(t *testing.T) {
	for _, c := range []struct {
		r    flash.Result
		want string
	}{
		{flash.Result{}, ""},
		{flash.Result{Flashes: 3, At: 2, Red: 3}, ""},
		{flash.Result{Flashes: 4, At: 12.34}, "final flashes 4 times within a second at 12.3 s; more than 3 can harm"},
		{flash.Result{Flashes: 4, At: 1, Red: 6, RedAt: 7}, "final flashes red 6 times within a second at 7.0 s"},
		{flash.Result{Flashes: 6, At: 1, Red: 4, RedAt: 7}, "final flashes 6 times within a second at 1.0 s"},
		{flash.Result{Red: 5, RedAt: 3}, "final flashes red 5 times"},
	} {
		f, warning := NewFlashes("final", c.r)
		if (warning == "") != (c.want == "") || !strings.HasPrefix(warning, c.want) || f.TooMany != (c.want != "") ||
			f.Worst != c.r.Flashes || f.Red != c.r.Red || f.At != c.r.At || f.RedAt != c.r.RedAt {
			t.Errorf("%+v: %+v, %q", c.r, f, warning)
		}
	}
}

// The small copies of a segment are as many as its frames, no byte more or less: what is
// counted in them is what was seen.
func TestFlashesAreCountedInCopies(t *testing.T) {
	canvas := layout.Canvas{W: 1280, H: 720}
	small := smallCopy(canvas)
	if small.W != 64 || small.H != 36 {
		t.Fatalf("a copy of 16:9 is %dx%d", small.W, small.H)
	}
	size := 3 * small.W * small.H
	dark, bright := bytes.Repeat([]byte{0}, size), bytes.Repeat([]byte{255}, size)
	f := plan.Film{Canvas: canvas, Segments: []plan.Segment{{Span: plan.Span{From: 0, To: 20}},
		{Span: plan.Span{From: 20, To: 40}}}}
	line := plan.Timeline{Rate: shot.Rate{Num: 20, Den: 1}}
	var folders []string
	for range f.Segments {
		var copies []byte
		for k := range 20 {
			if k/2%2 == 0 { // five flashes a second
				copies = append(copies, dark...)
			} else {
				copies = append(copies, bright...)
			}
		}
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, copyFile), copies, 0o666); err != nil {
			t.Fatal(err)
		}
		folders = append(folders, dir)
	}
	tmp := filepath.Join(t.TempDir(), "flashes.gob")
	if err := countFlashes(t.Context(), f, line, folders, tmp); err != nil {
		t.Fatal(err)
	}
	r, err := store.Load[flash.Result](tmp)
	if err != nil || r.Flashes < 4 || r.Flashes > 5 || r.Red != 0 || !r.TooMany() {
		t.Errorf("%+v, %v", r, err)
	}
	path := filepath.Join(folders[0], copyFile)
	for _, c := range []struct {
		frames int
		what   string
	}{{19, "there are more than 19 small copies"}, {21, "frame 20 of 21 small copies: "}} {
		err := addCopies(t.Context(), flash.NewCounter(20), path, small, c.frames)
		if err == nil || !strings.Contains(err.Error(), c.what) || strings.Contains(err.Error(), "%!") {
			t.Errorf("%d frames: %v", c.frames, err)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := addCopies(ended, flash.NewCounter(20), path, small, 20); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if err := countFlashes(t.Context(), f, line, []string{t.TempDir(), folders[1]}, tmp); !errors.Is(err,
		os.ErrNotExist) {
		t.Errorf("without copies: %v", err)
	}
	if err := addCopies(t.Context(), flash.NewCounter(20), path, small, 0); errors.Is(err, io.EOF) || err == nil {
		t.Errorf("of no frames: %v", err)
	}
}

// Small copies keep the shape of the canvas, and are never flat.
func TestSizesOfCopies(t *testing.T) {
	for c, want := range map[layout.Canvas]int{{W: 1920, H: 1080}: 36, {W: 1080, H: 1920}: 114, {W: 1080, H: 1080}: 64,
		{W: 10_000, H: 100}: 2} {
		if got := smallCopy(c); got.W != 64 || got.H != want {
			t.Errorf("of %+v: %+v, want %d lines", c, got, want)
		}
	}
}

// Names in a burned-in line: the place of each frame of the segment; a first look says
// that it is one and has no clock.
func TestMarksOfASegment(t *testing.T) {
	c := composition{tempo: roundTempo(t), line: plan.Timeline{Rate: shot.Rate{Num: 2, Den: 1}, First: 6},
		seg: plan.Segment{Span: plan.Span{From: 1, To: 5}}}
	if got := c.textsOf(); !slices.Equal(got, []string{"count-in   0:03.500", "m1.1       0:04.000",
		"m1.2       0:04.500", "m1.3       0:05.000"}) {
		t.Errorf("%q", got)
	}
	c.film.Quick = true
	if got := c.textsOf(); !slices.Equal(got, []string{"quick look count-in", "quick look m1.1", "quick look m1.2",
		"quick look m1.3"}) {
		t.Errorf("%q", got)
	}
	path := filepath.Join(t.TempDir(), "marks")
	m, err := drawMarks(path, 720, c.textsOf())
	if err != nil || m.Path != "file:"+path || m.W <= 0 || m.H <= 0 {
		t.Fatalf("%+v, %v", m, err)
	}
	if st, err := os.Stat(path); err != nil || st.Size() != int64(4*m.W*m.H) {
		t.Errorf("%v bytes, %v", st.Size(), err)
	}
	if _, err := drawMarks(filepath.Join(path, "below"), 720, nil); err == nil {
		t.Error("drawn below a file")
	}
}

// Hardware and rough cuts are counted as cheap; better codecs cost more.
func TestCostsOfFilms(t *testing.T) {
	hardware := graph.Coding{Encoder: "h264_nvenc"}
	rough := composeCost(plan.Film{Rough: true, Codec: plan.AV1}, graph.Coding{})
	if rough != composeCost(plan.Film{Codec: plan.HEVC}, hardware) {
		t.Error("hardware costs as much as its codec")
	}
	last := rough
	for _, codec := range []plan.Codec{plan.H264, plan.HEVC, plan.AV1} {
		cost := composeCost(plan.Film{Codec: codec}, graph.Coding{})
		if cost <= last {
			t.Errorf("%s costs %v, what is simpler %v", codec, cost, last)
		}
		last = cost
	}
	if mega(1920, 1080) != 2.0736 {
		t.Errorf("%v million pixels", mega(1920, 1080))
	}
}

// An encoder that is wanted and not there is told with what was tried, and what helps;
// what is chosen by the machine falls back with a word.
func TestEncodersThatAreNotThere(t *testing.T) {
	tool := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), nil,
		func(ffmpeg.Command) error { return errRecorded })
	want := plan.Want{Name: "final", Codec: plan.HEVC, Canvas: layout.Canvas{W: 640, H: 360},
		Mark: fault.Mark{File: "production.yaml", Line: 9, Column: 3}}
	for _, c := range []struct {
		choice, what, hint string
	}{
		{graph.UseHardware, "no hardware that encodes HEVC works here; tried ", "--encoder software, or auto"},
		{"nvenc", "no hardware (nvenc) that encodes HEVC works here; tried hevc_nvenc: not in this ffmpeg", "driver"},
		{"no such", "no hardware (no such) that encodes HEVC works here; tried there is no such encoder", "driver"},
		{graph.UseSoftware, `"final" is to be HEVC, and this ffmpeg 7.1 was built without libx265`, "codec: h264"},
		{graph.UseAuto, `"final" is to be HEVC`, "codec: h264"},
	} {
		p := Picker{Tool: tool, Choice: c.choice, Rate: shot.Rate{Num: 30, Den: 1},
			Tell: func(text string) { t.Errorf("told %q", text) }}
		if _, err := p.Pick(t.Context(), []plan.Want{want}); !isFault(err, fault.FFmpeg, "production.yaml:9:3", c.what,
			c.hint) {
			t.Errorf("%s: %v", c.choice, err)
		}
		rough := want
		rough.Rough = true
		if codings, err := p.Pick(t.Context(), []plan.Want{rough}); err != nil || len(codings) != 0 {
			t.Errorf("%s: a rough cut: %v, %v", c.choice, codings, err)
		}
	}
	for codec, want := range map[plan.Codec]string{plan.H264: "H.264", plan.HEVC: "HEVC", plan.AV1: "AV1"} {
		if got := codecName(codec); got != want {
			t.Errorf("%s is called %s", codec, got)
		}
	}
	codings := Codings{{plan.HEVC, want.Canvas}: {Encoder: "libx265"}}
	if got := codings.Of(plan.Film{Codec: plan.HEVC, Canvas: want.Canvas}); got.Encoder != "libx265" {
		t.Errorf("%+v", got)
	}
	if got := codings.Of(plan.Film{Codec: plan.HEVC, Canvas: want.Canvas, Rough: true}); got != (graph.Coding{}) {
		t.Errorf("of a rough cut: %+v", got)
	}
}

// Why an encoder failed is its own first word, without who says it.
func TestWhyAnEncoderFailed(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{&ffmpeg.ExitError{Tail: []string{"[h264_nvenc @ 0x55] [error] Cannot load libcuda.so.1.",
			"Conversion failed!"}}, "Cannot load libcuda.so.1"},
		{&ffmpeg.ExitError{Tail: []string{"Unknown encoder"}}, "Unknown encoder"},
		{&ffmpeg.ExitError{Program: "ffmpeg", Code: 187}, "exit status 187"},
		{errors.New("of 4 frames it wrote 3"), "of 4 frames it wrote 3"},
	} {
		if got := whyNot(c.err); !strings.Contains(got, c.want) || strings.Contains(got, "[") {
			t.Errorf("%v: %q, want %q", c.err, got, c.want)
		}
	}
}

// A segment's files are told by the numbers of its inputs, and reads nothing else,
// however it was asked for.
func TestLinksOfASegment(t *testing.T) {
	in := []string{"/store/a", "/store/b"}
	seg := func(names ...string) segmentWork {
		w := segmentWork{Segment: graph.Segment{Backdrop: names[0], Scene: graph.Scene{Overlay: names[1]}}}
		for _, n := range names[2:] {
			w.Segment.Pieces = append(w.Segment.Pieces, graph.Piece{Path: n})
		}
		return w
	}
	dir := filepath.Join(t.TempDir(), "out")
	linked, err := seg("0.png", "0.png", "1.mp4", "1.mp4").link(in, dir)
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	for _, path := range []string{linked.Backdrop, linked.Scene.Overlay, linked.Pieces[0].Path, linked.Pieces[1].Path} {
		path, ok := strings.CutPrefix(path, "file:")
		to, err := os.Readlink(path)
		want := in[0]
		if strings.HasSuffix(path, ".mp4") {
			want = in[1]
		}
		if !ok || err != nil || used[path] || to != want {
			t.Errorf("%s leads to %s, %v", path, to, err)
		}
		used[path] = true
	}
	for _, bad := range []string{"2.png", "-1.png", "a.png", "0", "0.txt", "0.png.mp4", "../0.png", "0x0.png",
		" 0.png"} {
		if _, err := seg("0.png", bad).link(in, filepath.Join(t.TempDir(), "out")); err == nil {
			t.Errorf("%q was opened", bad)
		}
	}
}

// Words that reach a filter graph are plain words, whoever asks.
func TestWordsOfPictures(t *testing.T) {
	fine := plan.Picture{PixFmt: "yuv420p10le", Matrix: "bt2020nc", Transfer: "arib-std-b67", Primaries: "SMPTE432",
		Range: "tv"}
	if err := (conformWork{Conform: plan.Conform{Picture: fine}}).check(); err != nil {
		t.Error(err)
	}
	for _, bad := range []string{"yuv420p,drawtext", "tv;x", "a b", "a=b", "'", "x:y", "\\", "[in]", "ü", "a\n"} {
		for i := range 5 {
			p := fine
			*[]*string{&p.PixFmt, &p.Matrix, &p.Transfer, &p.Primaries, &p.Range}[i] = bad
			if err := (conformWork{Conform: plan.Conform{Picture: p}}).check(); err == nil {
				t.Errorf("%q passed as word %d", bad, i)
			}
		}
	}
}

// What another machine is asked for it carries out or refuses with a reason; nothing it
// is told is a path of here.
func TestRulesForOtherMachines(t *testing.T) {
	asked := 0
	tool := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), []string{"zscale"}, func(ffmpeg.Command) error {
		asked++
		return errRecorded
	})
	rules := Rules(tool)
	if len(rules) != 4 || rules[RuleConform] == nil || rules[RuleSegment] == nil {
		t.Fatalf("%d rules", len(rules))
	}
	args := func(v any) []byte {
		data, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	dst := filepath.Join(t.TempDir(), "out")
	picture := conformWork{Rate: shot.Rate{Num: 30, Den: 1}, Cost: 1, Conform: plan.Conform{W: 64, H: 36,
		Frames: plan.Span{To: 3}, Picture: plan.Picture{W: 64, H: 36, Last: 1, FPS: 30, PixFmt: "yuv420p;x"}}}
	for _, c := range []struct {
		what, rule string
		args       []byte
		in         []string
		want       string
	}{
		{"no JSON", RuleConform, []byte("{"), []string{"/a"}, "cannot be read"},
		{"no file", RuleConform, args(picture), nil, "of 0 files"},
		{"two files", RuleConform, args(picture), []string{"/a", "/b"}, "of 2 files"},
		{"a graph in a word", RuleConform, args(picture), []string{"/a"}, "is no word of a picture"},
		{"no JSON", RulePieces, []byte("{"), []string{"/a"}, "cannot be read"},
		{"no file", RulePieces, args(piecesWork{picture, make([]plan.Span, 2)}), nil, "of 0 files"},
		{"nothing", RulePieces, args(piecesWork{picture, nil}), []string{"/a"}, "0 pieces are asked for"},
		{"too many", RulePieces, args(piecesWork{picture, make([]plan.Span, 9)}), []string{"/a"},
			"9 pieces are asked for"},
		{"a graph in a word", RulePieces, args(piecesWork{picture, make([]plan.Span, 2)}), []string{"/a"},
			"is no word of a picture"},
		{"no JSON", RuleSegment, []byte("[]"), nil, "cannot be read"},
		{"hardware", RuleSegment, args(segmentWork{Coding: graph.Coding{Encoder: "h264_nvenc"}}), nil,
			"encodes at home only"},
		{"a file it was not given", RuleSegment, args(segmentWork{Segment: graph.Segment{Backdrop: "0.png"}}), nil,
			"reads what it was not given"},
	} {
		err := rules[c.rule](t.Context(), c.args, c.in, dst)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "%!") {
			t.Errorf("%s, %s: %v", c.rule, c.what, err)
		}
	}
	if asked != 0 {
		t.Errorf("ffmpeg was asked %d times", asked)
	}
	picture.Conform.Picture.PixFmt = "yuv420p"
	if err := rules[RuleConform](t.Context(), args(picture), []string{"/a"}, dst); !errors.Is(err, errRecorded) ||
		asked == 0 {
		t.Errorf("%v, asked %d times", err, asked)
	}
	e := conformWork{Conform: plan.Conform{Take: "oboe", Picture: plan.Picture{Path: "/home/anna/Oboe.MOV",
		Hash: "abc", Codec: "h264"}}}.errand()
	if told := string(args(e.Args)); strings.Contains(told, "anna") || strings.Contains(told, "oboe") ||
		e.Rule != RuleConform || len(e.Inputs) != 1 || e.Inputs[0].Ext != ".mov" || e.Inputs[0].Hash != "abc" {
		t.Errorf("%+v", e)
	}
}

// Chapters are written for ffmpeg beside the film, at seconds of the film.
func TestChaptersAreWritten(t *testing.T) {
	dir := t.TempDir()
	line := plan.Timeline{Rate: shot.Rate{Num: 25, Den: 1}, Frames: 250}
	if name, err := writeChapters(dir, nil, line); name != "" || err != nil {
		t.Errorf("none: %q, %v", name, err)
	}
	name, err := writeChapters(dir, []plan.Chapter{{Frame: 50, Name: "Trio = two; # of\\all"}}, line)
	data, err2 := os.ReadFile(filepath.Join(dir, "chapters.txt"))
	if err := errors.Join(err, err2); err != nil || name != "file:"+filepath.Join(dir, "chapters.txt") {
		t.Fatalf("%q, %v", name, err)
	}
	// ffmpeg's FFMETADATA: =, ;, # and \ are escaped (ffmpeg-formats, Metadata).
	for _, want := range []string{";FFMETADATA1", "START=2000", "END=10000", `title=Trio \= two\; \# of\\all`} {
		if !strings.Contains(string(data), want) {
			t.Errorf("no %q in %s", want, data)
		}
	}
	if _, err := writeChapters(filepath.Join(dir, "gone"), []plan.Chapter{{Name: "x"}}, line); err == nil {
		t.Error("written into a folder that is not there")
	}
}

// The still of a shot is its middle, or where the take is nearest to it; a tile without
// a picture, or outside of its shot, has none.
func TestMomentsOfStills(t *testing.T) {
	line := plan.Timeline{First: 1000}
	f := plan.Film{Conforms: []plan.Conform{{Take: "oboe", W: 64, H: 36}},
		Shots: []plan.Shot{{Span: plan.Span{From: 100, To: 200}}}}
	for _, c := range []struct {
		shown plan.Span
		of    int
		want  int // output frame; -1: none
	}{
		{plan.Span{From: 0, To: 500}, 0, 150}, {plan.Span{From: 180, To: 500}, 0, 180}, {plan.Span{From: 0, To: 120},
			0, 119},
		{plan.Span{From: 300, To: 500}, 0, -1}, {plan.Span{}, 0, -1}, {plan.Span{From: 0, To: 500}, -1, -1},
	} {
		f.Shots[0].Tiles = []plan.Tile{{Take: "oboe", Conform: c.of, Shown: c.shown}}
		got, ok := stillOf(f, 0, 0, line)
		if ok != (c.want >= 0) || ok && got.Frames != (plan.Span{From: 1000 + c.want, To: 1001 + c.want}) {
			t.Errorf("shown %+v: %+v, %v", c.shown, got.Frames, ok)
		}
	}
	if r := onPicture(framing.Box{Left: 0.25, Top: 0.5, Right: 0.75, Bottom: 1}, 400, 300); r != (layout.Rect{X: 100,
		Y: 150, W: 200, H: 150}) {
		t.Errorf("%+v", r)
	}
	if _, err := paintOver(func() (image.Image, error) {
		return image.NewGray(image.Rect(0, 0, 2, 2)),
			nil
	}); err == nil {
		t.Error("a drawing in grey was drawn upon")
	}
	if _, err := paintOver(func() (image.Image, error) { return nil, errRecorded }); !errors.Is(err, errRecorded) {
		t.Errorf("%v", err)
	}
}

// A storyboard and the picture of crops ask for one still a tile, and draw what could be
// had of them.
func TestStoryboardsWithoutStills(t *testing.T) {
	pl := plantest.Plan(t, round, true)
	m := New((&recorder{}).tool(), nil, pl, &Assets{}, nil)
	var asked []task.Task
	nothing := func(tasks []task.Task) (task.Result, error) {
		asked = tasks
		return task.Result{}, nil
	}
	img, err := m.Storyboard(pl.Films[0], nothing)
	if err != nil || img.Bounds().Empty() || len(asked) != 3 { // two in the grid, one alone
		t.Fatalf("%d stills, %v", len(asked), err)
	}
	if img, err = m.Crops(pl.Films[0], map[string]Cropped{"oboe": {Note: "as crop says"}}, nothing); err != nil ||
		img.Bounds().Empty() || len(asked) != 2 { // one of each take
		t.Fatalf("%d stills, %v", len(asked), err)
	}
	for _, draw := range []func() error{
		func() error {
			_, err := m.Storyboard(pl.Films[0], func([]task.Task) (task.Result, error) {
				return task.Result{},
					errRecorded
			})
			return err
		},
		func() error {
			_, err := m.Crops(pl.Films[0], nil, func([]task.Task) (task.Result, error) {
				return task.Result{},
					errRecorded
			})
			return err
		},
	} {
		if err := draw(); !errors.Is(err, errRecorded) {
			t.Errorf("a run that fails: %v", err)
		}
	}
	o := m.PlanDrawing(pl.Films[0])
	if o.Title != "Test Round · final" || len(o.Shots) != 2 ||
		o.Shots[0].Caption != "tutti · 1.0 s before m1 to m3 · 5.0 s" ||
		o.Shots[1].Caption != "solo · m3 to 1.0 s after the end · 5.0 s" || len(o.Shots[0].Tiles) != 2 ||
		o.Shots[0].Tiles[0].Take != "oboe" {
		t.Errorf("%+v", o)
	}
}

// A picture that breaks off says after how much, for people.
func TestBrokenOff(t *testing.T) {
	err := &BrokenOff{File: "intake/a.mov", Got: 31, Want: 300, Seconds: 12.34}
	if want := "intake/a.mov: the picture breaks off after 12.3 s; only 31 of 300 frames could be " +
		"read"; err.Error() != want {
		t.Errorf("%q", err)
	}
}

// A roll of credits that moves needs memory for all of it, and a tile that is not opened
// none.
func TestMemoryOfSegments(t *testing.T) {
	f := plan.Film{Canvas: layout.Canvas{W: 1280, H: 720}, Conforms: []plan.Conform{{W: 640, H: 360}},
		Shots: []plan.Shot{{Tiles: []plan.Tile{{Conform: 0, Shown: plan.Span{To: 10}},
			{Conform: -1, Shown: plan.Span{To: 10}}}}, {}}}
	seg := plan.Segment{Span: plan.Span{To: 10}}
	plain := composeMemory(f, seg)
	seg.Span = plan.Span{From: 20, To: 30}
	if late := composeMemory(f, seg); late >= plain {
		t.Errorf("a tile that is not there takes %d bytes", plain-late)
	}
	f.Rough = true
	if rough := composeMemory(f, seg); rough >= plain {
		t.Errorf("a rough cut takes %d bytes, a film %d", rough, plain)
	}
	f.Rough, f.Codec = false, plan.AV1
	if av1 := composeMemory(f, plan.Segment{Span: plan.Span{To: 10}}); av1 <= plain {
		t.Errorf("AV1 takes %d bytes, H.264 %d", av1, plain)
	}
	f.Codec, f.Shots[1].Roll.Step = plan.H264, 2
	still, moving := composeMemory(f, plan.Segment{Shot: 1, Span: plan.Span{To: 0}}),
		composeMemory(f, plan.Segment{Shot: 1, Span: plan.Span{To: 100}})
	if moving-still != 12*1280*200 { // 4 bytes a pixel, three times
		t.Errorf("200 lines of credits take %d bytes", moving-still)
	}
}

// asset writes a file into a folder and returns it as the manifest names it.
func asset(t *testing.T, dir, name string, data []byte) Asset {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
		t.Fatal(err)
	}
	return Asset{Path: name, Mark: fault.Mark{File: "production.yaml", Line: 5, Column: 2}}
}

// pixels returns a PNG of one colour.
func pixels(t *testing.T, w, h int, c color.NRGBA) []byte {
	t.Helper()
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for i := 0; i < len(img.Pix); i += 4 {
		copy(img.Pix[i:], []byte{c.R, c.G, c.B, c.A})
	}
	path := filepath.Join(t.TempDir(), "a.png")
	if err := media.WritePNG(path, img, 0); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Files beside the takes that cannot be used stop a film, all of them told at once, each
// where the manifest names it and with what it should be.
func TestAssetsThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	text := asset(t, dir, "notes.txt", []byte("not a picture"))
	gone := Asset{Path: "gone.png", Mark: fault.Mark{File: "production.yaml", Line: 7, Column: 2}}
	_, err := ReadAssets(t.Context(), Files{Dir: dir, Backdrop: &text, Logo: &gone, Behind: []Asset{text}})
	var list fault.List
	if !errors.As(err, &list) || len(list) != 3 {
		t.Fatalf("%v", err)
	}
	for i, want := range []string{`the background "notes.txt" cannot be used`, `the picture "notes.txt" cannot be used`,
		`the logo "gone.png" cannot be used`} {
		if !isFault(list[i], fault.Media, "production.yaml:", want, ".png or .jpg") {
			t.Errorf("%v (%s), want %s", list[i], list[i].Hint, want)
		}
	}
	_, err = ReadAssets(t.Context(), Files{Dir: dir, Fonts: []Asset{gone, text}})
	if !errors.As(err, &list) || len(list) != 1 || !isFault(list[0], fault.Media, "production.yaml:7:2",
		`the font "gone.png" cannot be used`, ".ttf") {
		t.Errorf("%v", err)
	}
	_, err = ReadAssets(t.Context(), Files{Dir: dir, Fonts: []Asset{text}})
	if !isFault(err, fault.Media, "production.yaml:5:2", `the font "notes.txt" cannot be used`, ".otf or .ttc") {
		t.Errorf("%v", err)
	}
	outside := Asset{Path: "../../etc/passwd"}
	if _, err = ReadAssets(t.Context(), Files{Dir: dir, Logo: &outside}); err == nil {
		t.Error("a file outside of the folder was read")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	fine := asset(t, dir, "fine.png", pixels(t, 2, 2, color.NRGBA{A: 255}))
	if _, err = ReadAssets(ended, Files{Dir: dir, Logo: &fine}); err == nil {
		t.Error("read in a run that has ended")
	}
}

// Grounds are as large as the canvas, made once for each, and in the key of drawings: a
// picture by its content, colours by themselves, blurred players by who they are.
func TestGrounds(t *testing.T) {
	dir := t.TempDir()
	red, blue := color.NRGBA{200, 0, 0, 255}, color.NRGBA{0, 0, 200, 255}
	picture := asset(t, dir, "red.png", pixels(t, 40, 20, red))
	canvas := layout.Canvas{W: 64, H: 36}
	base := store.NewAction("overlay")
	keys := map[store.ID]string{base.ID(): "a colour"}
	for _, c := range []struct {
		what        string
		files       Files
		top, bottom color.NRGBA
	}{
		{"a picture", Files{Dir: dir, Backdrop: &picture, Background: blue}, red, red},
		{"a gradient", Files{Dir: dir, Background: blue, Into: &red}, blue, red},
		{"another gradient", Files{Dir: dir, Background: red, Into: &blue}, red, blue},
	} {
		a, err := ReadAssets(t.Context(), c.files)
		if err != nil {
			t.Fatal(err)
		}
		img := a.backdrop(canvas)
		if img.Bounds().Dx() != 64 || img.Bounds().Dy() != 36 || img != a.backdrop(canvas) {
			t.Errorf("%s: %v, made once: %v", c.what, img.Bounds(), img == a.backdrop(canvas))
		}
		near := func(at, want color.NRGBA) bool {
			return abs(int(at.R)-int(want.R)) < 8 && abs(int(at.G)-int(want.G)) < 8 && abs(int(at.B)-int(want.B)) < 8
		}
		if top, bottom := img.NRGBAAt(30, 0), img.NRGBAAt(30, 35); !near(top, c.top) || !near(bottom, c.bottom) {
			t.Errorf("%s: %v above, %v below", c.what, top, bottom)
		}
		key := a.groundArg(base).ID()
		if was, met := keys[key]; met {
			t.Errorf("%s has the key of %s", c.what, was)
		}
		keys[key] = c.what
	}
	a, err := ReadAssets(t.Context(), Files{Dir: dir, Logo: &picture, Behind: []Asset{picture}})
	if err != nil || a.Look.Logo == nil || a.backdrop(canvas) != nil || len(a.stills) != 1 ||
		a.groundArg(base).ID() != base.ID() {
		t.Errorf("a logo: %+v, %v", a, err)
	}
	a.Blur(nil, store.ID{1})
	if a.ground != nil {
		t.Error("nobody was blurred")
	}
	players := []image.Image{a.Look.Logo, image.NewNRGBA(image.Rect(0, 0, 40, 20))}
	a.Blur(players, store.ID{1})
	if img := a.backdrop(canvas); img == nil || img.Bounds().Dx() != 64 || keys[a.groundArg(base).ID()] != "" {
		t.Error("blurred players are no ground of their own")
	}
}

// abs returns the size of a number.
func abs(v int) int { return max(v, -v) }

// A drawing depends on a font only when it has characters that the embedded ones lack,
// and on how hyphens are drawn only when it has one.
func TestFontsInKeys(t *testing.T) {
	base := store.NewAction("labels")
	plain := &Assets{}
	named := &Assets{fontID: store.ID{9}}
	fonts, err := card.ParseFonts()
	if err != nil {
		t.Skip(err)
	}
	named.Fonts = fonts
	same := func(a, b store.Action) bool { return a.ID() == b.ID() }
	if !same(plain.fontArg(base, "Oboe"), named.fontArg(base, "Oboe")) || !same(base, plain.fontArg(base, "Oboe")) {
		t.Error("a drawing in letters that are there depends on a font")
	}
	if same(plain.fontArg(base, "楽"), named.fontArg(base, "楽")) || !same(plain.fontArg(base, "楽"), base) {
		t.Error("a drawing in letters that are missing depends on no font")
	}
	if same(plain.fontArg(base, "Anna-Lena"), base) != !card.HasHyphen("Anna-Lena") {
		t.Error("hyphens are not in the key")
	}
}
