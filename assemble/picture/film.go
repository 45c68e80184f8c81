package picture

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/flash"
	"ripieno/layout/shot"
)

// stageConform groups the conforming of pictures.
const stageConform = "conform"

// Estimated cost in seconds of one core for each million pixels of one frame. What
// earlier runs took goes before it. Costs decide the order of tasks and what is forecast,
// never a byte.
const (
	costConform      = 0.004
	costStart        = 0.1 // a process
	costCompose      = 0.035
	costComposeRough = 0.012
	costComposeHEVC  = 0.054 // in software
	costComposeAV1   = 0.063
)

// Estimated size in bytes of each million pixels of one frame; README.md has what
// the codecs give.
const (
	mezzanineBytes = 75e3
	filmBytes      = 20e3
)

// composeCost returns the estimated cost of a frame of a film for each million
// pixels. With hardware it is that of a rough cut, whose encoder does little.
func composeCost(f plan.Film, c graph.Coding) float64 {
	switch {
	case f.Rough || c.Hardware():
		return costComposeRough
	case f.Codec == plan.HEVC:
		return costComposeHEVC
	case f.Codec == plan.AV1:
		return costComposeAV1
	}
	return costCompose
}

// fieldsBefore is how many frames before the first one wanted are read of an
// interlaced picture: whole frames are made of fields of the one before as well.
const fieldsBefore = 3

// openAt says in src when a take's file is opened for c, where its index tells.
// Reading then begins at the key frame before the first frame wanted, and not at the
// file's beginning. Where the index tells nothing the file is read from its
// beginning, which gives the same frames.
func openAt(ctx context.Context, src *graph.Source, c plan.Conform, rate shot.Rate) {
	keys, err := media.ReadKeys(ctx, c.Picture.Path, c.Picture.Stream)
	if err != nil {
		return // not every file has one that can be read
	}
	start := c.Picture.File(rate.Seconds(c.Frames.From))
	if c.Picture.Fields != [2]int{} {
		start -= 2 * fieldsBefore * c.Picture.Lead()
	}
	src.Open, _ = keys.OpenAt(start, c.Picture.First)
	src.Indexed = true
}

// ConformTask brings a take's picture to its size and onto guide time. Its key
// holds everything that decides the result, and nothing of where the take lies
// on the disk. The task fails with a [BrokenOff] for a picture that ends before its
// file says, and as reading does; planning it fails for a hash that is none.
func (m *Maker) ConformTask(c plan.Conform) (task.Ref[string], error) {
	key, err := m.conformKey(c)
	if err != nil {
		return task.Ref[string]{}, err
	}
	cost := costConform * float64(c.Frames.Len()) * (mega(c.W, c.H) + mega(c.Picture.W, c.Picture.H))
	if c.Keys {
		cost = costStart + cost/2 // of a few frames a second every other one or so is decoded
	}
	work, id := conformWork{Conform: c, Rate: m.line.Rate, Cost: cost}, task.ID(stageConform, c.Take, key.ID().String())
	return task.Path(task.Task{
		Errand: work.errand(), Batch: m.batchOf(work, id),
		ID: id, Name: c.Take, Stage: stageConform, Action: key, Cost: cost, Memory: reading.Memory(c), Spreads: true,
		Bytes: int64(mezzanineBytes * float64(c.Frames.Len()) * mega(c.W, c.H)),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, advance func(float64)) error {
			return m.conformPicture(ctx, work, tmp, advance)
		},
	}), nil
}

// pieceExt is the ending of a conformed picture.
const pieceExt = ".mp4"

// conformKey returns the description of conforming a picture: everything that
// changes its bytes.
//
// What is cleared changes nothing: the path, the hash, which is an input of its own,
// the codec's name, and the cuts, which have become pieces by now.
func (m *Maker) conformKey(c plan.Conform) (store.Action, error) {
	hash, err := store.ParseID(c.Picture.Hash)
	if err != nil {
		return store.Action{}, err
	}
	pic := c.Picture
	pic.Path, pic.Hash, pic.Codec, pic.Cuts = "", "", "", nil
	key := store.NewAction("conform").Version(graph.Rule).Arg("ffmpeg", m.tool.Version.Text).Arg("zscale",
		m.tool.Filter("zscale")).
		Arg("picture", pic).Arg("size", [2]int{c.W, c.H}).Arg("frames", c.Frames).Arg("rate", m.line.Rate)
	if c.Draft {
		key = key.Arg("draft", true)
	}
	if c.Keys {
		key = key.Arg("keys", true)
	}
	return key.Input("take", hash).Ext(pieceExt).For(c.Take), nil
}

// BrokenOff is the error of a picture that ends before its file says. The take is
// left out of the film and named, and the others go on.
type BrokenOff struct {
	File      string
	Got, Want int     // frames
	Seconds   float64 // file time at which it ends
}

