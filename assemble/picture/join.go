package picture

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/subtitle"
	"ripieno/assemble/task"
)

// filmRule is the version of how a finished film is put together here.
const filmRule = 2

// joining is what a film is joined of besides its files.
type joining struct {
	film     plan.Film
	line     plan.Timeline
	title    string
	chapters []plan.Chapter
	coding   graph.Coding
}

// joinTask joins the segments and the sound and checks the finished film: only
// one that passes gets into the store, and from there its name.
func (m *Maker) joinTask(f plan.Film, segments []task.Ref[string], sound task.Ref[string]) task.Ref[string] {
	j := joining{film: f, line: m.line, title: m.title, chapters: m.chapters, coding: m.codings.Of(f)}
	t := task.Task{
		ID: task.ID("film", f.Name), Name: f.Name, Stage: "join", Cost: 0.3 + 0.004*m.line.Duration(),
		Bytes: int64(filmBytes * float64(m.line.Frames) * mega(f.Canvas.W, f.Canvas.H)),
		Action: store.NewAction("film").Version(graph.Rule*1000+filmRule).Arg("ffmpeg", m.tool.Version.Text).
			Arg("rate", m.line.Rate).Arg("title", m.title),
	}
	t.Needs("sound", sound)
	if len(j.chapters) > 0 {
		t.Action = t.Action.Arg("chapters", j.chapters)
	}
	for _, s := range segments {
		t.Needs("segment", s)
	}
	t.Action = t.Action.Ext(".mp4").For(f.Name)
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		heard, err := sound.Read(in)
		if err != nil {
			return err
		}
		files, err := task.ReadAll(segments, in)
		if err != nil {
			return err
		}
		return j.join(ctx, m.tool, files, heard, tmp)
	}
	return task.Path(t)
}

// join writes the film of the segments in folders and the sound, and checks it.
// Nothing is encoded here: packets of the segments are put one behind the other. tmp
// must lie in a folder of its own, since links and lists are written beside it.
func (j joining) join(ctx context.Context, tool *ffmpeg.Tool, folders []string, sound, tmp string) error {
	f, dir := j.film, filepath.Dir(tmp)
	paths, files := make([]string, len(folders)), make([]string, len(folders))
	frames := make([]int, len(folders))
	for i, folder := range folders {
		frames[i] = f.Segments[i].Len()
		// Links under names of our own: the store may lie in a folder whose
		// name a list cannot hold.
		paths[i] = fmt.Sprintf("segment-%05d.mp4", i)
		files[i] = filepath.Join(folder, segmentFile)
		if err := os.Symlink(files[i], filepath.Join(dir, paths[i])); err != nil {
			return err
		}
	}
	// See sameHeads for why the usual encoder needs no check.
	if j.coding != (graph.Coding{}) {
		if err := sameHeads(files); err != nil {
			return fmt.Errorf("joining %s: %w", f.Name, err)
		}
	}
	text, err := graph.SegmentList(paths, frames, j.line.Rate)
	if err != nil {
		return err
	}
	list := filepath.Join(dir, "segments.txt")
	if err := os.WriteFile(list, []byte(text), 0o666); err != nil {
		return err
	}
	index, err := writeChapters(dir, j.chapters, j.line)
	if err != nil {
		return err
	}
	cmd, err := graph.Mux("file:"+list, "file:"+sound, index, "file:"+tmp, j.title, j.line.Rate)
	if err != nil {
		return err
	}
	if err := tool.RunGraph(ctx, cmd, tmp, 0, nil); err != nil {
		return err
	}
	return media.VerifyFilm(ctx, tool, tmp, media.Want{
		W: f.Canvas.W, H: f.Canvas.H, Frames: j.line.Frames, FPSNum: j.line.Rate.Num, FPSDen: j.line.Rate.Den,
		AudioSamples: int64(j.line.AudioLen), Chapters: len(j.chapters), Codec: string(f.Codec),
	})
}

// writeChapters writes the chapters of a film into dir and returns the file's
// name for ffmpeg; "" when there are none.
func writeChapters(dir string, chapters []plan.Chapter, line plan.Timeline) (string, error) {
	if len(chapters) == 0 {
		return "", nil
	}
	var list []subtitle.Chapter
	for _, c := range chapters {
		list = append(list, subtitle.Chapter{From: line.Rate.Seconds(c.Frame), Name: c.Name})
	}
	path := filepath.Join(dir, "chapters.txt")
	return "file:" + path, os.WriteFile(path, []byte(subtitle.Metadata(list, line.Duration())), 0o666)
}
