package picture

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/task"
)

// segmentWork is the composing of a segment as plain data, so that it can be done in
// another process. The files of the segment have the numbers of its inputs for names,
// with the ending by which they are read, such as "3.png".
type segmentWork struct {
	Segment graph.Segment
	Coding  graph.Coding
	Marks   []string // the line for each frame; nil for none
}

// work returns the composing of a segment and the outputs it reads.
func (c composition) work() (w segmentWork, inputs []task.Ref[string]) {
	number := map[string]int{}
	use := func(r task.Ref[string], ext string) string {
		k, known := number[r.Task().ID]
		if !known {
			k = len(inputs)
			number[r.Task().ID] = k
			inputs = append(inputs, r)
		}
		return strconv.Itoa(k) + ext
	}
	w.Coding = c.coding
	w.Segment = c.segment(
		func(k int) string { return use(c.conforms[k], ".mp4") },
		func(r task.Ref[string]) string { return use(r, ".png") },
		use(c.backdrop, ".png"))
	if c.film.Marks {
		w.Marks = markTexts(c.tempo, c.line, c.seg)
	}
	return w, inputs
}

// errand returns the work as another machine is asked for it.
func (w segmentWork) errand(inputs []task.Ref[string]) *task.Errand {
	e := &task.Errand{Rule: RuleSegment, Args: w}
	for _, r := range inputs {
		e.Inputs = append(e.Inputs, task.ErrandInput{Edge: r})
	}
	return e
}

// run composes the segment into the folder dir and counts what came out. in are the
// paths of its inputs.
func (w segmentWork) run(ctx context.Context, tool *ffmpeg.Tool, hardware sessions, in []string, dir string,
	advance func(float64)) error {
	seg, err := w.link(in, dir)
	if err != nil {
		return err
	}
	if len(w.Marks) > 0 {
		if seg.Marks, err = drawMarks(dir+".marks", seg.Canvas.H, w.Marks); err != nil {
			return err
		}
	}
	path := filepath.Join(dir, segmentFile)
	if !seg.Rough {
		seg.Copy.Path = "file:" + filepath.Join(dir, copyFile)
	}
	cmd, err := graph.Compose(seg, w.Coding, "file:"+path)
	if err != nil {
		return err
	}
	free, err := hardware.take(ctx, w.Coding)
	if err != nil {
		return err
	}
	defer free()
	if err := tool.RunGraph(ctx, cmd, dir, seg.Frames, advance); err != nil {
		return err
	}
	got, err := media.CountFrames(path)
	if err == nil && got != seg.Frames {
		err = fmt.Errorf("a segment has %d frames instead of %d", got, seg.Frames)
	}
	return err
}

// link returns the segment with its files beside dir. Every use of an input gets a
// name of its own: what builds the command takes two equal inputs for one.
func (w segmentWork) link(in []string, dir string) (graph.Segment, error) {
	n := 0
	var wrong error
	seg := w.Segment.Rename(func(use string) string {
		number, ext, _ := strings.Cut(use, ".")
		k, err := strconv.Atoi(number)
		if err != nil || k < 0 || k >= len(in) || ext != "mp4" && ext != "png" {
			wrong = cmp.Or(wrong, errors.New("a segment reads what it was not given"))
			return ""
		}
		name := fmt.Sprintf("%s.%03d.%s", dir, n, ext)
		n++
		if err := os.Symlink(in[k], name); err != nil {
			wrong = cmp.Or(wrong, err)
		}
		return "file:" + name
	})
	return seg, wrong
}