// Error implements error.
func (e *BrokenOff) Error() string {
	return fmt.Sprintf("%s: the picture breaks off after %.1f s; only %d of %d frames could be read", e.File,
		e.Seconds, e.Got, e.Want)
}

// mega returns the millions of pixels of a size, the unit of all costs of pictures.
func mega(w, h int) float64 { return float64(w) * float64(h) / 1e6 }

// Film is one film as tasks.
type Film struct {
	plan.Film
	// Conformed are the pictures of the takes, one for each of Conforms.
	Conformed []task.Ref[string]
	// Joined is the finished file.
	Joined task.Ref[string]
	// Flashes are those counted in it; zero for a rough cut.
	Flashes task.Ref[flash.Result]
	// Poster is the frame that is kept as a picture; zero for none.
	Poster task.Ref[string]
	// Edges are all of its tasks, the early ones first.
	Edges []task.Edge
}

// inTime returns the tasks of conformed pieces in the order in which they are seen, so
// that the first segments have what they show while others still wait.
func inTime(f plan.Film, conformed []task.Ref[string]) []task.Edge {
	order := make([]int, len(conformed))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(f.Conforms[a].Frames.From, f.Conforms[b].Frames.From)
	})
	var edges []task.Edge
	for _, i := range order {
		edges = append(edges, conformed[i])
	}
	return edges
}

// Film plans one film up to its joined and checked file, and what is made of
// that. sound is the file with its sound. Nothing is made yet.
func (m *Maker) Film(f plan.Film, sound task.Ref[string]) (Film, error) {
	x := Film{Film: f}
	for _, c := range f.Conforms {
		made, err := m.ConformTask(c)
		if err != nil {
			return x, err
		}
		x.Conformed = append(x.Conformed, made)
	}
	x.Edges = inTime(f, x.Conformed)
	backdrop := drawTask(m.backdrop(f))
	x.Edges = append(x.Edges, backdrop)
	var segments []task.Edge
	var parts []task.Ref[string] // in the film's order, one for each segment
	for _, seg := range f.Segments {
		c := m.composition(f, seg, x.Conformed, backdrop)
		for _, over := range c.drawings() {
			x.Edges = append(x.Edges, over)
		}
		made := m.segmentTask(c)
		segments, parts = append(segments, made), append(parts, made)
	}
	x.Joined = m.joinTask(f, parts, sound)
	x.Edges = append(append(x.Edges, segments...), x.Joined)
	if !f.Rough {
		x.Flashes = flashTask(f, m.line, parts)
		x.Edges = append(x.Edges, x.Flashes)
	}
	if f.Poster >= 0 && !f.Rough {
		x.Poster = m.posterTask(f, x.Joined)
		x.Edges = append(x.Edges, x.Poster)
	}
	return x, nil
}

// conformWork is the conforming of a picture as plain data.
type conformWork struct {
	Conform plan.Conform
	Rate    shot.Rate
	Cost    float64 // estimated seconds of one core
}

// errand returns the work as another machine is asked for it: the path and what lies
// in it are told by the file alone. Names are cleared, so that the other machine does
// not learn who plays.
func (w conformWork) errand() *task.Errand {
	pic := &w.Conform.Picture
	input := task.ErrandInput{Path: pic.Path, Ext: strings.ToLower(filepath.Ext(pic.Path)), Hash: pic.Hash}
	pic.Path, pic.Hash, pic.Codec, pic.Cuts, w.Conform.Take = "", "", "", nil, ""
	return &task.Errand{Rule: RuleConform, Args: w, Inputs: []task.ErrandInput{input}}
}

// check returns an error when a text of the picture, which reaches a filter graph, is
// no plain word. Here the words come from a probe of ours; on another machine they
// come over the line.
func (w conformWork) check() error {
	p := w.Conform.Picture
	for _, word := range []string{p.PixFmt, p.Matrix, p.Transfer, p.Primaries, p.Range} {
		if strings.Trim(strings.ToLower(word), "abcdefghijklmnopqrstuvwxyz0123456789-_.") != "" {
			return fmt.Errorf("picture: %q is no word of a picture", word)
		}
	}
	return nil
}

// elsewhere conforms the file at path in software and counts its frames. It is what
// another machine runs, and this one to make a trial. It fails when a frame is
// missing.
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

// decode runs ffmpeg once to conform a picture, from src on, and returns how many frames it
// wrote. It fails when the file cannot be read, changes meanwhile, or takes too long.
func (w conformWork) decode(ctx context.Context, tool *ffmpeg.Tool, src graph.Source, tmp string,
	advance func(float64)) (int, error) {
	c := w.Conform
	cmd, err := graph.Conform(c, src, w.Rate, "file:"+tmp)
	if err != nil {
		return 0, err
	}
	os.Remove(tmp) // of an earlier reading
	if err := reading.Take(ctx, tool, cmd, c.Picture, w.job(src, tmp, advance)); err != nil {
		return 0, err
	}
	return countFrames(tmp)
}
