package assemble

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
)

// composition is a segment with the tasks whose outputs it is made of.
type composition struct {
	film     plan.Film
	seg      plan.Segment
	line     plan.Timeline
	conforms []task.Task // of the whole film
	backdrop task.Task
	drawn    []painting // of the scene; in a transition of the old scene, the new one, and the new one whole
	names    *task.Task // that come or go; nil for none
	glides   []plan.Glide
	zscale   bool
	queues   bool // see graph.Segment
	coding   graph.Coding
}

// painting is what is drawn for a scene.
type painting struct {
	overlay task.Task
	roll    *task.Task // credits that move; nil for none
}

// drawings are all drawings of a segment, in the order of their use.
func (c composition) drawings() (list []task.Task) {
	for _, d := range c.drawn {
		list = append(list, d.overlay)
		if d.roll != nil {
			list = append(list, *d.roll)
		}
	}
	if c.names != nil {
		list = append(list, *c.names)
	}
	return list
}

func (p *Production) composition(f plan.Film, seg plan.Segment, line plan.Timeline, conforms []task.Task, backdrop task.Task) composition {
	c := composition{film: f, seg: seg, line: line, conforms: conforms, backdrop: backdrop, zscale: p.Tool().Filter("zscale"), queues: p.Tool().QueuesInputs(), coding: p.coding(f)}
	add := func(sc scene) {
		d := painting{overlay: drawTask(p.overlay(f, sc))}
		if f.Shots[sc.shot].Roll.Step > 0 {
			t := drawTask(p.roll(f, sc))
			d.roll = &t
		}
		c.drawn = append(c.drawn, d)
	}
	if !seg.Into {
		add(sceneOf(seg))
		if seg.Soft.Frames > 0 {
			names := drawTask(p.labels(f, f.Shots[seg.Shot]))
			c.names = &names
		}
		return c
	}
	c.glides = f.Glides(seg.Shot)
	old, new := c.scenes()
	add(old)
	add(new)
	if len(c.glides) > 0 {
		add(sceneOf(seg))
	}
	return c
}

// scenes are the two of a transition, without the takes that glide.
func (c composition) scenes() (old, new scene) {
	old, new = before(c.film, c.seg), sceneOf(c.seg)
	gone := map[string]bool{}
	for _, g := range c.glides {
		gone[c.film.Shots[c.seg.Shot].Tiles[g.New].Take] = true
	}
	old.left, new.left = gone, gone
	return old, new
}

// segment is c for the graph, with the paths that the two functions give.
func (c composition) segment(mezzanine func(conform int) string, drawing func(task.Task) string, backdrop string) graph.Segment {
	g := graph.Segment{
		Canvas: c.film.Canvas, Rate: c.line.Rate, Frames: c.seg.Len(), Rough: c.film.Rough, Backdrop: backdrop, Zscale: c.zscale, Queues: c.queues,
		Fade: c.fade(), Scenery: c.film.Scenery,
	}
	scene := func(sc scene, d painting) graph.Scene {
		s := graph.Scene{Pieces: pieces(c.film, sc, c.line, mezzanine), Overlay: drawing(d.overlay)}
		if d.roll != nil {
			s.Roll = graph.Roll{Path: drawing(*d.roll), Step: c.film.Shots[sc.shot].Roll.Step}
		}
		return s
	}
	if !c.film.Rough {
		g.Copy = smallCopy(g.Canvas)
	}
	if !c.seg.Into {
		g.Scene = scene(sceneOf(c.seg), c.drawn[0])
		if soft := c.seg.Soft; soft.Frames > 0 {
			g.Names = graph.Names{Path: drawing(*c.names), Out: soft.Out, At: soft.At, Frames: soft.Frames}
		}
		return g
	}
	old, new := c.scenes()
	g.Scene = scene(old, c.drawn[0])
	g.Into = &graph.Into{Scene: scene(new, c.drawn[1])}
	if len(c.glides) > 0 {
		g.Into.Cover = drawing(c.drawn[2].overlay)
	}
	for _, glide := range c.glides {
		t := c.film.Shots[c.seg.Shot].Tiles[glide.New]
		m := graph.Move{Tile: t.Rect, From: c.film.Shots[c.seg.Shot-1].Tiles[glide.Old].Rect}
		if piece, ok := pieceOf(c.film, t, c.seg.Span, c.line, mezzanine); ok {
			m.Piece = &piece
		}
		g.Into.Moves = append(g.Into.Moves, m)
	}
	return g
}

