package picture

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// crowd is the manifest of a production of so many takes, of which the first is seen
// alone after a dissolve.
func crowd(takes int) string {
	list := ""
	for k := range takes {
		list += fmt.Sprintf("  - {name: t%02d, player: P%d, part: Part, video: {file: intake/t%02d.mp4, "+
			"offset: 0}}\n", k, k, k)
	}
	return `version: 1
title: Crowd
release: yes
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
` + list + `picture: {fps: 30, aspect: 16:9, lead_in: 1, tail: 1, background: "#204060"}
shots: [{from: start, show: tutti}, {from: m3, show: solo, take: t00, transition: {kind: dissolve, seconds: 0.5}}]
deliver: [{name: final, canvas: 1280x720}]
`
}

// crowdFilm plans the film of a crowd with a banding.
func crowdFilm(t *testing.T, r *recorder, takes int, b plan.Banding) (*plan.Plan, Film, []task.Task) {
	t.Helper()
	pl := plantest.Plan(t, crowd(takes), true)
	m := New(r.tool(), nil, pl, &Assets{}, nil)
	m.banding = b
	f, err := m.Film(pl.Films[0], heard())
	if err != nil {
		t.Fatal(err)
	}
	return pl, f, task.Collect(f.Edges...)
}

// TestManyPicturesAreComposedInBands: a segment reads the bands, which read the pictures
// of their rows; what is few is as it was, with the keys that it had.
func TestManyPicturesAreComposedInBands(t *testing.T) {
	t.Parallel()
	r := &recorder{}
	_, _, before := crowdFilm(t, r, 16, plan.UsualBanding)
	_, _, tasks := crowdFilm(t, r, 16, plan.Banding{From: 12, Most: 8})
	was := map[string]bool{}
	for _, x := range before {
		if was[x.ID] = true; x.Action.Rule() == "band" {
			t.Errorf("sixteen pictures have a band: %s", x.Name)
		}
	}
	byID := map[string]task.Task{}
	for _, x := range tasks {
		byID[x.ID] = x
	}
	bands, banded, direct := 0, 0, 0
	for _, x := range tasks {
		pictures, reads := 0, 0
		for _, id := range x.After {
			switch {
			case strings.HasPrefix(id, "conform/"):
				pictures++
			case byID[id].Action.Rule() == "band":
				reads++
			}
		}
		switch x.Action.Rule() {
		case "band":
			bands++
			if pictures != 8 || reads != 0 || x.Errand == nil || x.Errand.Rule != RuleBand ||
				len(x.Errand.Inputs) != 9 {
				t.Errorf("%s reads %d pictures", x.Name, pictures)
			}
		case "segment":
			if reads > 0 {
				banded++
			} else if direct++; !was[x.ID] {
				t.Errorf("%s has another key", x.Name)
			}
			if reads != 0 && reads != 2 || reads == 2 && pictures > 1 { // one of the solo that comes
				t.Errorf("%s reads %d bands and %d pictures", x.Name, reads, pictures)
			}
		}
	}
	if banded < 2 || direct < 1 || bands != 2*banded {
		t.Errorf("%d segments of %d bands, %d without", banded, bands, direct)
	}
}

