package plan

import (
	"cmp"
	"slices"

	"ripieno/layout"
)

// One process that opens very many pictures takes far more time for each of them than
// one that opens some: 100 tiles cost 0.10 s of a core a frame, 400 tiles 0.43 and 1000
// more than 14; 24 bands of 40 stacked afterwards cost 0.33 (2 cores, ffmpeg 5.1).
const (
	bandsFrom = 150
	bandTiles = 40
)

// Banding says when a shot is composed in bands, and in what bands.
type Banding struct {
	From int // pictures of a shot from which on it is
	Most int // pictures in a band, unless one row has more
}

// UsualBanding is that of films.
var UsualBanding = Banding{bandsFrom, bandTiles}

// Band is a part of the canvas over all its width with whole rows of tiles.
type Band struct {
	Rect  layout.Rect
	Tiles []int // of the shot, those that have a picture
}

// Bands returns the bands in which a shot is composed, from the top; nil for a shot that
// is composed at once, because it has few pictures or its tiles do not stand in rows.
func (s Shot) Bands(canvas layout.Canvas, b Banding) []Band {
	if s.pictures() < b.From {
		return nil
	}
	var bands []Band
	top := 0
	open := Band{}
	for _, row := range s.rows() {
		edge := layout.FloorEven(row.top)
		if n := len(open.Tiles); n > 0 && n+len(row.tiles) > b.Most && edge > top && edge >= row.above {
			open.Rect = layout.Rect{Y: top, W: canvas.W, H: edge - top}
			bands, open, top = append(bands, open), Band{}, edge
		}
		open.Tiles = append(open.Tiles, row.tiles...)
	}
	if len(bands) == 0 {
		return nil
	}
	open.Rect = layout.Rect{Y: top, W: canvas.W, H: canvas.H - top}
	bands = append(bands, open)
	for _, b := range bands {
		slices.Sort(b.Tiles) // tiles lie on each other in the order of the shot
	}
	return bands
}

// pictures returns how many tiles of a shot have a picture.
func (s Shot) pictures() (n int) {
	for _, t := range s.Tiles {
		if t.Conform >= 0 {
			n++
		}
	}
	return n
}

// row is tiles between two lines that no tile crosses.
type row struct {
	above, top int // lower edge of what lies above, upper edge of the row
	tiles      []int
}

// rows returns the tiles with a picture in rows, from the top.
func (s Shot) rows() (rows []row) {
	var tiles []int
	for i, t := range s.Tiles {
		if t.Conform >= 0 {
			tiles = append(tiles, i)
		}
	}
	slices.SortStableFunc(tiles, func(a, b int) int { return cmp.Compare(s.Tiles[a].Rect.Y, s.Tiles[b].Rect.Y) })
	bottom := 0
	for _, i := range tiles {
		r := s.Tiles[i].Rect
		if len(rows) == 0 || r.Y >= bottom {
			rows = append(rows, row{above: bottom, top: r.Y})
		}
		last := &rows[len(rows)-1]
		last.tiles = append(last.tiles, i)
		bottom = max(bottom, r.Y+r.H)
	}
	return rows
}
