package face

import (
	"cmp"
	"math"
	"slices"

	"ripieno/layout/median"

	pigo "github.com/esimov/pigo/core"
)

// How pictures are searched, all chosen here by trying (no source). Heads are
// held up to 25 degrees aslant at an instrument; the cascade by itself bears
// about ten. It could turn by itself, but in steps of 11 degrees, and in wide
// pictures it looks in the wrong columns then; so the pictures are turned.
const (
	coarseMost  = 3    // pictures that are searched all over
	coarseShift = 0.15 // of the window's size, from one place to the next, in whole pixels
	coarseScale = 1.2  // from one size to the next
	leastShare  = 0.05 // size of the smallest face, in heights of the picture
	leastPixels = 20   // and in pixels; smaller ones are noise
	mostShare   = 0.8  // size of the largest, in shorter sides

	candidates = 6   // places that are looked at closely
	closeSide  = 192 // pixels of the window for that
	closeFace  = 64  // size of the face in it, if all is as the coarse search says
)

// A head that is held aslant in one picture is so in others: only the last of those that
// are searched all over is turned both ways, as is every one when there are fewer.
var (
	coarseTurns = [coarseMost][]float64{{0, -18}, {0, 18}, {0, -18, 18}} // degrees
	closeTurns  = []float64{0, -11, 11, -22, 22}                         // degrees
)

// From which score on a face is used. In pictures without anybody the score of
// what looks like one reaches 150, and faces with glasses or in half profile have
// no more than 60; but things do not move before a still room, and players do. So
// a face that moves needs less.
const (
	sureStill  = 200
	sureMoving = 50
)

// Chosen here by trying, with no source: in what share of the pictures a face has
// to be found, with what score in each, and how much of it has to move.
const (
	leastPictures = 0.4
	leastScore    = 20
	leastMoving   = 0.1
)

// hit is something like a face in one picture, in its pixels.
type hit struct{ x, y, size, q float64 }

// overlap returns what two squares share, over what they cover together.
func (a hit) overlap(b hit) float64 {
	side := func(p, q float64) float64 { return min(p+a.size/2, q+b.size/2) - max(p-a.size/2, q-b.size/2) }
	w, h := side(a.x, b.x), side(a.y, b.y)
	if w <= 0 || h <= 0 {
		return 0
	}
	return w * h / (a.size*a.size + b.size*b.size - w*h)
}

// gather joins hits that overlap: each to the strongest that it overlaps with.
// What results is the mean by strength, with the sum of the strengths, strongest
// first.
func gather(hits []hit) []hit {
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Compare(b.q, a.q) })
	var lead, sum []hit
	for _, h := range hits {
		i := slices.IndexFunc(lead, func(l hit) bool { return l.overlap(h) > 0.25 })
		if i < 0 {
			i = len(lead)
			lead, sum = append(lead, h), append(sum, hit{})
		}
		s := &sum[i]
		s.x, s.y, s.size, s.q = s.x+float64(h.x*h.q), s.y+float64(h.y*h.q), s.size+float64(h.size*h.q), s.q+h.q
	}
	for i, s := range sum {
		sum[i] = hit{s.x / s.q, s.y / s.q, s.size / s.q, s.q}
	}
	slices.SortStableFunc(sum, func(a, b hit) int { return cmp.Compare(b.q, a.q) })
	return sum
}

// run searches a picture for upright faces of some sizes, in pixels.
func run(c *pigo.Pigo, g grey, least, most int, shift, scale float64) []pigo.Detection {
	return c.RunCascade(pigo.CascadeParams{
		MinSize: least, MaxSize: most, ShiftFactor: shift, ScaleFactor: scale,
		ImageParams: pigo.ImageParams{Pixels: g.pix, Rows: g.h, Cols: g.w, Dim: g.w},
	}, 0)
}

