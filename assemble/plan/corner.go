package plan

import (
	"maps"
	"slices"

	"ripieno/assemble/report/phrase"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/framing"
)

// Name returns the name of a tile as its label has it, set as the language sets it.
func (t Tile) Name(words *phrase.Book) card.Label {
	return card.Label{Tile: t.Rect, Name: words.Typeset(t.Player), Part: words.Typeset(t.Part)}
}

// placeNames gives every name its corner: the one that the manifest says, or one that
// hides neither head nor hands. A take's name keeps its corner all through the film, and
// all names of the film stand in one corner but for those that would hide somebody there.
func (f *Film) placeNames(h *arranger, l Look) {
	corner := h.p.Picture.LabelCorner
	if corner == "" {
		corner = layout.AutoCorner
	}
	switch {
	case f.Look.Style == layout.Strip:
	case corner != layout.AutoCorner:
		f.setCorners(func(*Tile) layout.Corner { return corner })
	case f.fixed:
		f.avoidHeads(l)
	default:
		hiding := f.hiding(h, l)
		usual := layout.UsualCorner(slices.Collect(maps.Values(hiding)))
		f.setCorners(func(t *Tile) layout.Corner {
			share, known := hiding[t.Take]
			if !known {
				return layout.Corners[usual]
			}
			return layout.Corners[share.Corner(usual)]
		})
	}
}

// setCorners gives every tile with a picture the corner of its name.
func (f *Film) setCorners(choose func(*Tile) layout.Corner) {
	for i := range f.Shots {
		for k := range f.Shots[i].Tiles {
			if t := &f.Shots[i].Tiles[k]; !t.Card {
				t.Corner = choose(t)
			}
		}
	}
}

// avoidHeads chooses for every tile by itself the corner in which a name covers the fewest
// pixels of a head. So it was before hands were looked for, and films whose tiles have
// one fixed shape stay as they were.
func (f *Film) avoidHeads(l Look) {
	f.setCorners(func(t *Tile) layout.Corner {
		if t.Head == (layout.Rect{}) {
			return layout.BottomLeft
		}
		boxes := card.NameBoxes(f.Canvas, []card.Label{t.Name(f.Cards.words)}, f.Look, l.Fonts)[0]
		best, least := 0, -1
		for k, b := range boxes {
			if px := meet(b, t.Head); least < 0 || px < least {
				best, least = k, px
			}
		}
		return layout.Corners[best]
	})
}

// meet returns how many pixels two rectangles share.
func meet(a, b layout.Rect) int {
	w := min(a.Right(), b.Right()) - max(a.X, b.X)
	h := min(a.Bottom(), b.Bottom()) - max(a.Y, b.Y)
	return max(0, w) * max(0, h)
}

// hiding returns for every take of which anything is known how much of its player a name
// would cover, in the shot in which that is most.
func (f *Film) hiding(h *arranger, l Look) map[string]layout.Hidden {
	var tiles []Tile
	var names []card.Label
	for _, s := range f.Shots {
		for _, t := range s.Tiles {
			subject := h.facts[t.Take].Subject
			same := func(o Tile) bool { return o.Take == t.Take && o.Rect == t.Rect && o.Source == t.Source }
			if t.Card || s.LabelsTo <= s.From || subject == nil || !subject.Known() ||
				slices.ContainsFunc(tiles, same) {
				continue
			}
			tiles, names = append(tiles, t), append(names, t.Name(f.Cards.words))
		}
	}
	out := map[string]layout.Hidden{}
	for i, boxes := range card.NameBoxes(f.Canvas, names, f.Look, l.Fonts) {
		most := out[tiles[i].Take]
		for k, b := range boxes {
			most[k] = max(most[k], covered(tiles[i], h.facts[tiles[i].Take], b))
		}
		out[tiles[i].Take] = most
	}
	return out
}

// covered returns how much of a person something over a part of the canvas covers in a
// tile's picture, as [framing.Person.Covered] counts it.
func covered(t Tile, facts Facts, over layout.Rect) float64 {
	if t.Hole.W == 0 || t.Hole.H == 0 {
		return 0
	}
	at := func(v, to, size, from, length, whole int) float64 {
		part := min(max(float64(v-to)/float64(size), 0), 1)
		return (float64(from) + part*float64(length)) / float64(whole)
	}
	x := func(v int) float64 { return at(v, t.Hole.X, t.Hole.W, t.Source.X, t.Source.W, facts.Picture.W) }
	y := func(v int) float64 { return at(v, t.Hole.Y, t.Hole.H, t.Source.Y, t.Source.H, facts.Picture.H) }
	box := func(r layout.Rect) framing.Box {
		return framing.Box{Left: x(r.X), Top: y(r.Y), Right: x(r.Right()), Bottom: y(r.Bottom())}
	}
	return facts.Subject.Covered(box(t.Hole), box(over))
}
