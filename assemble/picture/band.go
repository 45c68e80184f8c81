package picture

import (
	"context"
	"fmt"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// banded is a band of a scene and the task that composes it. A scene of very many
// tiles is composed in bands, each by a process of its own: one process would open
// more files, and take more memory, than a machine may have.
type banded struct {
	band graph.Band // with empty paths
	made task.Ref[string]
}

// bandsOf returns the bands of a scene of a segment; nil when it is composed at once.
// Labels, drawings, fades and transitions are no part of them: they come over the
// bands as they do over tiles. How a scene is cut follows from the plan alone and not
// from the machine, since bands are encoded once more and so change the bytes of the
// film.
func (m *Maker) bandsOf(c composition, sc scene) []banded {
	s := c.film.Shots[sc.shot]
	var list []banded
	for k, b := range s.Bands(c.film.Canvas, m.banding) {
		if made, ok := m.bandTask(c, sc, b, k); ok {
			list = append(list, made)
		}
	}
	return list
}

// bandTask composes one band; false when none of its pictures is shown in the segment.
func (m *Maker) bandTask(c composition, sc scene, b plan.Band, k int) (banded, bool) {
	only := func(tile int) bool { return slices.Contains(b.Tiles, tile) }
	// Once without paths, for the key, and once with those of the inputs, for the
	// work.
	of := func(mezzanine func(int) string, backdrop string) graph.Band {
		return graph.Band{Canvas: c.film.Canvas, Rate: c.line.Rate, Frames: c.seg.Len(), Rect: b.Rect,
			Pieces: pieces(c.film, sc, c.line, only, mezzanine), Backdrop: backdrop, Scenery: c.film.Scenery,
			Zscale: c.zscale, Queues: c.queues}
	}
	made := banded{band: of(func(int) string { return "" }, "")}
	if len(made.band.Pieces) == 0 {
		return made, false
	}
	var tiles []plan.Tile
	for _, i := range b.Tiles {
		if t := c.film.Shots[sc.shot].Tiles[i]; t.Shown.Meet(c.seg.Span).Len() > 0 {
			tiles = append(tiles, t)
		}
	}
	t := task.Task{Stage: "compose", Spreads: true, Action: store.NewAction("band").Version(graph.Rule).
		Arg("ffmpeg", m.tool.Version.Text).Arg("band", made.band)}
	t.Needs("backdrop", c.backdrop)
	for _, p := range conformsOf(c.film, tiles, c.seg.Span, c.line) {
		t.Needs("picture", c.conforms[p])
	}
	if slices.ContainsFunc(tiles, func(t plan.Tile) bool { return t.Behind == plan.BehindBlur }) {
		t.Action = t.Action.Arg("ground", groundRule)
	}
	t.Action = t.Action.Ext(".mp4").For(fmt.Sprintf("%s from %.1f s, band %d", c.film.Name,
		c.line.Rate.Seconds(c.seg.From), k+1))
	t.ID, t.Name = task.ID("band", t.Action.ID().String()), t.Action.Subject()
	size := mega(b.Rect.W, b.Rect.H)
	t.Cost = costStart + costComposeRough*float64(c.seg.Len())*size
	t.Bytes = int64(2 * mezzanineBytes * float64(c.seg.Len()) * size)
	t.Memory = bandMemory(c.film, b, tiles)
	uses := newUses()
	work := bandWork{of(func(k int) string { return uses.of(c.conforms[k], ".mp4") }, uses.of(c.backdrop, ".png"))}
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, advance func(float64)) error {
		paths, err := uses.paths(in)
		if err != nil {
			return err
		}
		return work.run(ctx, m.tool, paths, tmp, advance)
	}
	t.Errand = uses.errand(RuleBand, work)
	made.made = task.Path(t)
	return made, true
}

// bandMemory returns the estimated peak of composing a band, in bytes. The constants
// are fitted in memory.go.
func bandMemory(f plan.Film, b plan.Band, tiles []plan.Tile) int64 {
	m := composeBase + 2*tileFrames*reading.FrameBytes(b.Rect.W, b.Rect.H)
	for _, t := range tiles {
		c := f.Conforms[t.Conform]
		m += composeInput + tileFrames*reading.FrameBytes(c.W, c.H)
	}
	return int64(m)
}

// memory returns the estimated peak of composing a segment, in bytes. A band is one
// input of the size of the band, whatever it is made of.
func (c composition) memory() int64 {
	m := memoryOf(c.film, c.seg, c.unbanded())
	for _, b := range slices.Concat(c.bands[0], c.bands[1]) {
		m += int64(composeInput + tileFrames*reading.FrameBytes(b.band.Rect.W, b.band.Rect.H))
	}
	return m
}

// unbanded returns the tiles whose pictures the segment itself opens.
func (c composition) unbanded() (list []plan.Tile) {
	open := openTilesOf(c.film, c.seg)
	for k, tiles := range open {
		if c.bands[k] == nil {
			list = append(list, tiles...)
		}
	}
	return list
}

// bandWork is the composing of a band as plain data, see [segmentWork].
type bandWork struct{ Band graph.Band }

// run composes the band and counts its frames.
func (w bandWork) run(ctx context.Context, tool *ffmpeg.Tool, in []string, tmp string, advance func(float64)) error {
	l := linker{in: in, dir: tmp}
	b := w.Band.Rename(l.name)
	if l.wrong != nil {
		return l.wrong
	}
	cmd, err := graph.ComposeBand(b, "file:"+tmp)
	if err != nil {
		return err
	}
	if err := tool.RunGraph(ctx, cmd, tmp, b.Frames, advance); err != nil {
		return err
	}
	got, err := media.CountFrames(tmp)
	if err == nil && got != b.Frames {
		err = fmt.Errorf("a band has %d frames instead of %d", got, b.Frames)
	}
	return err
}
