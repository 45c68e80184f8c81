package plan

import (
	"cmp"
	"math"
	"slices"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// ladder holds the heights a picture is conformed to. A step of about a third
// means that a small change of the layout usually needs no new decoding, and
// that no more than about 1.8 times the pixels needed are kept. Those between,
// 108, 136 and 216, are what five and four rows of 540 lines and five of 1080
// need, which are a rough cut's and a film's.
var ladder = []int{90, 108, 120, 136, 180, 216, 240, 270, 360, 480, 540, 720, 900, 1080, 1440, 2160, 2880, 4320}

// rung returns the height at which a picture of height h is kept so that it can be
// shown at scale (shown pixels to its own): never larger than it is.
func rung(h int, scale float64) int {
	need := math.Min(1, scale) * float64(h)
	for _, r := range ladder {
		if float64(r) >= need && r < h {
			return r
		}
	}
	return even(h)
}

// draftLines is the height from which a rough cut's pictures are decoded
// without H.264's deblocking, which is a fifth of the work. What is smaller
// decodes quickly and may be shared with a finished film.
const draftLines = 720

// closeSeconds is the raster of guide time on which a take is conformed at a
// size above the one it is kept at: a shot's edge may move inside of it.
const closeSeconds = 4

// even returns the even number nearest to n, at least 2.
func even(n int) int { return max(2, layout.CeilEven(n)) }

// kept is a take at a height.
type kept struct {
	take string
	rung int
}

// conform finds what has to be conformed for the film's tiles. Every take that
// the film shows is kept in the size that the grid of all takes needs, over all
// of the film in which it exists, whatever the shots show of it: that serves
// every tile of this size or smaller. What is larger, a close-up, is
// conformed for its shots alone, because of what whole takes in the size of
// the canvas would cost, and is cut at whole closeSeconds of guide time.
func (f *Film) conform(h *arranger, line Timeline) {
	grid := h.gridRungs(line)
	spans := map[kept][]Span{}
	var order []kept
	each := func(do func(t *Tile, n kept, frames Span)) {
		for i := range f.Shots {
			for k := range f.Shots[i].Tiles {
				t := &f.Shots[i].Tiles[k]
				if t.Hole.W == 0 {
					continue
				}
				n := kept{t.Take, rung(h.facts[t.Take].Picture.H, t.scale())}
				whole := exists(*h.facts[t.Take].Picture, line)
				frames := closeUp(Span{t.Shown.From + line.First, t.Shown.To + line.First}, line).Meet(whole)
				if n.rung <= grid[t.Take] {
					n.rung, frames = grid[t.Take], whole
				}
				do(t, n, frames)
			}
		}
	}
	each(func(_ *Tile, n kept, frames Span) {
		if spans[n] == nil {
			order = append(order, n)
		}
		spans[n] = append(spans[n], frames)
	})
	first := map[kept]int{}
	for _, n := range order {
		first[n] = len(f.Conforms)
		pic := *h.facts[n.take].Picture
		w := even(int(math.Round(float64(n.rung) * float64(pic.W) / float64(pic.H))))
		draft := f.Rough && min(pic.W, pic.H) >= draftLines
		cuts := pieceCuts(pic, line.Rate, line.First+line.Frames)
		if f.Quick {
			cuts = nil // little is decoded
		}
		for _, frames := range mergeSpans(spans[n]) {
			for _, piece := range inPieces(frames, cuts) {
				f.Conforms = append(f.Conforms, Conform{Take: n.take, Picture: pic, W: w, H: n.rung,
					Frames: piece, Draft: draft, Keys: f.Quick})
			}
		}
	}
	each(func(t *Tile, n kept, frames Span) {
		for t.Conform = first[n]; f.Conforms[t.Conform].Frames.To <= frames.From; t.Conform++ {
		}
	})
}

// gridRungs returns the height that each take has to be kept at for the grid of all
// takes, whether a shot shows that or not. Where the manifest says in which
// grid the seats were given, the larger tiles of the two count: then somebody
// whom nobody expected may need another row, and the others are large enough.
func (h *arranger) gridRungs(line Timeline) map[string]int {
	rungs := map[string]int{}
	add := func(take string, t Tile) {
		if t.Hole.W > 0 {
			rungs[take] = max(rungs[take], rung(h.facts[take].Picture.H, t.scale()))
		}
	}
	all := shot.Shot{From: 0, To: line.Frames, Show: shot.Tutti, Want: -1}
	for _, t := range h.p.Takes {
		all.Takes = append(all.Takes, t.Name)
	}
	all = h.without(all)
	film := Span{0, line.Frames}
	// What cannot be laid out is told of the shots that show it.
	sheets, _ := h.arrange(all)
	for _, s := range slices.Concat(sheets...) {
		if t, err := h.newTile(all, s.take, s.tile, line, film); err == nil {
			add(s.take, t)
		}
	}
	old := h.pinnedTiles(all)
	for _, t := range h.p.Takes {
		at := h.places[t.Name] - 1
		if at >= len(old) {
			continue
		}
		if tile, err := h.newTile(all, t.Name, old[at], line, film); err == nil {
			add(t.Name, tile)
		}
	}
	return rungs
}

// pinnedTiles returns the tiles of the grid in which the manifest's seats were given,
// none where rows go by anything but seats.
func (h *arranger) pinnedTiles(all shot.Shot) []layout.Rect {
	heavy := slices.ContainsFunc(h.p.Takes, func(t production.Take) bool { return t.Weight > 1 })
	if h.p.Seats == 0 || heavy || h.p.Picture.Rows == production.SectionRows ||
		h.p.Picture.Rows == production.JustifiedRows {
		return nil
	}
	plan, err := h.grid(all, all.Takes, h.p.Seats)
	if err != nil || smallest(plan) < h.want.Canvas.EvenScale(float64(h.p.Picture.SmallestTile)) {
		return nil
	}
	return plan.Tiles
}

// scale returns how large a tile shows its picture, against its own pixels.
func (t Tile) scale() float64 {
	return math.Max(float64(t.Hole.W)/float64(t.Source.W), float64(t.Hole.H)/float64(t.Source.H))
}

// closeUp widens guide frames to whole closeSeconds.
func closeUp(s Span, line Timeline) Span {
	step := float64(line.Rate.Frame(closeSeconds))
	return Span{int(math.Floor(float64(s.From)/step) * step), int(math.Ceil(float64(s.To)/step) * step)}
}

// mergeSpans returns spans that overlap or touch as one, from the first to the last.
func mergeSpans(spans []Span) []Span {
	slices.SortFunc(spans, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	var out []Span
	for _, s := range spans {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}