// all searches the whole picture at a few turns of the head, coarsely; what is found is looked
// at again more finely.
func (g grey) all(c *pigo.Pigo, turns []float64) []hit {
	var hits []hit
	least := max(leastPixels, int(leastShare*float64(g.h)))
	most := int(mostShare * float64(min(g.w, g.h)))
	for _, degrees := range turns {
		v := newView(float64(g.w)/2, float64(g.h)/2, 1, degrees)
		turned := g
		if degrees != 0 {
			turned = g.look(v, g.w, g.h)
		}
		for _, d := range run(c, turned, least, most, coarseShift, coarseScale) {
			x, y := v.at(float64(d.Col)-float64(g.w)/2, float64(d.Row)-float64(g.h)/2)
			hits = append(hits, hit{x, y, float64(d.Scale), float64(d.Q)})
		}
	}
	return hits
}

// closely searches the surroundings of a place, and returns the best that is
// there; of strength 0 for nothing.
func (g grey) closely(c *pigo.Pigo, place hit) hit {
	var hits []hit
	for _, degrees := range closeTurns {
		v := newView(place.x, place.y, place.size/closeFace, degrees)
		window := g.look(v, closeSide, closeSide)
		for _, d := range run(c, window, closeFace*3/4, closeFace*3/2, 0.08, 1.1) {
			x, y := v.at(float64(d.Col)-closeSide/2, float64(d.Row)-closeSide/2)
			hits = append(hits, hit{x, y, v.scale * float64(d.Scale), float64(d.Q)})
		}
	}
	best := hit{}
	for _, h := range gather(hits) {
		if h.q > best.q {
			best = h
		}
	}
	return best
}

// Faces returns the faces that are seen over the take, surest first. There is none in
// pictures too small for any. stillRoom tells that what moves does so before a room that
// stands still: then less certain faces are believed if they move, for what is on the
// wall does not. It fails only when the trained search cannot be unpacked, which is a
// bug.
func (p *Pictures) Faces(stillRoom bool) ([]Face, error) {
	c, err := cascade()
	if err != nil {
		return nil, err
	}
	var hits []hit
	coarse := p.spread(coarseMost)
	for k, g := range coarse {
		if len(coarse) < coarseMost {
			k = coarseMost - 1
		}
		hits = append(hits, g.all(c, coarseTurns[k])...)
	}
	places := gather(hits)
	places = places[:min(len(places), candidates)]
	var faces []Face
	for _, place := range places {
		if f, ok := p.follow(c, place, stillRoom); ok && !slices.ContainsFunc(faces, f.covers) {
			faces = append(faces, f)
		}
	}
	slices.SortStableFunc(faces, func(a, b Face) int { return cmp.Compare(b.Score, a.Score) })
	if slices.ContainsFunc(faces, func(f Face) bool { return f.Moving }) {
		faces = slices.DeleteFunc(faces, func(f Face) bool { return !f.Moving }) // pictures on the wall
	}
	return faces, nil
}

// covers reports whether two faces are one.
func (f Face) covers(other Face) bool {
	return math.Hypot(f.X-other.X, f.Y-other.Y) < 0.5*max(f.Size, other.Size)
}

// follow looks for the face at a place in all pictures, and reports whether there
// is one. It ends as soon as too many of them have none.
func (p *Pictures) follow(c *pigo.Pigo, place hit, stillRoom bool) (Face, bool) {
	pictures := p.spread(keepMost)
	f := Face{Of: len(pictures)}
	var xs, ys, sizes []float64
	for k, g := range pictures {
		if possible := len(xs) + len(pictures) - k; float64(possible) < leastPictures*float64(f.Of) {
			return f, false
		}
		found := g.closely(c, place)
		f.Score += found.q
		if found.q < leastScore {
			continue
		}
		xs, ys = append(xs, found.x/float64(g.w)), append(ys, found.y/float64(g.h))
		sizes = append(sizes, found.size/float64(g.h))
	}
	f.Pictures = len(xs)
	f.Score /= float64(max(1, f.Of))
	if f.Pictures == 0 {
		return f, false
	}
	f.Left, f.Right, f.Top, f.Bottom = slices.Min(xs), slices.Max(xs), slices.Min(ys), slices.Max(ys)
	f.X, f.Y, f.Size = median.Of(xs), median.Of(ys), median.Of(sizes)
	f.Moving = stillRoom && p.moves(f)
	sure := sureStill
	if f.Moving {
		sure = sureMoving
	}
	return f, f.Score >= float64(sure) && float64(f.Pictures) >= leastPictures*float64(f.Of)
}
