package picture

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	shots "ripieno/layout/shot"
	"ripieno/mix/tempo"
)

// composition is a segment with the tasks whose outputs it is made of. It is a value:
// what a segment's key is made of and what its task does are read from the same one,
// so that neither can forget what the other has.
type composition struct {
	film     plan.Film
	seg      plan.Segment
	line     plan.Timeline
	tempo    *tempo.Map
	conforms []task.Ref[string] // of the whole film
	backdrop task.Ref[string]
	bands    [2][]banded // of the scene, or of the old and the new; nil for a scene composed at once
	// of the scene; in a transition of the old scene and the new one, and bare ground when some glide
	drawn   []painting
	names   task.Ref[string] // that come or go; zero for none
	glides  []plan.Glide
	gliding [2]task.Ref[string] // names of what glides, in the old scene and in the new; zero for none
	zscale  bool
	queues  bool // see graph.Segment
	coding  graph.Coding
}

// painting is what is drawn for a scene.
type painting struct {
	overlay task.Ref[string]
	roll    task.Ref[string] // credits that move; zero for none
}

// drawings returns all drawings of a segment, in the order of their use. The order is
// part of the segment's key.
func (c composition) drawings() (list []task.Ref[string]) {
	for _, d := range c.drawn {
		list = append(list, d.overlay)
		if !d.roll.IsZero() {
			list = append(list, d.roll)
		}
	}
	for _, names := range []task.Ref[string]{c.names, c.gliding[0], c.gliding[1]} {
		if !names.IsZero() {
			list = append(list, names)
		}
	}
	return list
}

// composition returns how a segment of a film is put together.
func (m *Maker) composition(f plan.Film, seg plan.Segment, conforms []task.Ref[string],
	backdrop task.Ref[string]) composition {
	c := composition{
		film: f, seg: seg, line: m.line, tempo: m.tempo, conforms: conforms, backdrop: backdrop,
		zscale: m.tool.Filter("zscale"), queues: m.tool.QueuesInputs(), coding: m.codings.Of(f),
	}
	add := func(sc scene) {
		d := painting{overlay: drawTask(m.overlay(f, sc))}
		if f.Shots[sc.shot].Roll.Step > 0 {
			d.roll = drawTask(m.roll(f, sc))
		}
		c.drawn = append(c.drawn, d)
	}
	// What follows is a transition, in which the old scene and the new one are drawn
	// both.
	if !seg.Into {
		add(sceneOf(seg))
		if seg.Soft.Frames > 0 {
			c.names = drawTask(m.labels(f, f.Shots[seg.Shot]))
		}
		c.bands[0] = m.bandsOf(c, sceneOf(seg))
		return c
	}
	c.glides = f.Glides(seg.Shot)
	old, new := c.scenes()
	add(old)
	add(new)
	if len(c.glides) > 0 {
		if f.Phases(seg.Shot, c.glides).Leave > 0 {
			c.drawn = append(c.drawn, painting{overlay: drawTask(m.blank(f))})
		}
		c.gliding = m.glidingNames(f, seg.Shot, c.glides)
	}
	if len(c.glides) == 0 { // what glides is in no band
		c.bands = [2][]banded{m.bandsOf(c, old), m.bandsOf(c, new)}
	}
	return c
}

// glidingNames returns the names of tiles that glide into a shot, where they are shown in
// the shot before and in it. They move with their tiles, so that they are drawn apart
// from the scenes.
func (m *Maker) glidingNames(f plan.Film, i int, glides []plan.Glide) (names [2]task.Ref[string]) {
	old, new := f.Shots[i-1], f.Shots[i]
	of := func(s plan.Shot, tile func(plan.Glide) int) task.Ref[string] {
		var tiles []plan.Tile
		for _, g := range glides {
			tiles = append(tiles, s.Tiles[tile(g)])
		}
		s.Tiles = tiles
		return drawTask(m.labels(f, s))
	}
	if old.LabelsTo >= old.To {
		names[0] = of(old, func(g plan.Glide) int { return g.Old })
	}
	if new.LabelsTo > new.From {
		names[1] = of(new, func(g plan.Glide) int { return g.New })
	}
	return names
}

// scenes returns the two of a transition, without the takes that glide. A take with a
// ground of its own stays under its gliding picture, for the ground to go and come.
func (c composition) scenes() (old, new scene) {
	old, new = before(c.film, c.seg), sceneOf(c.seg)
	old.left, new.left = map[string]bool{}, map[string]bool{}
	for _, g := range c.glides {
		a, b := c.film.Shots[c.seg.Shot-1].Tiles[g.Old], c.film.Shots[c.seg.Shot].Tiles[g.New]
		old.left[a.Take], new.left[b.Take] = a.Hole == a.Rect, b.Hole == b.Rect
	}
	return old, new
}

// sources are the paths of what a segment shows. A segment is described twice with
// the same words: without paths for its key, with names of inputs for the work.
type sources struct {
	mezzanine     func(conform int) string
	band, drawing func(task.Ref[string]) string
	backdrop      string
}

// nowhere are no paths, for keys.
var nowhere = sources{mezzanine: func(int) string { return "" }, band: func(task.Ref[string]) string { return "" },
	drawing: func(task.Ref[string]) string { return "" }}

