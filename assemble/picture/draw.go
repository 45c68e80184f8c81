package picture

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"slices"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/card"
)

// pictureRule is the version of everything drawn here or in layout/card. Raise
// it when a drawing changes. All overlays, and so all segments, are made anew with
// it. Where only some drawings change, a rule of their own spares the others, as
// cardRule does.
const pictureRule = 3

// cardRule is the version of the drawings of titles and credits. Raise it when they
// change and pictures with tiles do not.
const cardRule = 2

// Note returns what a card says, in a language, about why there is no picture.
func Note(t plan.Tile, words *phrase.Book) string {
	switch t.Absent {
	case plan.Awaited:
		return words.Say("film.awaited")
	case plan.Unplaced, plan.Elsewhere:
		return words.Say("film.unplaced")
	case plan.Unreadable:
		return words.Say("film.unreadable")
	case plan.Withheld:
		return words.Say("film.withheld")
	}
	if t.Silent {
		return ""
	}
	return words.Say("film.sound-only")
}

// noteIn returns what the card of a tile says in a film. A finished one says
// nothing of why there is no picture of somebody who is heard.
func noteIn(f plan.Film, t plan.Tile, words *phrase.Book) string {
	if !f.Rough && t.Absent == plan.Present {
		return ""
	}
	return Note(t, words)
}

// scene is what the picture of a segment is drawn from: a shot, and how much
// of it is seen.
type scene struct {
	shot   int // index into the film's shots
	page   int // of a card
	labels bool
	span   plan.Span
	left   map[string]bool // takes that are not drawn: they are on their way to another place
}

// sceneOf returns the scene of a segment, in a transition the one that comes. Names
// that fade are not in the drawing but in one of their own.
func sceneOf(seg plan.Segment) scene {
	return scene{shot: seg.Shot, page: seg.Page, labels: seg.Labels && seg.Soft.Frames == 0, span: seg.Span}
}

// before returns the scene that a transition leaves.
func before(f plan.Film, seg plan.Segment) scene {
	old := f.Shots[seg.Shot-1]
	return scene{shot: seg.Shot - 1, page: old.Pages - 1, labels: old.LabelsTo >= old.To, span: seg.Span}
}

// overlay returns the picture over the moving tiles of a scene: a card's page, or
// background with holes, names and the cards of absent players. key describes
// everything that draw uses. draw runs later and at once with others: it changes
// nothing outside itself, and copies o, which is why the backdrop is no part of it
// before.
func (m *Maker) overlay(f plan.Film, sc scene) (key store.Action, draw func() (image.Image, error)) {
	shot := f.Shots[sc.shot]
	base := m.assets.groundArg(store.NewAction("overlay").Version(pictureRule)).Arg("canvas", f.Canvas).Ext(".png").
		For(fmt.Sprintf("%s %s", f.Name, shot.Show))
	bg := f.Cards.Background
	if shot.Roll.Step > 0 { // the letters lie over it
		return base.Arg("blank", bg), func() (image.Image, error) {
			return card.Blank(f.Canvas, bg, m.assets.backdrop(f.Canvas))
		}
	}
	if len(shot.Tiles) == 0 {
		return m.cardPage(f, sc, base)
	}
	o := card.OverlayOptions{Background: bg, Fonts: m.assets.Fonts}
	var corners []layout.Corner
	words := phrase.Of(f.Language)
	stills := map[layout.Rect]*still{} // behind pictures, by tile
	for _, t := range shot.Tiles {
		if sc.left[t.Take] {
			continue
		}
		switch {
		case t.Card:
			o.Placeholders = append(o.Placeholders, card.Placeholder{
				Tile: t.Rect, Name: words.Typeset(t.Player), Part: words.Typeset(t.Part), Note: noteIn(f, t,
					words), Expected: t.Absent == plan.Awaited,
			})
			continue
		case t.Shown.Meet(sc.span).Len() == 0:
		case t.Behind == plan.BehindBlur:
			o.Holes = append(o.Holes, t.Rect)
		default:
			o.Holes = append(o.Holes, t.Hole)
			if s := m.assets.stills[t.Backing]; s != nil {
				stills[t.Rect] = s
				// In the order of tiles, so the key is the same in every run; stills
				// is a map.
				base = base.Arg("behind", t.Rect).Input("still", s.id)
			} else if t.Behind != "" {
				o.Fills = append(o.Fills, card.Fill{Tile: t.Rect, Colour: plan.Colour(t.Behind)})
			}
		}
		if sc.labels {
			o.Labels, corners = append(o.Labels, t.Name(words)), append(corners, t.Corner)
		}
	}
	o.Look = lookOf(f, corners)
	base = lookArg(base, o.Look)
	key = base.Arg("background", o.Background).Arg("holes", o.Holes).Arg("fills", o.Fills).Arg("labels",
		o.Labels).Arg("cards", o.Placeholders)
	key = m.assets.fontArg(key, wordsOf(o)...)
	return key, func() (image.Image, error) {
		o := o
		o.Backdrop = m.assets.backdrop(f.Canvas)
		for tile, s := range stills {
			o.Fills = append(o.Fills, card.Fill{Tile: tile, Picture: s.cover(layout.Canvas{W: tile.W, H: tile.H}, bg)})
		}
		return card.Overlay(f.Canvas, o)
	}
}

