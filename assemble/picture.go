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
const pictureRule = 3

// Notes on the cards that hold a seat.
const (
	noteSound    = "sound only"
	noteAwaited  = "still to come"
	noteUnplaced = "not in time yet"
	noteWithheld = "not in this film"
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
	case plan.Withheld:
		return noteWithheld
	}
	if t.Silent {
		return ""
	}
	return noteSound
}

// behindBlur puts the blurred take behind a picture that is fitted.
const behindBlur = "blur"

// scene is what the picture of a segment is drawn from: a shot, and how much
// of it is seen.
type scene struct {
	shot   int // index into the film's shots
	page   int // of a card
	labels bool
	span   plan.Span
	left   map[string]bool // takes that are not drawn: they are on their way to another place
}

// sceneOf is the scene of a segment, in a transition the one that comes.
func sceneOf(seg plan.Segment) scene {
	return scene{shot: seg.Shot, page: seg.Page, labels: seg.Labels && seg.Soft.Frames == 0, span: seg.Span}
}

// before is the scene that a transition leaves.
func before(f plan.Film, seg plan.Segment) scene {
	old := f.Shots[seg.Shot-1]
	return scene{shot: seg.Shot - 1, page: old.Pages - 1, labels: old.LabelsTo >= old.To, span: seg.Span}
}

// overlay is the picture over the moving tiles of a scene: a card's page, or
// background with holes, names and the cards of absent players.
func (p *Production) overlay(f plan.Film, sc scene) (key store.Action, draw func() (image.Image, error)) {
	shot := f.Shots[sc.shot]
	base := p.groundArg(store.NewAction("overlay").Version(pictureRule)).Arg("canvas", f.Canvas).Ext(".png").
		For(fmt.Sprintf("%s %s", f.Name, shot.Show))
	bg := plan.Background(p.Manifest())
	if shot.Roll.Step > 0 { // the letters lie over it
		return base.Arg("blank", bg), func() (image.Image, error) { return card.Blank(f.Canvas, bg, p.look.ground(f.Canvas)) }
	}
	if len(shot.Tiles) == 0 {
		key = base.Arg("text", shot.Text).Arg("page", sc.page).Arg("background", bg).Arg("card", p.cardText(shot))
		key = p.fontArg(key, p.cardText(shot)...)
		return key, func() (image.Image, error) {
			pages, err := plan.CardPages(p.Manifest(), p.look.Look, shot, f.Canvas)
			if err != nil {
				return nil, err
			}
			return pages[sc.page], nil
		}
	}
	o := card.OverlayOptions{Background: bg, Fonts: p.look.Fonts}
	stills := map[layout.Rect]*still{} // behind pictures, by tile
	for _, t := range shot.Tiles {
		if sc.left[t.Take] {
			continue
		}
		switch {
		case t.Card:
			o.Placeholders = append(o.Placeholders, card.Placeholder{
				Tile: t.Rect, Name: t.Player, Part: t.Part, Note: note(t), Expected: t.Absent == plan.Awaited,
			})
			continue
		case t.Shown.Meet(sc.span).Len() == 0:
		case t.Behind == behindBlur:
			o.Holes = append(o.Holes, t.Rect)
		default:
			o.Holes = append(o.Holes, t.Hole)
			if s := p.look.stills[t.Backing]; s != nil {
				stills[t.Rect] = s
				base = base.Arg("behind", t.Rect).Input("still", s.id)
			} else if t.Behind != "" {
				o.Fills = append(o.Fills, card.Fill{Tile: t.Rect, Colour: plan.Colour(t.Behind)})
			}
		}
		if sc.labels {
			o.Labels = append(o.Labels, labelOf(t))
		}
	}
	key = base.Arg("background", o.Background).Arg("holes", o.Holes).Arg("fills", o.Fills).Arg("labels", o.Labels).Arg("cards", o.Placeholders)
	key = p.fontArg(key, wordsOf(o)...)
	return key, func() (image.Image, error) {
		o := o
		o.Backdrop = p.look.ground(f.Canvas)
		for tile, s := range stills {
			o.Fills = append(o.Fills, card.Fill{Tile: tile, Picture: s.cover(layout.Canvas{W: tile.W, H: tile.H}, bg)})
		}
		return card.Overlay(f.Canvas, o)
	}
}

func labelOf(t plan.Tile) card.Label { return card.Label{Tile: t.Rect, Name: t.Player, Part: t.Part} }