// TestABandCanBeMadeElsewhere: the arguments survive the way, and ffmpeg is asked for
// the same there and here.
func TestABandCanBeMadeElsewhere(t *testing.T) {
	t.Parallel()
	r := &recorder{}
	_, _, tasks := crowdFilm(t, r, 16, plan.Banding{From: 12, Most: 8})
	i := slices.IndexFunc(tasks, func(x task.Task) bool { return x.Action.Rule() == "band" })
	x := tasks[i]
	dir := t.TempDir()
	var paths []string
	in := task.Inputs{}
	for k, e := range x.Errand.Inputs {
		path := filepath.Join(dir, fmt.Sprintf("in-%d", k))
		if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
		in[e.Edge.Task().ID] = path
		paths = append(paths, path)
	}
	asked := func(name string, run func(dst string) error) (args, filters string) {
		dst := filepath.Join(dir, name)
		if err := run(dst); err == nil || !strings.Contains(err.Error(), errRecorded.Error()) {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := os.ReadFile(dst + ".graph")
		if err != nil {
			t.Fatal(err)
		}
		return strings.ReplaceAll(strings.Join(r.args, " "), name, "NAME"), string(text)
	}
	hereArgs, hereGraph := asked("made-home",
		func(dst string) error { return x.Make(t.Context(), in, dst, func(float64) {}) })
	args, err := json.Marshal(x.Errand.Args)
	if err != nil {
		t.Fatal(err)
	}
	rule := Rules(r.tool())[RuleBand]
	thereArgs, thereGraph := asked("made-away", func(dst string) error { return rule(t.Context(), args, paths, dst) })
	if hereArgs != thereArgs || hereGraph != thereGraph {
		t.Errorf("here  %s\nthere %s", hereArgs, thereArgs)
	}
	for name, run := range map[string]func() error{
		"no arguments": func() error { return rule(t.Context(), []byte("x"), paths, filepath.Join(dir, "a")) },
		"few files":    func() error { return rule(t.Context(), args, paths[:1], filepath.Join(dir, "b")) },
	} {
		if err := run(); err == nil || strings.Contains(err.Error(), errRecorded.Error()) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestBandsTakeTheMemoryOfBands: a segment of bands needs no room for its tiles.
func TestBandsTakeTheMemoryOfBands(t *testing.T) {
	t.Parallel()
	memory := func(b plan.Banding, rule string) (most int64) {
		_, _, tasks := crowdFilm(t, &recorder{}, 64, b)
		for _, x := range tasks {
			if x.Action.Rule() == rule {
				most = max(most, x.Memory)
			}
		}
		return most
	}
	few := plan.Banding{From: 12, Most: 16}
	direct, banded, band := memory(plan.UsualBanding, "segment"), memory(few, "segment"), memory(few, "band")
	if banded >= direct || band <= 0 || band >= direct {
		t.Errorf("at once %d MB, of bands %d, a band %d", direct/1e6, banded/1e6, band/1e6)
	}
}

// patchwork is a segment of equal tiles from one moving picture, each at another frame of it.
func patchwork(t testing.TB, tool *ffmpeg.Tool, dir string, columns, frames int, c layout.Canvas) graph.Segment {
	t.Helper()
	w, h := layout.FloorEven(c.W/columns), layout.FloorEven(c.H/columns)
	picture, over := filepath.Join(dir, "take.mp4"), filepath.Join(dir, "over.png")
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("testsrc2=size=%dx%d:rate=30,noise=alls=8:allf=t:all_seed=1", w, h), "-frames:v",
		strconv.Itoa(frames + columns*columns), "-c:v", "libx264", "-preset", "ultrafast", "-g", "1", "-qp", "22",
		"-pix_fmt",
		"yuv420p", "-y", "file:" + picture}})
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("color=black@0.0:size=%dx%d,format=rgba", c.W, c.H),
		"-frames:v", "1", "-y", "file:" + over}})
	g := graph.Segment{Canvas: c, Rate: shot.Rate{Num: 30, Den: 1}, Frames: frames,
		Scene:    graph.Scene{Overlay: "file:" + over},
		Backdrop: "file:" + over, Zscale: tool.Filter("zscale"), Queues: tool.QueuesInputs()}
	for k := range columns * columns {
		g.Pieces = append(g.Pieces, graph.Piece{Path: fmt.Sprintf("file:%s/%03d.mp4", dir, k), Skip: k, Count: frames,
			Crop: layout.Rect{W: w, H: h}, W: w, H: h, Hole: layout.Rect{X: k % columns * w, Y: k / columns * h,
				W: w, H: h}})
		if err := os.Symlink(picture, fmt.Sprintf("%s/%03d.mp4", dir, k)); err != nil {
			t.Fatal(err)
		}
	}
	return g
}

// inBands composes the bands of a patchwork of so many rows each, and returns the
// segment that shows them.
func inBands(t testing.TB, tool *ffmpeg.Tool, dir string, g graph.Segment, columns, rows int) graph.Segment {
	t.Helper()
	all := g.Pieces
	g.Pieces = nil
	for k := 0; k < len(all); k += rows * columns {
		part := all[k:min(k+rows*columns, len(all))]
		first, last := part[0].Hole, part[len(part)-1].Hole
		b := graph.Band{Canvas: g.Canvas, Rate: g.Rate, Frames: g.Frames, Pieces: part, Backdrop: g.Backdrop,
			Zscale: g.Zscale,
			Queues: g.Queues, Rect: layout.Rect{Y: first.Y, W: g.Canvas.W, H: last.Bottom() - first.Y}}
		out := fmt.Sprintf("file:%s/band-%03d.mp4", dir, k)
		cmd, err := graph.ComposeBand(b, out)
		if err != nil {
			t.Fatal(err)
		}
		runGraph(t, tool, cmd, strings.TrimPrefix(out, "file:"))
		g.Pieces = append(g.Pieces, b.Piece(out))
	}
	return g
}

