package picture

import (
	"image"
	"slices"

	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/framing"
)

// Cropped says of a take what its crop goes by.
type Cropped struct {
	Person framing.Person // who was found in its picture; nobody when nobody looked
	Note   string         // in words
}

// Crops draws the whole picture of every take of a film, with the parts of it that
// its tiles show. run makes what is missing of the stills. A still that cannot be
// read leaves a blank: the page is to be looked at, and check says what is wrong with
// a take. of may lack takes.
func (m *Maker) Crops(f plan.Film, of map[string]Cropped, run func([]task.Task) (task.Result, error)) (image.Image,
	error) {
	var edges []task.Edge
	stills := map[string]task.Ref[image.Image]{}
	pictures := map[string]*card.CropPicture{}
	var order []string
	for i, s := range f.Shots {
		for k, t := range s.Tiles {
			c, ok := stillOf(f, i, k, m.line)
			if !ok {
				continue
			}
			// One still of a take, however many tiles show it; every tile adds its window.
			p := pictures[t.Take]
			if p == nil {
				still, err := m.Still(c, false)
				if err != nil {
					return nil, err
				}
				edges, stills[t.Take] = append(edges, still), still
				p = &card.CropPicture{Take: t.PublicTake(), Note: of[t.Take].Note, W: c.Picture.W, H: c.Picture.H}
				p.Head = onPicture(of[t.Take].Person.Head, p.W, p.H)
				pictures[t.Take], order = p, append(order, t.Take)
			}
			// Shots mostly show the same part; drawn twice it would look like two.
			if !slices.Contains(p.Windows, t.Source) {
				p.Windows = append(p.Windows, t.Source)
			}
		}
	}
	res, err := run(task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	o := card.CropsOptions{Title: m.title + " · " + f.Name, Fonts: m.assets.Fonts}
	for _, take := range order {
		img, ok, err := stills[take].Result(res)
		if err != nil {
			return nil, err
		}
		if ok {
			pictures[take].Picture = img
		}
		o.Pictures = append(o.Pictures, *pictures[take])
	}
	return card.Crops(o)
}

// onPicture returns a box in pixels of a picture. The box is in shares of the
// picture, 0 to 1.
func onPicture(b framing.Box, w, h int) layout.Rect {
	x, y := int(b.Left*float64(w)), int(b.Top*float64(h))
	return layout.Rect{X: x, Y: y, W: int(b.Right*float64(w)) - x, H: int(b.Bottom*float64(h)) - y}
}