// blank returns the ground of a film alone.
func (m *Maker) blank(f plan.Film) (store.Action, func() (image.Image, error)) {
	bg := f.Cards.Background
	key := m.assets.groundArg(store.NewAction("overlay").Version(pictureRule)).Arg("canvas", f.Canvas).Ext(".png").
		For(f.Name+" ground").Arg("blank", bg)
	return key, func() (image.Image, error) { return card.Blank(f.Canvas, bg, m.assets.backdrop(f.Canvas)) }
}

// cardPage returns the drawing of a page of a card, and its key, which begins as
// base.
func (m *Maker) cardPage(f plan.Film, sc scene, base store.Action) (store.Action, func() (image.Image, error)) {
	shot := f.Shots[sc.shot]
	key := base.Arg("text", shot.Text).Arg("page", sc.page).Arg("background", f.Cards.Background).
		Arg("card", f.Cards.Text(shot)).Arg("cards", cardRule)
	if m.assets.Look.Logo != nil && shot.Text == plan.TextTitle {
		key = key.Input("logo", m.assets.logo)
	}
	return m.assets.fontArg(key, f.Cards.Text(shot)...), func() (image.Image, error) {
		pages, err := f.Cards.Pages(m.assets.Look, shot, f.Canvas)
		if err != nil {
			return nil, err
		}
		return pages[sc.page], nil
	}
}

// lookOf returns how the names of a film are drawn, each in its corner.
func lookOf(f plan.Film, corners []layout.Corner) card.LabelLook {
	look := f.Look
	if look.Style != layout.Strip {
		look.Corners = corners
	}
	return look
}

// lookArg adds to a key how names are drawn; nothing where that is as it was before
// there was a choice, so that such drawings keep their keys. Labels in the lower left
// corner count as none.
func lookArg(key store.Action, look card.LabelLook) store.Action {
	if look.Style != "" && look.Style != layout.Plate {
		key = key.Arg("label-style", look.Style)
		if look.Style == layout.Strip {
			key = key.Arg("strip", look.Ground)
		}
	}
	if look.Screen > 0 {
		key = key.Arg("screen", look.Screen)
	}
	if slices.ContainsFunc(look.Corners, func(at layout.Corner) bool { return at != layout.BottomLeft }) {
		key = key.Arg("corners", look.Corners)
	}
	return key
}

// labels returns the names of a shot alone.
func (m *Maker) labels(f plan.Film, shot plan.Shot) (store.Action, func() (image.Image, error)) {
	var list []card.Label
	var corners []layout.Corner
	words := phrase.Of(f.Language)
	for _, t := range shot.Tiles {
		if !t.Card { // a card has its name on it
			list, corners = append(list, t.Name(words)), append(corners, t.Corner)
		}
	}
	look := lookOf(f, corners)
	key := store.NewAction("labels").Version(pictureRule).Arg("canvas", f.Canvas).Arg("labels", list).Ext(".png").
		For(fmt.Sprintf("%s %s", f.Name, shot.Show))
	key = m.assets.fontArg(lookArg(key, look), wordsOf(card.OverlayOptions{Labels: list})...)
	return key, func() (image.Image, error) { return card.Labels(f.Canvas, list, look, m.assets.Fonts) }
}

// roll returns the part of the credits that passes in a scene. It is one tall
// picture, in pixels of the canvas, past which the canvas is moved by Step rows a
// frame.
func (m *Maker) roll(f plan.Film, sc scene) (store.Action, func() (image.Image, error)) {
	shot := f.Shots[sc.shot]
	top := shot.Roll.Top(sc.span.From - shot.From)
	height := f.Canvas.H + shot.Roll.Step*(sc.span.Len()-1)
	text := f.Cards.Text(shot)
	key := store.NewAction("roll").Version(pictureRule).Arg("canvas", f.Canvas).Arg("card", text).
		Arg("background", f.Cards.Background).Arg("scenery", f.Scenery).
		Arg("cards", cardRule).Arg("stretch", shot.Roll.Stretch).Arg("rows", [2]int{top, height}).Ext(".png").
		For(fmt.Sprintf("%s credits", f.Name))
	return m.assets.fontArg(key, text...), func() (image.Image, error) {
		r, err := f.Cards.NewRoll(m.assets.Look, f.Canvas, shot.Roll.Stretch)
		if err != nil {
			return nil, err
		}
		return r.Draw(top, height), nil
	}
}

// backdrop returns a small piece of plain background, or all of one that is a
// picture. 16 pixels are enough of a colour; the graph repeats them.
func (m *Maker) backdrop(f plan.Film) (store.Action, func() (image.Image, error)) {
	bg := f.Cards.Background
	c := f.Canvas
	if f.Scenery {
		key := m.assets.groundArg(store.NewAction("backdrop").Version(pictureRule)).Arg("background",
			bg).Arg("canvas", c).Ext(".png")
		return key, func() (image.Image, error) { return m.assets.backdrop(c), nil }
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
func drawTask(key store.Action, draw func() (image.Image, error)) task.Ref[string] {
	return task.Path(task.Task{
		ID: task.ID("draw", key.ID().String()), Name: key.Subject(), Stage: "draw", Action: key, Cost: 0.2,
		Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			img, err := draw()
			if err != nil {
				return err
			}
			return media.WritePNG(tmp, img, png.BestSpeed)
		},
	})
}