// composed writes a segment and returns its path.
func composed(t testing.TB, tool *ffmpeg.Tool, dir, name string, g graph.Segment) string {
	t.Helper()
	path := filepath.Join(dir, name)
	cmd, err := graph.Compose(g, graph.Coding{}, "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	runGraph(t, tool, cmd, path)
	return path
}

// likeness returns PSNR in dB and SSIM of two films, over all frames and planes.
func likeness(t testing.TB, tool *ffmpeg.Tool, a, b string) (psnr, ssim float64) {
	t.Helper()
	read := func(filter, field string) float64 {
		log := filepath.Join(t.TempDir(), "log")
		run(t, tool, ffmpeg.Command{Args: []string{"-i", "file:" + a, "-i", "file:" + b, "-lavfi",
			filter + "=stats_file=" + log, "-f", "null", "-"}})
		data, err := os.ReadFile(log)
		if err != nil {
			t.Fatal(err)
		}
		sum, n := 0.0, 0
		for _, m := range regexp.MustCompile(field+`:([0-9.]+|inf)`).FindAllStringSubmatch(string(data), -1) {
			x, err := strconv.ParseFloat(m[1], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum, n = sum+min(x, 99), n+1
		}
		if n == 0 {
			t.Fatalf("%s says nothing: %s", filter, data)
		}
		return sum / float64(n)
	}
	return read("psnr", "psnr_avg"), read("ssim", "All")
}

// TestBandsLookAsOne composes twelve tiles at once and in bands of four: the films differ
// by no more than encoding does, and all of the canvas is in its place.
func TestBandsLookAsOne(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	const columns = 4
	g := patchwork(t, tool, dir, columns, 8, layout.Canvas{W: 320, H: 180})
	once := composed(t, tool, dir, "once.mp4", g)
	bands := composed(t, tool, dir, "bands.mp4", inBands(t, tool, dir, g, columns, 1))
	if psnr, ssim := likeness(t, tool, once, bands); psnr < 38 || ssim < 0.97 {
		t.Errorf("PSNR %.1f dB, SSIM %.4f", psnr, ssim)
	} else {
		t.Logf("PSNR %.1f dB, SSIM %.4f", psnr, ssim)
	}
}

// BenchmarkBands composes a hundred tiles on 1080 lines at once and in bands of forty, and
// says how alike both are to each other and to the picture before it is encoded.
func BenchmarkBands(b *testing.B) {
	tool, dir := findTool(b), b.TempDir()
	const columns = 10
	g := patchwork(b, tool, dir, columns, 30, layout.Canvas{W: 1920, H: 1080})
	for b.Loop() {
		for _, name := range []string{"once.mp4", "bands.mp4", "truth.mp4"} {
			os.Remove(filepath.Join(dir, name))
		}
		once := composed(b, tool, dir, "once.mp4", g)
		split := composed(b, tool, dir, "bands.mp4", inBands(b, tool, dir, g, columns, 4))
		psnr, ssim := likeness(b, tool, once, split)
		b.Logf("to each other: PSNR %.2f dB, SSIM %.4f", psnr, ssim)
		whole := g.Canvas
		cmd, err := graph.ComposeBand(graph.Band{Canvas: g.Canvas, Rate: g.Rate, Frames: g.Frames, Pieces: g.Pieces,
			Backdrop: g.Backdrop, Zscale: g.Zscale, Queues: g.Queues, Rect: layout.Rect{W: whole.W, H: whole.H}},
			"file:"+filepath.Join(dir, "truth.mp4"))
		if err != nil {
			b.Fatal(err)
		}
		runGraph(b, tool, cmd, filepath.Join(dir, "truth.mp4"))
		for name, path := range map[string]string{"once": once, "bands": split} {
			psnr, ssim := likeness(b, tool, path, filepath.Join(dir, "truth.mp4"))
			size, _ := os.Stat(path)
			b.Logf("%s to the stack: PSNR %.2f dB, SSIM %.4f, %d kB", name, psnr, ssim, size.Size()/1000)
		}
	}
}
