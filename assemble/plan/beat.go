package plan

import (
	"fmt"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// turns divides a span among sheets that follow each other, in nearly equal parts. They
// change on beats where the film cuts on beats and the parts are longer than those.
func (h *arranger) turns(s Span, n int, line Timeline) []Span {
	spans := make([]Span, n)
	for i := range spans {
		spans[i] = piece(s, i, n)
	}
	pic := h.p.Picture
	if pic.Cuts == production.CutExact || pic.Cuts == "" && pic.Aspect.Shapes == (layout.Shapes{}) {
		return spans
	}
	for i := 1; i < n; i++ {
		guide := line.Rate.Seconds(spans[i].From + line.First)
		if at := line.Output(h.p.Tempo.NearestBeat(guide)); at > spans[i-1].From && at < spans[i].To {
			spans[i-1].To, spans[i].From = at, at
		}
	}
	return spans
}

// entrances returns a shot of everybody as shots in which the tiles come one group after
// another, each complete on its beat; only the shot when all come at once.
func (h *arranger) entrances(s shot.Shot, whole Shot, line Timeline) ([]Shot, error) {
	if s.Want < 0 || s.Show != shot.Tutti || h.p.Shots[s.Want].Entrances.Beats == 0 {
		return []Shot{whole}, nil
	}
	want := h.p.Shots[s.Want].Entrances
	groups := h.groups(whole.Tiles, want.By)
	begin := line.Rate.Seconds(whole.From + line.First)
	var parts []Shot
	var tiles []Tile
	for i, group := range groups {
		out := whole
		if i > 0 {
			out.From = line.Output(h.p.Tempo.Shift(begin, want.Beats*float64(i)))
			before := &parts[i-1]
			// They come in half the time that there is, and in no more than a beat.
			soft := line.Output(h.p.Tempo.Shift(begin, want.Beats*float64(i)-min(want.Beats/2, 1)))
			if out.From >= whole.To || soft <= before.From {
				return nil, fault.At(fault.Manifest, want.Mark,
					fmt.Sprintf("the shot is too short for %d entrances, %g beats apart", len(groups), want.Beats),
					"fewer beats, a longer shot, or by: section")
			}
			before.To, before.LabelsTo = out.From, min(before.LabelsTo, out.From)
			out.Into = Transition{Kind: production.Dissolve, Frames: out.From - soft}
			out.LabelsTo = max(whole.LabelsTo, out.From)
		}
		tiles = append(tiles[:len(tiles):len(tiles)], group...)
		out.Tiles = shownFrom(tiles, out.From-out.Into.Frames)
		parts = append(parts, out)
	}
	return parts, nil
}

// shownFrom returns tiles without what they show before a frame of the film.
func shownFrom(tiles []Tile, from int) []Tile {
	out := make([]Tile, len(tiles))
	for i, t := range tiles {
		if t.Shown = t.Shown.Meet(Span{from, t.Shown.To}); t.Shown.Len() == 0 {
			t.Shown, t.Hole, t.Source = Span{from, from}, layout.Rect{}, layout.Rect{}
		}
		out[i] = t
	}
	return out
}

// groups returns tiles in the groups that come together, in the order in which they
// come: sections as the manifest lists them, those of none last; players by their seats.
func (h *arranger) groups(tiles []Tile, by production.EntranceKind) (groups [][]Tile) {
	if by == production.ByPlayer {
		for _, t := range tiles {
			groups = append(groups, []Tile{t})
		}
		return groups
	}
	names := make([]string, 0, len(h.p.Sections)+1)
	for _, s := range h.p.Sections {
		names = append(names, s.Name)
	}
	of := map[string][]Tile{}
	var others []Tile
	for _, t := range tiles {
		if _, listed := h.section[t.Section]; listed {
			of[t.Section] = append(of[t.Section], t)
		} else {
			others = append(others, t)
		}
	}
	for _, name := range names {
		if len(of[name]) > 0 {
			groups = append(groups, of[name])
		}
	}
	if len(others) > 0 {
		groups = append(groups, others)
	}
	return groups
}
