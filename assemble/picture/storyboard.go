package picture

import (
	"context"
	"fmt"
	"image"
	"image/draw"
	"os"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// costStill is the estimated cost in seconds of one core of a still.
const costStill = 0.4

// stillLines is the short side of the stills on a storyboard. They are drawn in the
// film's own size, so that they show what it will, and kept in this one.
const stillLines = 360

// Storyboard draws a film's shots: each as it looks in its middle, with real
// frames of the takes at their true times. run makes what is missing of the
// stills.
func (m *Maker) Storyboard(f plan.Film, run func([]task.Task) (task.Result, error)) (image.Image, error) {
	var edges []task.Edge
	for i := range f.Shots {
		for k := range f.Shots[i].Tiles {
			c, ok := stillOf(f, i, k, m.line)
			if !ok {
				continue
			}
			t, err := m.Still(c, false)
			if err != nil {
				return nil, err
			}
			edges = append(edges, t)
		}
	}
	res, err := run(task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	o := m.PlanDrawing(f)
	for i := range f.Shots {
		if o.Shots[i].Still, err = m.still(f, i, res); err != nil {
			return nil, err
		}
	}
	return card.PlanPicture(o)
}

// stillOf returns the one frame of tile k of shot i that a storyboard shows: the
// shot's middle, or the nearest to it at which the take is there.
func stillOf(f plan.Film, i, k int, line plan.Timeline) (plan.Conform, bool) {
	s := f.Shots[i]
	t := s.Tiles[k]
	shown := t.Shown.Meet(s.Span)
	if t.Conform < 0 || shown.Len() == 0 {
		return plan.Conform{}, false
	}
	c := f.Conforms[t.Conform]
	at := line.First + min(max((s.From+s.To)/2, shown.From), shown.To-1)
	c.Frames = plan.Span{From: at, To: at + 1}
	return c, true
}

// Still returns the task that takes one frame of a recording, the only one of c.
// keep asks for it although nothing else is made of it.
func (m *Maker) Still(c plan.Conform, keep bool) (task.Ref[image.Image], error) {
	key, err := m.conformKey(c)
	if err != nil {
		return task.Ref[image.Image]{}, err
	}
	still := store.NewAction("still").Version(graph.Rule).Input("conform", key.ID()).Ext(".png").For(c.Take)
	return task.Of(task.Task{
		ID: task.ID("still", still.ID().String()), Name: c.Take, Stage: "still", Action: still, Cost: costStill,
		Memory: reading.Memory(c), Keep: keep,
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			return takeStill(ctx, m.tool, m.steady, c, m.line.Rate, tmp)
		},
	}, media.ReadPNG), nil
}

// takeStill writes the frame of c as a picture.
func takeStill(ctx context.Context, tool *ffmpeg.Tool, steady reading.Steady, c plan.Conform, rate shot.Rate,
	tmp string) error {
	src := reading.Source(tool, c.Picture)
	return steady.Picture(ctx, c.Picture, func(ctx context.Context) error {
		openAt(ctx, &src, c, rate)
		cmd, err := graph.Still(c, src, rate, "file:"+tmp)
		if err != nil {
			return err
		}
		os.Remove(tmp) // of an earlier reading
		return reading.Take(ctx, tool, cmd, c.Picture, reading.Job{Tmp: tmp, Limits: reading.Limits(c, costStill),
			Before: max(0, c.Picture.File(rate.Seconds(c.Frames.From))-src.Open)})
	})
}

// still puts one shot together. A frame that could not be read leaves a hole
// of background: this is a page to look at, and check says what is wrong. f is the
// caller's: what is changed of it is copied first.
func (m *Maker) still(f plan.Film, i int, res task.Result) (image.Image, error) {
	s := f.Shots[i]
	s.Tiles = append([]plan.Tile(nil), s.Tiles...)
	f.Shots = append(append([]plan.Shot(nil), f.Shots[:i]...), s)
	var shown []card.Shown
	for k := range s.Tiles {
		t := &f.Shots[i].Tiles[k]
		c, ok := stillOf(f, i, k, m.line)
		if !ok {
			continue
		}
		made, err := m.Still(c, false)
		if err != nil {
			return nil, err
		}
		img, ok, err := made.Result(res)
		if err != nil {
			return nil, err
		}
		if !ok {
			t.Shown = plan.Span{}
			continue
		}
		part := card.Shown{Picture: img, Source: onMezzanine(t.Source, c), Hole: t.Hole}
		if t.Behind == plan.BehindBlur {
			part.Ground = t.Rect
		}
		shown = append(shown, part)
	}
	_, paint := m.overlay(f, scene{shot: i, labels: s.LabelsTo > s.From, span: s.Span})
	over, err := paintOver(paint)
	if err != nil {
		return nil, err
	}
	if s.Roll.Step > 0 {
		middle := (s.From + s.To) / 2
		_, paint := m.roll(f, scene{shot: i, span: plan.Span{From: middle, To: middle + 1}})
		roll, err := paintOver(paint)
		if err != nil {
			return nil, err
		}
		draw.Draw(over, over.Rect, roll, image.Point{}, draw.Over)
	}
	return card.Shrink(card.Still(over, shown), f.Canvas.Lines(stillLines)), nil
}

// paintOver returns a drawing as a picture that can be drawn upon.
func paintOver(paint func() (image.Image, error)) (*image.NRGBA, error) {
	img, err := paint()
	if err != nil {
		return nil, err
	}
	m, ok := img.(*image.NRGBA)
	if !ok {
		return nil, fmt.Errorf("a drawing is a %T", img)
	}
	return m, nil
}
