package picture

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
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

// link returns the segment with its files beside dir.
func (w segmentWork) link(in []string, dir string) (graph.Segment, error) {
	l := linker{in: in, dir: dir}
	seg := w.Segment.Rename(l.name)
	return seg, l.wrong
}

// conformWork is the conforming of a picture as plain data.
type conformWork struct {
	Conform plan.Conform
	Rate    shot.Rate
	Cost    float64 // estimated seconds of one core
}

// errand returns the work as another machine is asked for it: the path and what lies
// in it are told by the file alone.
func (w conformWork) errand() *task.Errand {
	pic := &w.Conform.Picture
	input := task.ErrandInput{Path: pic.Path, Ext: strings.ToLower(filepath.Ext(pic.Path)), Hash: pic.Hash}
	pic.Path, pic.Hash, pic.Codec, pic.Cuts, w.Conform.Take = "", "", "", nil, ""
	return &task.Errand{Rule: RuleConform, Args: w, Inputs: []task.ErrandInput{input}}
}

// check returns an error when a text of the picture, which reaches a filter graph, is
// no plain word.
func (w conformWork) check() error {
	p := w.Conform.Picture
	for _, word := range []string{p.PixFmt, p.Matrix, p.Transfer, p.Primaries, p.Range} {
		if strings.Trim(strings.ToLower(word), "abcdefghijklmnopqrstuvwxyz0123456789-_.") != "" {
			return fmt.Errorf("picture: %q is no word of a picture", word)
		}
	}
	return nil
}

// elsewhere conforms the file at path in software and counts its frames.
func (w conformWork) elsewhere(ctx context.Context, tool *ffmpeg.Tool, path, dst string) error {
	if err := w.check(); err != nil {
		return err
	}
	w.Conform.Picture.Path = path
	src := reading.Source(tool, w.Conform.Picture)
	openAt(ctx, &src, w.Conform, w.Rate)
	got, err := w.run(ctx, tool, src, dst, nil)
	if err == nil && got != w.Conform.Frames.Len() {
		err = fmt.Errorf("picture: %d of %d frames could be read", got, w.Conform.Frames.Len())
	}
	return err
}

// run conforms the picture of src and returns how many frames came out. Of a recording
// without key frames but the first all frames are decoded.
func (w conformWork) run(ctx context.Context, tool *ffmpeg.Tool, src graph.Source, tmp string,
	advance func(float64)) (int, error) {
	got, err := w.decode(ctx, tool, src, tmp, advance)
	if w.Conform.Keys && err == nil && got == 0 {
		w.Conform.Keys = false
		return w.decode(ctx, tool, src, tmp, advance)
	}
	return got, err
}

// decode is one run of ffmpeg.
func (w conformWork) decode(ctx context.Context, tool *ffmpeg.Tool, src graph.Source, tmp string,
	advance func(float64)) (int, error) {
	c := w.Conform
	cmd, err := graph.Conform(c, src, w.Rate, "file:"+tmp)
	if err != nil {
		return 0, err
	}
	os.Remove(tmp) // of an earlier reading
	err = reading.Take(ctx, tool, cmd, c.Picture, reading.Job{Tmp: tmp, Frames: c.Frames.Len(), Advance: advance,
		Before: max(0, c.Picture.File(w.Rate.Seconds(c.Frames.From))-src.Open),
		Limits: onDevice(reading.Limits(c, w.Cost), src.Device)})
	if err != nil {
		return 0, err
	}
	got, err := media.CountFrames(tmp)
	if errors.Is(err, media.ErrNoPicture) {
		return 0, nil // nothing of it could be decoded
	}
	return got, err
}
