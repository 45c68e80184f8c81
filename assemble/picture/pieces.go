package picture

import (
	"slices"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout"
)

// all chooses every tile of a shot.
func all(int) bool { return true }

// pieces returns those moving tiles of a scene that are wanted, in seat order. mezzanine
// gives the path of a conformed picture.
func pieces(f plan.Film, sc scene, line plan.Timeline, wanted func(tile int) bool,
	mezzanine func(conform int) string) []graph.Piece {
	var out []graph.Piece
	for i, t := range f.Shots[sc.shot].Tiles {
		if sc.left[t.Take] || !wanted(i) {
			continue
		}
		if p, ok := pieceOf(f, t, sc.span, line, mezzanine); ok {
			if f.Shots[sc.shot].Pushes(i) {
				p.Push = pushOf(f.Shots[sc.shot], sc.span.From+p.Start)
				p.Push.X, p.Push.Y = t.Middle()
			}
			out = append(out, p)
		}
	}
	return out
}

// pushOf returns the push-in of a shot from a frame on. It begins with the transition into
// the shot.
func pushOf(s plan.Shot, from int) graph.Push {
	first := s.From - s.Into.Frames
	return graph.Push{Zoom: s.PushIn, At: from - first, Frames: s.To - first, X: 0.5, Y: 0.5}
}

// pieceOf returns one moving tile; false when it has no picture in the span. Tiles
// count frames of the film, conformed pictures those of guide time: line.First is
// between them. A take in several pieces goes on in More.
func pieceOf(f plan.Film, t plan.Tile, span plan.Span, line plan.Timeline,
	mezzanine func(conform int) string) (graph.Piece, bool) {
	shown := t.Shown.Meet(span)
	if t.Conform < 0 || shown.Len() == 0 {
		return graph.Piece{}, false
	}
	parts := f.PiecesOf(t, plan.Span{From: shown.From + line.First, To: shown.To + line.First})
	first := f.Conforms[parts[0].Conform]
	p := graph.Piece{
		Path: mezzanine(parts[0].Conform), Skip: parts[0].From - first.Frames.From,
		Start: shown.From - span.From, Count: shown.Len(),
		Crop: onMezzanine(t.Source, first), W: first.W, H: first.H, Hole: t.Hole,
	}
	for _, more := range parts[1:] {
		p.More = append(p.More, graph.Continued{Path: mezzanine(more.Conform), Count: more.Len()})
	}
	if t.Behind == plan.BehindBlur {
		p.Hole, p.Inner = t.Rect, t.Hole
	}
	return p, true
}

// onMezzanine scales the part of the original that is shown to the conformed
// picture: even, and never outside it.
func onMezzanine(src layout.Rect, c plan.Conform) layout.Rect {
	// Even, since 4:2:0 has a colour for two by two pixels.
	side := func(at, size, whole, kept int) (int, int) {
		scale := float64(kept) / float64(whole)
		n := min(max(2, layout.NearEven(float64(size)*scale)), kept)
		pos := layout.NearEven(float64(at) * scale)
		return min(pos, kept-n), n
	}
	var r layout.Rect
	r.X, r.W = side(src.X, src.W, c.Picture.W, c.W)
	r.Y, r.H = side(src.Y, src.H, c.Picture.H, c.H)
	return r
}

// conformsOf lists the conformed pieces that tiles show in a span, once each. The
// order is that of first use and part of keys.
func conformsOf(f plan.Film, tiles []plan.Tile, span plan.Span, line plan.Timeline) []int {
	var list []int
	known := map[int]bool{}
	for _, t := range tiles {
		shown := t.Shown.Meet(span)
		for _, p := range f.PiecesOf(t, plan.Span{From: shown.From + line.First, To: shown.To + line.First}) {
			if !known[p.Conform] {
				known[p.Conform] = true
				list = append(list, p.Conform)
			}
		}
	}
	return list
}

// openTiles returns the tiles whose pictures a segment shows: those of its shot, and of
// the shot before while a transition comes from it.
func openTiles(f plan.Film, seg plan.Segment) []plan.Tile {
	return slices.Concat(openTilesOf(f, seg)...)
}

// openTilesOf does what openTiles does, for each scene of a segment by itself.
func openTilesOf(f plan.Film, seg plan.Segment) (scenes [][]plan.Tile) {
	shots := []plan.Shot{f.Shots[seg.Shot]}
	if seg.Into {
		shots = []plan.Shot{f.Shots[seg.Shot-1], f.Shots[seg.Shot]}
	}
	for _, s := range shots {
		var list []plan.Tile
		for _, t := range s.Tiles {
			if t.Conform >= 0 && t.Shown.Meet(seg.Span).Len() > 0 {
				list = append(list, t)
			}
		}
		scenes = append(scenes, list)
	}
	return scenes
}

// pieces returns the moving tiles of scene k, or the bands that hold them.
func (c composition) pieces(k int, sc scene, from sources) []graph.Piece {
	if c.bands[k] == nil {
		return pieces(c.film, sc, c.line, all, from.mezzanine)
	}
	var list []graph.Piece
	for _, b := range c.bands[k] {
		list = append(list, b.band.Piece(from.band(b.made)))
	}
	return list
}

// move adds to a transition what glides in it.
func (c composition) move(into *graph.Into, mezzanine func(conform int) string,
	drawing func(task.Ref[string]) string) {
	phases := c.film.Phases(c.seg.Shot, c.glides)
	into.Leave, into.Arrive = phases.Leave, phases.Arrive
	if phases.Leave > 0 {
		into.Cover = drawing(c.drawn[2].overlay)
	}
	for i, names := range c.gliding {
		if !names.IsZero() {
			into.Names[i] = drawing(names)
		}
	}
	for _, glide := range c.glides {
		t, old := c.film.Shots[c.seg.Shot].Tiles[glide.New], c.film.Shots[c.seg.Shot-1].Tiles[glide.Old]
		// The larger of the two pictures is decoded for the whole move.
		large := t // or the picture goes soft before it has become small
		if c.film.Conforms[old.Conform].H > c.film.Conforms[t.Conform].H {
			large = old
		}
		if piece, ok := pieceOf(c.film, large, c.seg.Span, c.line, mezzanine); ok {
			kept := c.film.Conforms[large.Conform]
			piece.Hole, piece.Inner, piece.Crop = t.Hole, layout.Rect{}, onMezzanine(t.Source, kept)
			m := graph.Move{Piece: piece, From: glide.From}
			m.Window = [2]layout.Rect{onMezzanine(old.Source, kept), piece.Crop}
			into.Moves = append(into.Moves, m)
		}
	}
}

// fade returns the film's fades where they touch the segment, and else nothing, so
// that what lies elsewhere does not change the segment's key. Frames count in the
// film.
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