// fade is the film's fades where they touch the segment, and else nothing, so
// that what lies elsewhere does not change the segment's key.
func (c composition) fade() graph.Fade {
	f := graph.Fade{At: c.seg.From, Total: c.line.Frames}
	if c.seg.From < c.film.FadeIn {
		f.In = c.film.FadeIn
	}
	if c.seg.To > c.line.Frames-c.film.FadeOut {
		f.Out = c.film.FadeOut
	}
	if f.In == 0 && f.Out == 0 {
		return graph.Fade{}
	}
	return f
}

// What a segment consists of. The small copy, in which flashes are
// counted, is not made for rough cuts.
const (
	segmentFile = "segment.mp4"
	copyFile    = "small.rgb"
	copyWidth   = 64 // pixels: the limits speak of a quarter of the picture
)

// smallCopy is the size of the small copies of a canvas.
func smallCopy(c layout.Canvas) graph.Copy {
	return graph.Copy{W: copyWidth, H: max(2, (copyWidth*c.H+c.W/2)/c.W)}
}

// segmentTask composes one segment. Its key describes what is visible in it
// and nothing else, so whatever changes elsewhere leaves it alone.
func (p *Production) segmentTask(c composition) task.Task {
	f, seg, line := c.film, c.seg, c.line
	key := store.NewAction("segment").Version(graph.Rule).Arg("ffmpeg", p.Tool().Version.Text).
		Arg("segment", c.segment(func(int) string { return "" }, func(task.Task) string { return "" }, "")).
		Input("backdrop", c.backdrop.Action.ID())
	after := []string{c.backdrop.ID}
	for _, over := range c.drawings() {
		key = key.Input("overlay", over.Action.ID())
		after = append(after, over.ID)
	}
	for _, k := range used(f, seg) {
		key = key.Input("picture", c.conforms[k].Action.ID())
		after = append(after, c.conforms[k].ID)
	}
	key = withCoding(key, c.coding)
	if f.Marks {
		key = key.Arg("marks", markTexts(p.Manifest().Tempo, line, seg))
	}
	files := []string{segmentFile}
	if !f.Rough {
		files = append(files, copyFile)
	}
	if key = key.Files(files...); c.coding.Hardware() {
		key = key.Varying(segmentFile)
	}
	key = key.For(fmt.Sprintf("%s from %.1f s", f.Name, line.Rate.Seconds(seg.From)))
	return task.Task{
		ID: "segment/" + key.ID().String(), Name: key.Subject(), Stage: "compose", Action: key, After: after,
		Cost: composeCost(f, c.coding) * float64(seg.Len()) * mega(f.Canvas.W, f.Canvas.H), Memory: composeMemory(f, seg), Spreads: true,
		Make: func(ctx context.Context, in task.Inputs, tmp string, advance func(float64)) error {
			return p.compose(ctx, c, in, tmp, advance)
		},
	}
}

// compose runs a segment's command and counts what came out.
func (p *Production) compose(ctx context.Context, c composition, in task.Inputs, dir string, advance func(float64)) error {
	// Every use of a picture gets a name of its own: two equal inputs would
	// count as one.
	links := 0
	var failed error
	link := func(path, ext string) string {
		name := fmt.Sprintf("%s.%03d%s", dir, links, ext)
		links++
		if err := os.Symlink(path, name); err != nil {
			failed = err
		}
		return "file:" + name
	}
	seg := c.segment(
		func(k int) string { return link(in[c.conforms[k].ID], ".mp4") },
		func(t task.Task) string { return link(in[t.ID], ".png") },
		"file:"+in[c.backdrop.ID])
	if failed != nil {
		return failed
	}
	if c.film.Marks {
		var err error
		if seg.Marks, err = drawMarks(dir+".marks", c.film.Canvas.H, markTexts(p.Manifest().Tempo, c.line, c.seg)); err != nil {
			return err
		}
	}
	path := filepath.Join(dir, segmentFile)
	if !c.film.Rough {
		seg.Copy.Path = "file:" + filepath.Join(dir, copyFile)
	}
	cmd, err := graph.Compose(seg, c.coding, "file:"+path)
	if err != nil {
		return err
	}
	free, err := p.takeSession(ctx, c.coding)
	if err != nil {
		return err
	}
	defer free()
	if err := p.Tool().RunGraph(ctx, cmd, dir, c.seg.Len(), advance); err != nil {
		return err
	}
	got, err := media.CountFrames(path)
	if err == nil && got != c.seg.Len() {
		err = fmt.Errorf("a segment of %s has %d frames instead of %d", c.film.Name, got, c.seg.Len())
	}
	return err
}

// withCoding adds how a film is encoded to a key. The usual way is in none, so
// its films keep the keys they had when there was no other.
func withCoding(key store.Action, c graph.Coding) store.Action {
	if c == (graph.Coding{}) {
		return key
	}
	return key.Arg("coding", c)
}
