package plan

import (
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// aspectOf returns the shape of the tiles of a shot: its own, the deliverable's, or the
// production's.
func (h *arranger) aspectOf(s shot.Shot) production.Aspect {
	if s.Want >= 0 && s.Want < len(h.p.Shots) && h.p.Shots[s.Want].Aspect != (production.Aspect{}) {
		return h.p.Shots[s.Want].Aspect
	}
	if h.want.Aspect != (production.Aspect{}) {
		return h.want.Aspect
	}
	return h.p.Picture.Aspect
}

// options returns those of the layout of a shot.
func (h *arranger) options(s shot.Shot) layout.Options {
	o := gridOptions(h.p.Picture, h.aspectOf(s), h.want.Canvas, len(s.Takes))
	if o.Shapes != (layout.Shapes{}) {
		o.Picture = h.crowdOf(s.Takes).typical(0)
		// Below, half of such a picture would leave some of the tile free.
		o.Shapes.Least = min(max(o.Shapes.Least, layout.LeastShown*o.Picture), o.Shapes.Most)
	}
	return o
}

// gridOptions scales the manifest's pixels, which are meant at 1080 lines, to
// the canvas. What it says nothing about goes by the number of tiles, where
// their shape is searched for.
func gridOptions(pic production.Picture, a production.Aspect, c layout.Canvas, tiles int) layout.Options {
	o := layout.Options{
		AspectW: a.AspectW, AspectH: a.AspectH, Shapes: a.Shapes,
		Gutter: c.EvenScale(float64(pic.Gutter)), Margin: c.EvenScale(float64(pic.Margin)),
	}
	searched := a.Shapes != (layout.Shapes{})
	if searched && pic.AutoGutter {
		o.Gutter = c.AutoGutter(float64(pic.Gutter), tiles)
	}
	if searched && pic.AutoMargin && tiles > 1 {
		o.Margin = o.Gutter
	}
	switch pic.ShortRows {
	case production.Spread:
		o.Align = layout.Spread
	case production.LeftAligned:
		o.Align = layout.Leading
	case production.Stretched:
		o.Align = layout.Stretched
	case "":
		if searched {
			o.Align = layout.Stretched
		}
	}
	return o
}

// The shapes that pictures are taken for where many are looked at together.
const (
	wide    = 16. / 9
	classic = 4. / 3 // nearer to this than to wide
	high    = 9. / 16
)

// crowd tells which shapes the pictures of many takes have, so roughly that a late
// take among many hardly ever changes it, and so moves nobody.
type crowd struct {
	high    mixture // pictures that are higher than wide
	classic bool    // most of the others are nearer to 4:3 than to 16:9
}

// mixture says how many of the pictures are of a kind.
type mixture int

// A third is few, two thirds are all, and what is between is half.
const (
	few mixture = iota
	half
	all
)

// crowdOf counts the pictures of takes; those that have none do not count.
func (h *arranger) crowdOf(takes []string) crowd {
	n, upright, old := 0, 0, 0
	for _, name := range takes {
		pic := h.facts[name].Picture
		if pic == nil || pic.W <= 0 || pic.H <= 0 {
			continue
		}
		n++
		switch ratio := float64(pic.W) / float64(pic.H); {
		case ratio < 1:
			upright++
		case ratio < (wide+classic)/2:
			old++
		}
	}
	k := crowd{classic: 2*old > n-upright}
	switch {
	case 3*upright <= n:
	case 3*upright >= 2*n:
		k.high = all
	default:
		k.high = half
	}
	return k
}

// typical returns the shape that picture i of a crowd is taken for.
func (k crowd) typical(i int) float64 {
	switch {
	case k.high == all || k.high == half && i%2 == 1:
		return high
	case k.classic:
		return classic
	}
	return wide
}

// aspects returns those of n pictures of a crowd.
func (k crowd) aspects(n int) []float64 {
	list := make([]float64, n)
	for i := range list {
		list[i] = k.typical(i)
	}
	return list
}

// aspects returns the shapes of the takes' own pictures, a tile's for those that
// have none.
func (h *arranger) aspects(takes []string) []float64 {
	out := make([]float64, len(takes))
	for i, name := range takes {
		out[i] = wide
		if a := h.p.Picture.Aspect; a.AspectW > 0 {
			out[i] = float64(a.AspectW) / float64(a.AspectH)
		}
		if pic := h.facts[name].Picture; pic != nil && pic.W > 0 && pic.H > 0 {
			out[i] = min(max(float64(pic.W)/float64(pic.H), 0.1), 10)
		}
	}
	return out
}

// grid returns the grid for n of some takes, or for n such takes when they are fewer,
// on this canvas.
func (h *arranger) grid(s shot.Shot, takes []string, n int) (layout.Plan, error) {
	key := gridKey{n, crowd{}, h.aspectOf(s)}
	searched := key.aspect.Shapes != (layout.Shapes{})
	if searched {
		key.crowd = h.crowdOf(takes)
	}
	if plan, ok := h.grids[key]; ok {
		return plan, nil
	}
	var plan layout.Plan
	var err error
	if searched {
		plan, err = h.fill(key.crowd.aspects(n), key.aspect)
	} else {
		plan, err = layout.Grid(n, h.want.Canvas, gridOptions(h.p.Picture, key.aspect, h.want.Canvas, n))
	}
	if err == nil {
		h.grids[key] = plan
	}
	return plan, err
}

// fill arranges pictures on the canvas as on one of its shape with 1080 lines: a
// rough cut and a film in any size show the same.
func (h *arranger) fill(aspects []float64, a production.Aspect) (layout.Plan, error) {
	ref := h.want.Canvas.Reference()
	plan, err := layout.Fill(aspects, ref, gridOptions(h.p.Picture, a, ref, len(aspects)))
	if err != nil || ref == h.want.Canvas {
		return plan, err
	}
	return plan.On(h.want.Canvas, gridOptions(h.p.Picture, a, h.want.Canvas, len(aspects)))
}

// leastGround is the share of a tile that is left to its ground when any is: less would be
// slivers, which look like a mistake, and more of the picture is seen instead.
const leastGround = 0.16

// halved returns the part of a tile in which at least half of a picture is seen, in
// the middle of the tile; the tile itself where that shows as much. The rest
// shows the picture's own ground.
func halved(tile layout.Rect, w, h int) layout.Rect {
	aspect, shape := float64(w)/float64(h), float64(tile.W)/float64(tile.H)
	const rounded = 0.99 // of the half: pixels are whole
	hole := tile
	switch {
	case shape < rounded*layout.LeastShown*aspect:
		hole.H = max(2, layout.FloorEven(int(min(float64(tile.W)/(layout.LeastShown*aspect),
			(1-leastGround)*float64(tile.H)))))
		hole.Y += layout.FloorEven((tile.H - hole.H) / 2)
	case shape*rounded*layout.LeastShown > aspect:
		hole.W = max(2, layout.FloorEven(int(min(float64(tile.H)*aspect/layout.LeastShown,
			(1-leastGround)*float64(tile.W)))))
		hole.X += layout.FloorEven((tile.W - hole.W) / 2)
	}
	return hole
}
