package assemble

import (
	"context"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"os"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/card"
)

// sheetLines is the short side of the stills on a storyboard.
const sheetLines = 360

// costStill is the estimated cost in seconds of one core of a still.
const costStill = 0.4

// Sheet is Grid with a storyboard of every deliverable: each shot as it looks
// in its middle, with real frames of the takes at their true times.
func (p *Production) Sheet(ctx context.Context) (GridResult, error) {
	r, err := p.Grid(ctx)
	if err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	wants := p.deliverables()
	for i := range wants {
		wants[i].Canvas.W, wants[i].Canvas.H = linesCanvas(wants[i].Canvas.W, wants[i].Canvas.H, sheetLines)
	}
	pl, faults, err := p.plan(all, wants)
	if err != nil {
		return r, err
	}
	r.Faults = faults
	for i, f := range pl.Films {
		out := &r
		if i > 0 {
			out = &r.Others[i-1]
		}
		if out.Sheet, err = p.out("sheet-" + f.Name + ".png"); err != nil {
			return r, err
		}
		img, err := p.storyboard(ctx, f, pl.Timeline)
		if err != nil {
			return r, err
		}
		err = store.Publish(ctx, out.Sheet, func(tmp string) error { return writePNG(tmp, img, png.DefaultCompression) })
		if err != nil {
			return r, err
		}
	}
	return r, nil
}

// storyboard draws a film's shots.
func (p *Production) storyboard(ctx context.Context, f plan.Film, line plan.Timeline) (image.Image, error) {
	var tasks []task.Task
	known := map[string]bool{}
	for i := range f.Shots {
		for k := range f.Shots[i].Tiles {
			c, ok := stillOf(f, i, k, line)
			if !ok {
				continue
			}
			t, err := p.stillTask(c, line)
			if err != nil {
				return nil, err
			}
			if !known[t.ID] {
				known[t.ID] = true
				tasks = append(tasks, t)
			}
		}
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return nil, err
	}
	o := p.planOptions(f, line)
	for i := range f.Shots {
		if o.Shots[i].Still, err = p.still(f, i, line, res); err != nil {
			return nil, err
		}
	}
	return card.PlanPicture(o)
}

// stillOf is the one frame of tile k of shot i that a storyboard shows: the
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

func (p *Production) stillTask(c plan.Conform, line plan.Timeline) (task.Task, error) {
	key, err := p.conformKey(c, line)
	if err != nil {
		return task.Task{}, err
	}
	still := store.NewAction("still").Version(graph.Rule).Input("conform", key.ID()).Ext(".png").For(c.Take)
	return task.Task{
		ID: stillID(still), Name: c.Take, Stage: "still", Action: still, Cost: costStill,
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			src := p.source(c.Picture)
			src.Threads = takeThreads
			return p.steady(ctx, c.Picture, func() error {
				src.Open = openAt(c, line.Rate)
				cmd, err := graph.Still(c, src, line.Rate, "file:"+tmp)
				if err != nil {
					return err
				}
				os.Remove(tmp) // of an earlier reading
				return p.readTake(ctx, cmd, c.Picture, reading{tmp: tmp, limits: conformLimits(c, costStill),
					before: max(0, c.Picture.Clock.File(line.Rate.Seconds(c.Frames.From))-src.Open)})
			})
		},
	}, nil
}

func stillID(a store.Action) string { return "still/" + a.ID().String() }

// still puts one shot together. A frame that could not be read leaves a hole
// of background: this is a page to look at, and check says what is wrong.
func (p *Production) still(f plan.Film, i int, line plan.Timeline, res task.Result) (image.Image, error) {
	s := f.Shots[i]
	s.Tiles = append([]plan.Tile(nil), s.Tiles...)
	f.Shots = append(append([]plan.Shot(nil), f.Shots[:i]...), s)
	var shown []card.Shown
	for k := range s.Tiles {
		t := &f.Shots[i].Tiles[k]
		if t.Behind == behindBlur {
			t.Behind = "" // a storyboard does without
		}
		c, ok := stillOf(f, i, k, line)
		if !ok {
			continue
		}
		made, err := p.stillTask(c, line)
		if err != nil {
			return nil, err
		}
		path := res.Path(made.ID)
		if path == "" {
			t.Shown = plan.Span{}
			continue
		}
		img, err := readPNG(path)
		if err != nil {
			return nil, err
		}
		shown = append(shown, card.Shown{Picture: img, Source: onMezzanine(t.Source, c), Hole: t.Hole})
	}
	_, paint := p.overlay(f, scene{shot: i, labels: s.LabelsTo > s.From, span: s.Span})
	over, err := painted(paint)
	if err != nil {
		return nil, err
	}
	if s.Roll.Step > 0 {
		middle := (s.From + s.To) / 2
		_, paint := p.roll(f, scene{shot: i, span: plan.Span{From: middle, To: middle + 1}})
		roll, err := painted(paint)
		if err != nil {
			return nil, err
		}
		draw.Draw(over, over.Rect, roll, image.Point{}, draw.Over)
	}
	return card.Still(over, shown), nil
}

// painted is a drawing as a picture that can be drawn upon.
func painted(paint func() (image.Image, error)) (*image.NRGBA, error) {
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

func readPNG(path string) (image.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}
