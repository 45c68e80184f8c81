package picture

import (
	"context"
	"fmt"
	"path/filepath"

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
func (c composition) work() (segmentWork, *uses) {
	u := newUses()
	w := segmentWork{Coding: c.coding}
	w.Segment = c.segment(sources{
		mezzanine: func(k int) string { return u.of(c.conforms[k], ".mp4") },
		band:      func(r task.Ref[string]) string { return u.of(r, ".mp4") },
		drawing:   func(r task.Ref[string]) string { return u.of(r, ".png") },
		backdrop:  u.of(c.backdrop, ".png"),
	})
	if c.film.Marks {
		w.Marks = c.textsOf()
	}
	return w, u
}

// run composes the segment into the folder dir and counts what came out. in are the
// paths of its inputs. It fails when a frame is missing although ffmpeg ended well.
// Marks and links are written beside dir, under names that begin with it.
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

// link returns the segment with its files beside dir. Links are named by dir, so that
// two works in one folder do not meet.
func (w segmentWork) link(in []string, dir string) (graph.Segment, error) {
	l := linker{in: in, dir: dir}
	seg := w.Segment.Rename(l.name)
	return seg, l.wrong
}
