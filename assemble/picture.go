package assemble

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"os"
	"slices"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/card"
)

// pictureRule is the version of everything drawn here or in layout/card. Raise
// it when a drawing changes.
const pictureRule = 1

// Notes on the cards that hold a seat.
const (
	noteSound    = "sound only"
	noteAwaited  = "still to come"
	noteUnplaced = "not in time yet"
	noteBad      = "recording cannot be read"
)

// note says on a card why there is no picture.
func note(t plan.Tile) string {
	switch t.Absent {
	case plan.Awaited:
		return noteAwaited
	case plan.Unplaced, plan.Elsewhere:
		return noteUnplaced
	case plan.Unreadable:
		return noteBad
	}
	if t.Silent {
		return ""
	}
	return noteSound
}

// overlay is the picture over the moving tiles of one segment: a card's page,
// or background with holes, names and the cards of absent players.
func (p *Production) overlay(f plan.Film, seg plan.Segment) (key store.Action, draw func() (image.Image, error)) {
	shot := f.Shots[seg.Shot]
	base := store.NewAction("overlay").Version(pictureRule).Arg("canvas", f.Canvas).Ext(".png").
		For(fmt.Sprintf("%s %s", f.Name, shot.Show))
	if len(shot.Tiles) == 0 {
		bg := plan.Background(p.man)
		key = base.Arg("text", shot.Text).Arg("page", seg.Page).Arg("background", bg).Arg("card", p.cardText(shot))
		return key, func() (image.Image, error) {
			pages, err := plan.CardPages(p.man, shot, f.Canvas)
			if err != nil {
				return nil, err
			}
			return pages[seg.Page], nil
		}
	}
	o := card.OverlayOptions{Background: plan.Background(p.man)}
	for _, t := range shot.Tiles {
		switch {
		case t.Card:
			o.Placeholders = append(o.Placeholders, card.Placeholder{
				Tile: t.Rect, Name: t.Player, Part: t.Part, Note: note(t), Expected: t.Absent == plan.Awaited,
			})
			continue
		case t.Shown.Meet(seg.Span).Len() > 0:
			o.Holes = append(o.Holes, t.Hole)
		}
		if shot.Labels {
			o.Labels = append(o.Labels, card.Label{Tile: t.Rect, Name: t.Player, Part: t.Part})
		}
	}
	key = base.Arg("background", o.Background).Arg("holes", o.Holes).Arg("labels", o.Labels).Arg("cards", o.Placeholders)
	return key, func() (image.Image, error) { return card.Overlay(f.Canvas, o) }
}

// cardText is everything a card's drawing depends on besides its own text.
func (p *Production) cardText(s plan.Shot) []string {
	text := []string{s.Text, p.man.Title, p.man.Composer, p.man.Ensemble, p.man.Dedication}
	for _, t := range p.man.Takes {
		text = append(text, t.Section, t.Part, t.Player)
	}
	return text
}

// backdrop is a small piece of plain background.
func (p *Production) backdrop() (store.Action, func() (image.Image, error)) {
	bg := plan.Background(p.man)
	key := store.NewAction("backdrop").Version(pictureRule).Arg("background", bg).Ext(".png")
	return key, func() (image.Image, error) {
		img := image.NewNRGBA(image.Rect(0, 0, 16, 16))
		for i := 0; i < len(img.Pix); i += 4 {
			copy(img.Pix[i:], []byte{bg.R, bg.G, bg.B, 255})
		}
		return img, nil
	}
}

// drawTask stores a drawing as PNG, quickly packed: it is read once or twice.
func drawTask(key store.Action, draw func() (image.Image, error)) task.Task {
	return task.Task{
		ID: "draw/" + key.ID().String(), Name: key.Subject(), Stage: "draw", Action: key, Cost: 0.2,
		Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			img, err := draw()
			if err != nil {
				return err
			}
			return writePNG(tmp, img, png.BestSpeed)
		},
	}
}

func writePNG(path string, img image.Image, level png.CompressionLevel) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	enc := png.Encoder{CompressionLevel: level}
	if err := enc.Encode(f, img); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// pieces are the moving tiles of one segment, in seat order. mezzanine gives
// the path of a conformed picture.
func pieces(f plan.Film, seg plan.Segment, line plan.Timeline, mezzanine func(conform int) string) []graph.Piece {
	var out []graph.Piece
	for _, t := range f.Shots[seg.Shot].Tiles {
		shown := t.Shown.Meet(seg.Span)
		if t.Conform < 0 || shown.Len() == 0 {
			continue
		}
		c := f.Conforms[t.Conform]
		out = append(out, graph.Piece{
			Path: mezzanine(t.Conform), Skip: shown.From + line.First - c.Frames.From,
			Start: shown.From - seg.From, Count: shown.Len(),
			Crop: onMezzanine(t.Source, c), W: c.W, H: c.H, Hole: t.Hole,
		})
	}
	return out
}

// onMezzanine scales the part of the original that is shown to the conformed
// picture: even, and never outside it.
func onMezzanine(src layout.Rect, c plan.Conform) layout.Rect {
	side := func(at, size, whole, kept int) (int, int) {
		scale := float64(kept) / float64(whole)
		n := min(max(2, 2*int(float64(size)*scale/2+0.5)), kept)
		pos := 2 * int(float64(at)*scale/2+0.5)
		return min(pos, kept-n), n
	}
	var r layout.Rect
	r.X, r.W = side(src.X, src.W, c.Picture.W, c.W)
	r.Y, r.H = side(src.Y, src.H, c.Picture.H, c.H)
	return r
}

// used lists the conformed pictures a segment needs, once each.
func used(f plan.Film, seg plan.Segment) []int {
	var list []int
	for _, t := range f.Shots[seg.Shot].Tiles {
		if t.Conform >= 0 && t.Shown.Meet(seg.Span).Len() > 0 && !slices.Contains(list, t.Conform) {
			list = append(list, t.Conform)
		}
	}
	return list
}