// segment returns c for the graph, with the paths that from gives.
func (c composition) segment(from sources) graph.Segment {
	drawing := from.drawing
	g := graph.Segment{
		Canvas: c.film.Canvas, Rate: c.line.Rate, Frames: c.seg.Len(), Rough: c.film.Rough,
		Backdrop: from.backdrop, Zscale: c.zscale, Queues: c.queues,
		Fade: c.fade(), Scenery: c.film.Scenery,
	}
	scene := func(k int, sc scene, d painting) graph.Scene {
		s := graph.Scene{Pieces: c.pieces(k, sc, from), Overlay: drawing(d.overlay)}
		if !d.roll.IsZero() {
			s.Roll = graph.Roll{Path: drawing(d.roll), Step: c.film.Shots[sc.shot].Roll.Step}
		}
		// A card has no tiles, so all of it is pushed in.
		if shot := c.film.Shots[sc.shot]; shot.Show == shots.Card && shot.Pushes(0) {
			s.Push = pushOf(shot, sc.span.From)
		}
		return s
	}
	if !c.film.Rough {
		g.Copy = smallCopy(g.Canvas)
	}
	if !c.seg.Into {
		g.Scene = scene(0, sceneOf(c.seg), c.drawn[0])
		if soft := c.seg.Soft; soft.Frames > 0 {
			g.Names = graph.Names{Path: drawing(c.names), Out: soft.Out, At: soft.At, Frames: soft.Frames}
		}
		return g
	}
	old, new := c.scenes()
	g.Scene = scene(0, old, c.drawn[0])
	g.Into = &graph.Into{Scene: scene(1, new, c.drawn[1])}
	if len(c.glides) > 0 {
		c.move(g.Into, from.mezzanine, drawing)
	}
	return g
}

// What a segment consists of. The small copy, in which flashes are
// counted, is not made for rough cuts.
const (
	segmentFile = "segment.mp4"
	copyFile    = "small.rgb"
	copyWidth   = 64 // pixels: the limits speak of a quarter of the picture
)

// smallCopy returns the size of the small copies of a canvas.
func smallCopy(c layout.Canvas) graph.Copy {
	return graph.Copy{W: copyWidth, H: max(2, (copyWidth*c.H+c.W/2)/c.W)}
}

// Versions of rules that only some segments follow.
const (
	groundRule = 2 // how the blurred ground of a tile is made
	intoRule   = 2 // how a transition is made
)

// segmentTask composes one segment, a folder. Its key describes what is visible
// in it and nothing else, so whatever changes elsewhere leaves it alone.
func (m *Maker) segmentTask(c composition) task.Ref[string] {
	f, seg, line := c.film, c.seg, c.line
	t := task.Task{Stage: "compose", Spreads: true, Memory: c.memory(),
		Action: store.NewAction("segment").Version(graph.Rule).
			Arg("ffmpeg", m.tool.Version.Text).
			Arg("segment", c.segment(nowhere))}
	t.Needs("backdrop", c.backdrop)
	for _, over := range c.drawings() {
		t.Needs("overlay", over)
	}
	for _, b := range slices.Concat(c.bands[0], c.bands[1]) {
		t.Needs("band", b.made)
	}
	for _, k := range conformsOf(f, c.unbanded(), seg.Span, line) {
		t.Needs("picture", c.conforms[k])
	}
	if slices.ContainsFunc(openTiles(f, seg), func(t plan.Tile) bool { return t.Behind == plan.BehindBlur }) {
		t.Action = t.Action.Arg("ground", groundRule)
	}
	if seg.Into {
		t.Action = t.Action.Arg("into", intoRule)
	}
	if len(c.glides) > 0 {
		t.Action = t.Action.Arg("names", [2]bool{!c.gliding[0].IsZero(), !c.gliding[1].IsZero()})
	}
	// What follows is in the keys of those segments only that need it. Anything that
	// is added to all of them makes every film anew.
	t.Action = withCoding(t.Action, c.coding)
	if f.Marks {
		t.Action = t.Action.Arg("marks", c.textsOf())
	}
	files := []string{segmentFile}
	if !f.Rough {
		files = append(files, copyFile)
	}
	if t.Action = t.Action.Files(files...); c.coding.Hardware() {
		t.Action = t.Action.Varying(segmentFile)
	}
	t.Action = t.Action.For(fmt.Sprintf("%s from %.1f s", f.Name, line.Rate.Seconds(seg.From)))
	t.ID, t.Name = task.ID("segment", t.Action.ID().String()), t.Action.Subject()
	t.Cost = composeCost(f, c.coding) * float64(seg.Len()) * mega(f.Canvas.W, f.Canvas.H)
	t.Bytes = int64(filmBytes * float64(seg.Len()) * mega(f.Canvas.W, f.Canvas.H))
	if !f.Rough {
		small := smallCopy(f.Canvas)
		t.Bytes += int64(seg.Len() * 3 * small.W * small.H)
	}
	work, uses := c.work()
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, advance func(float64)) error {
		paths, err := uses.paths(in)
		if err != nil {
			return err
		}
		return work.run(ctx, m.tool, m.hardware, paths, tmp, advance)
	}
	// Hardware writes other bytes everywhere, so nobody else can be asked.
	if !c.coding.Hardware() {
		t.Errand = uses.errand(RuleSegment, work)
	}
	return task.Path(t)
}

// withCoding adds how a film is encoded to a key. The usual way is in none, so
// its films keep the keys they had when there was no other.
func withCoding(key store.Action, c graph.Coding) store.Action {
	if c == (graph.Coding{}) {
		return key
	}
	return key.Arg("coding", c)
}

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
