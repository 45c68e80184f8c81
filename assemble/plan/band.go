package plan

import (
	"cmp"
	"slices"

	"ripieno/layout"
)

// One process that opens very many pictures takes far more time for each of them than
// one that opens some: 100 tiles cost 0.10 s of a core a frame, 400 tiles 0.43 and 1000
// more than 14; 24 bands of 40 stacked afterwards cost 0.33 (2 cores, ffmpeg 5.1). 90 frames
// of 64 tiles cost 0.80 s in one band and 0.85 in two, since processes have to start.
const (
	bandsFrom = 150
	bandTiles = 64
)

// Banding says when a shot is composed in bands, and in what bands.
type Banding struct {
	From int // pictures of a shot from which on it is
	Most int // pictures in a band, unless one row has more
}

// UsualBanding is that of films.
var UsualBanding = Banding{bandsFrom, bandTiles}

// Band is a part of the canvas with whole tiles: as wide as the canvas where the tiles stand
// in rows, else a part of such a band with whole columns.
type Band struct {
	Rect  layout.Rect
	Tiles []int // of the shot, those that have a picture
}

// tooMany is how many times a band's usual tiles it has at most before columns are tried.
const tooMany = 2

// Bands returns the bands in which a shot is composed, from the top and from the left; nil
// for a shot that is composed at once, because it has few pictures or no line divides its
// tiles. Together they are the canvas.
func (s Shot) Bands(canvas layout.Canvas, b Banding) []Band {
	if s.pictures() < b.From {
		return nil
	}
	var all []int
	for i, t := range s.Tiles {
		if t.Conform >= 0 {
			all = append(all, i)
		}
	}
	var bands []Band
	for _, band := range s.cut(Band{layout.Rect{W: canvas.W, H: canvas.H}, all}, b.Most, down) {
		if len(band.Tiles) > tooMany*b.Most {
			bands = append(bands, s.cut(band, b.Most, across)...)
		} else {
			bands = append(bands, band)
		}
	}
	if len(bands) == 1 {
		return nil
	}
	for _, b := range bands {
		slices.Sort(b.Tiles) // tiles lie on each other in the order of the shot
	}
	return bands
}

// cut divides a band along lines that no tile crosses, so that each part has at most so many
// tiles, or those between two such lines where they are more.
func (s Shot) cut(band Band, most int, along direction) []Band {
	var parts []Band
	from, end := along.ends(band.Rect)
	open := Band{}
	for _, row := range s.lines(band, along) {
		edge := layout.FloorEven(row.top)
		if n := len(open.Tiles); n > 0 && n+len(row.tiles) > most && edge > from && edge >= row.above {
			open.Rect = along.part(band.Rect, from, edge)
			parts, open, from = append(parts, open), Band{}, edge
		}
		open.Tiles = append(open.Tiles, row.tiles...)
	}
	open.Rect = along.part(band.Rect, from, end)
	return append(parts, open)
}

// direction is the way along which a band is divided: down into rows, across into columns.
type direction bool

const (
	down   direction = false
	across direction = true
)

// ends returns where a rectangle begins and ends.
func (d direction) ends(r layout.Rect) (from, to int) {
	if d == across {
		return r.X, r.X + r.W
	}
	return r.Y, r.Y + r.H
}

// part returns what of a rectangle lies between two lines.
func (d direction) part(r layout.Rect, from, to int) layout.Rect {
	if d == across {
		r.X, r.W = from, to-from
	} else {
		r.Y, r.H = from, to-from
	}
	return r
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

// lines returns the tiles of a band in rows from the top, or in columns from the left.
func (s Shot) lines(band Band, along direction) (list []row) {
	tiles := slices.Clone(band.Tiles)
	begin := func(i int) int { from, _ := along.ends(s.Tiles[i].Rect); return from }
	slices.SortStableFunc(tiles, func(a, b int) int { return cmp.Compare(begin(a), begin(b)) })
	bottom, _ := along.ends(band.Rect)
	for _, i := range tiles {
		from, to := along.ends(s.Tiles[i].Rect)
		if len(list) == 0 || from >= bottom {
			list = append(list, row{above: bottom, top: from})
		}
		last := &list[len(list)-1]
		last.tiles = append(last.tiles, i)
		bottom = max(bottom, to)
	}
	return list
}
