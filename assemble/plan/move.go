package plan

import (
	"cmp"
	"slices"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// Phases are the parts of a transition in which tiles glide, in frames. First goes what
// leaves, with all names; then tiles glide, and nothing else is there; then comes what
// is new, with the names. So no name grows or shrinks, and no tile passes over a
// picture that stands still.
type Phases struct{ Leave, Glide, Arrive int }

// phaseShare is the part of a transition that leaving takes, and arriving. Gliding has
// the larger rest: it is what the eye follows.
const phaseShare = 4

// Phases returns the parts of the transition into shot i. Leaving and arriving take no
// time where nothing leaves and nothing arrives.
func (f Film) Phases(i int, glides []Glide) Phases {
	old, new := f.Shots[i-1], f.Shots[i]
	p := Phases{Glide: new.Into.Frames}
	still := func(s Shot, labels bool, tile func(Glide) int) bool {
		return labels || len(s.Tiles) > len(glides) || slices.ContainsFunc(glides, func(g Glide) bool {
			t := s.Tiles[tile(g)]
			return t.Rect != t.moving()
		})
	}
	if still(old, old.LabelsTo >= old.To, func(g Glide) int { return g.Old }) {
		p.Leave = new.Into.Frames / phaseShare
	}
	if still(new, new.LabelsTo > new.From, func(g Glide) int { return g.New }) {
		p.Arrive = new.Into.Frames / phaseShare
	}
	p.Glide -= p.Leave + p.Arrive
	return p
}

// Way returns where a picture on its way from a to b stands in frame k of a transition:
// neither at the one nor quite at the other while it glides, since the frames before
// and behind show it there.
func (p Phases) Way(a, b layout.Rect, k int) layout.Rect {
	return layout.Between(a, b, float64(k-p.Leave+1)/float64(p.Glide+1))
}

// Glide is a take that both shots of a transition show, on its way.
type Glide struct {
	Old, New int         // tiles of the two shots
	From, To layout.Rect // its picture in both
}

// glideShapes is how much the shapes of two whole pictures may differ for one to become
// the other by growing alone.
const glideShapes = 0.02

// Glides returns the takes that move in a transition into shot i. The others go from
// their old place and come at their new one: those who are not there all the time, or
// whose way would lead over a face, or under somebody. The largest have the right of way.
// Where more than one in five could not glide only the largest does: the others would look
// like stray ones round the holes. The smallest come first in the list, for the largest
// passes in front. Where a shot pushes in, none glides.
func (f Film) Glides(i int) []Glide {
	if i == 0 || f.Shots[i].Into.Kind != Move || f.Shots[i].PushIn > 0 || f.Shots[i-1].PushIn > 0 {
		return nil
	}
	if max(f.Shots[i-1].pictures(), f.Shots[i].pictures()) >= bandsFrom {
		return nil // they are composed in bands, which dissolve
	}
	old := map[string]int{}
	for k, t := range f.Shots[i-1].Tiles {
		old[t.Take] = k
	}
	var all []Glide
	for k, t := range f.Shots[i].Tiles {
		if was, seen := old[t.Take]; seen && f.canGlide(f.Shots[i-1].Tiles[was], t, i) {
			all = append(all, Glide{was, k, f.Shots[i-1].Tiles[was].moving(), t.moving()})
		}
	}
	area := func(g Glide) int { return max(g.From.W*g.From.H, g.To.W*g.To.H) }
	slices.SortStableFunc(all, func(a, b Glide) int { return area(b) - area(a) })
	var list []Glide
	for _, g := range all {
		if !slices.ContainsFunc(list, func(o Glide) bool { return f.cross(i, o, g) }) {
			list = append(list, g)
		}
	}
	if missing := len(all) - len(list); missing > max(1, len(all)/fewMissing) {
		list = list[:1]
	}
	slices.Reverse(list)
	return list
}

// moving returns the part of a tile that moves in a transition: its picture. Its ground,
// names and strips go and come with what stands still.
func (t Tile) moving() layout.Rect { return t.Hole }

// canGlide reports whether a take has a picture all through the transition into shot i
// that can go from tile a to tile b.
func (f Film) canGlide(a, b Tile, i int) bool {
	from := f.Shots[i].From
	over := Span{from - f.Shots[i].Into.Frames, from}
	if a.Conform < 0 || b.Conform < 0 || a.Shown.Meet(over) != over || b.Shown.Meet(over) != over {
		return false
	}
	ratio := float64(a.Hole.W*b.Hole.H) / float64(a.Hole.H*b.Hole.W)
	return a.Fit == layout.Crop && b.Fit == layout.Crop || ratio <= 1+glideShapes && ratio >= 1-glideShapes
}

const (
	fewMissing  = 5   // of so many one may stay behind
	waySteps    = 16  // places at which the ways of two tiles are compared
	coveredFace = 0.1 // of a head that another tile may cover on its way
)

// cross reports whether one of two pictures on their way into shot i covers the head in
// the other.
func (f Film) cross(i int, a, b Glide) bool {
	for k := 1; k < waySteps; k++ {
		part := float64(k) / waySteps
		ra, rb := layout.Between(a.From, a.To, part), layout.Between(b.From, b.To, part)
		if ra.X >= rb.Right() || rb.X >= ra.Right() || ra.Y >= rb.Bottom() || rb.Y >= ra.Bottom() {
			continue
		}
		if covers(ra, f.headOf(i, b, part)) || covers(rb, f.headOf(i, a, part)) {
			return true
		}
	}
	return false
}

// covers reports whether a tile hides too much of a head.
func covers(tile, head layout.Rect) bool {
	w := min(tile.Right(), head.Right()) - max(tile.X, head.X)
	h := min(tile.Bottom(), head.Bottom()) - max(tile.Y, head.Y)
	return w > 0 && h > 0 && float64(w*h) > coveredFace*float64(head.W*head.H)
}

// headOf returns where the head in a picture is on its way into shot i.
func (f Film) headOf(i int, g Glide, part float64) layout.Rect {
	return layout.Between(f.Shots[i-1].Tiles[g.Old].face(), f.Shots[i].Tiles[g.New].face(), part)
}

// face returns where the head is on the canvas. Where nobody was found, heads are mostly
// in the upper middle.
func (t Tile) face() layout.Rect {
	r := t.moving()
	return cmp.Or(t.Head, layout.Rect{X: r.X + r.W*3/10, Y: r.Y + r.H/10, W: r.W * 4 / 10, H: r.H / 2})
}

// Middle returns the middle of the head, 0 to 1 of the moving part of the tile.
func (t Tile) Middle() (x, y float64) {
	r, h := t.moving(), t.face()
	at := func(from, size, of, whole int) float64 {
		return min(max((float64(from-of)+float64(size)/2)/float64(whole), 0), 1)
	}
	return at(h.X, h.W, r.X, r.W), at(h.Y, h.H, r.Y, r.H)
}

// Pushes reports whether the picture of tile i becomes larger in the shot, or of a card
// all of it. Those round a soloist stay as they are.
func (s Shot) Pushes(i int) bool {
	return s.PushIn > 1 && s.Roll.Step == 0 && (i == 0 || s.Show != shot.Solo)
}