// labels is the names of a shot alone.
func (p *Production) labels(f plan.Film, shot plan.Shot) (store.Action, func() (image.Image, error)) {
	var list []card.Label
	for _, t := range shot.Tiles {
		if !t.Card { // a card has its name on it
			list = append(list, labelOf(t))
		}
	}
	key := store.NewAction("labels").Version(pictureRule).Arg("canvas", f.Canvas).Arg("labels", list).Ext(".png").
		For(fmt.Sprintf("%s %s", f.Name, shot.Show))
	key = p.fontArg(key, wordsOf(card.OverlayOptions{Labels: list})...)
	return key, func() (image.Image, error) { return card.Labels(f.Canvas, list, p.look.Fonts) }
}

// roll is the part of the credits that passes in a scene.
func (p *Production) roll(f plan.Film, sc scene) (store.Action, func() (image.Image, error)) {
	shot := f.Shots[sc.shot]
	top := shot.Roll.Top(sc.span.From - shot.From)
	height := f.Canvas.H + shot.Roll.Step*(sc.span.Len()-1)
	text := p.cardText(shot)
	key := store.NewAction("roll").Version(pictureRule).Arg("canvas", f.Canvas).Arg("card", text).
		Arg("background", plan.Background(p.Manifest())).Arg("scenery", f.Scenery).
		Arg("stretch", shot.Roll.Stretch).Arg("rows", [2]int{top, height}).Ext(".png").For(fmt.Sprintf("%s credits", f.Name))
	return p.fontArg(key, text...), func() (image.Image, error) {
		r, err := plan.NewRoll(p.Manifest(), p.look.Look, f.Canvas, shot.Roll.Stretch)
		if err != nil {
			return nil, err
		}
		return r.Draw(top, height), nil
	}
}

// cardText is everything a card's drawing depends on besides its own text.
func (p *Production) cardText(s plan.Shot) []string {
	text := []string{s.Text, p.Manifest().Title, p.Manifest().Composer, p.Manifest().Ensemble, p.Manifest().Dedication}
	if s.NamesPlayers() {
		for _, c := range plan.Roster(p.Manifest()) {
			text = append(text, c.Section, c.Part, c.Name)
		}
	}
	return text
}

// backdrop is a small piece of plain background, or all of one that is a
// picture.
func (p *Production) backdrop(c layout.Canvas) (store.Action, func() (image.Image, error)) {
	bg := plan.Background(p.Manifest())
	if p.Manifest().Picture.Backdrop != nil {
		key := p.groundArg(store.NewAction("backdrop").Version(pictureRule)).Arg("background", bg).Arg("canvas", c).Ext(".png")
		return key, func() (image.Image, error) { return p.look.ground(c), nil }
	}
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

// pieces are the moving tiles of a scene, in seat order. mezzanine gives the
// path of a conformed picture.
func pieces(f plan.Film, sc scene, line plan.Timeline, mezzanine func(conform int) string) []graph.Piece {
	var out []graph.Piece
	for _, t := range f.Shots[sc.shot].Tiles {
		if sc.left[t.Take] {
			continue
		}
		if p, ok := pieceOf(f, t, sc.span, line, mezzanine); ok {
			out = append(out, p)
		}
	}
	return out
}

// pieceOf is one moving tile; false when it has no picture in the span.
func pieceOf(f plan.Film, t plan.Tile, span plan.Span, line plan.Timeline, mezzanine func(conform int) string) (graph.Piece, bool) {
	shown := t.Shown.Meet(span)
	if t.Conform < 0 || shown.Len() == 0 {
		return graph.Piece{}, false
	}
	c := f.Conforms[t.Conform]
	p := graph.Piece{
		Path: mezzanine(t.Conform), Skip: shown.From + line.First - c.Frames.From,
		Start: shown.From - span.From, Count: shown.Len(),
		Crop: onMezzanine(t.Source, c), W: c.W, H: c.H, Hole: t.Hole,
	}
	if t.Behind == behindBlur {
		p.Hole, p.Inner = t.Rect, t.Hole
	}
	return p, true
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
	for _, t := range moving(f, seg) {
		if !slices.Contains(list, t.Conform) {
			list = append(list, t.Conform)
		}
	}
	return list
}

// moving are the tiles whose pictures a segment opens: those of its shot, and
// of the shot before while a transition comes from it.
func moving(f plan.Film, seg plan.Segment) []plan.Tile {
	tiles := f.Shots[seg.Shot].Tiles
	if seg.Into {
		tiles = slices.Concat(f.Shots[seg.Shot-1].Tiles, tiles)
	}
	var list []plan.Tile
	for _, t := range tiles {
		if t.Conform >= 0 && t.Shown.Meet(seg.Span).Len() > 0 {
			list = append(list, t)
		}
	}
	return list
}
