package intake

import "ripieno/layout/framing"

// The narrowest and the widest tile where nothing says of which shape tiles are:
// what a search for tiles may use.
const (
	narrowest = 4.0 / 5
	widest    = 16.0 / 9
)

// person returns who is seen in the picture; nobody when that was not looked at.
func (j *judge) person() framing.Person {
	if j.file.Picture == nil {
		return framing.Person{}
	}
	return j.file.Picture.Person()
}

// bestTile returns the shape of the tile that cuts least off a picture of some
// shape, both as width over height.
func (j *judge) bestTile(picture float64) float64 {
	if j.facts.Shape > 0 {
		return j.facts.Shape
	}
	return min(max(picture, narrowest), widest)
}

// keepsHead reports whether the head is known and a crop keeps it whole.
func (j *judge) keepsHead() bool {
	w, h := j.file.Info.Video.Display()
	a := float64(w) / float64(h)
	t, p := j.bestTile(a), j.person()
	return !p.Head.IsEmpty() && p.Keeps(min(1, t/a), min(1, a/t))
}

// head judges whether a crop can keep the head whole, where nobody said what of
// the picture is shown.
func (j *judge) head() {
	p := j.person()
	if j.facts.Framed || p.Head.IsEmpty() || j.keepsHead() {
		return
	}
	key, share := "head-cut-high", p.Head.Bottom-p.Head.Top
	if w := p.Head.Right - p.Head.Left; w > share {
		key, share = "head-cut-wide", w
	}
	// A head is measured with its hair and its movement, and generously.
	j.add(HeadCut, Ask, 0.5+0.4*min(1, max(0, p.Sure)), key, "percent", figure(100*share, 0))
}
