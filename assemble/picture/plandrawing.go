package picture

import (
	"fmt"

	"ripieno/assemble/plan"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/card"
	"ripieno/mix/tempo"
)

// PlanDrawing returns the drawing of a film's plan, with musical positions.
func (m *Maker) PlanDrawing(f plan.Film) card.PlanOptions {
	line := m.line
	o := card.PlanOptions{Canvas: f.Canvas, Title: fmt.Sprintf("%s · %s", m.title, f.Name), Fonts: m.assets.Fonts}
	for _, s := range f.Shots {
		from, to := line.Rate.Seconds(s.From+line.First), line.Rate.Seconds(s.To+line.First)
		shot := card.PlanShot{
			Caption: fmt.Sprintf("%s · %s to %s · %.1f s", s.Show, Position(m.tempo, from), Position(m.tempo, to),
				to-from),
			Text: s.Text,
		}
		for _, t := range s.Tiles {
			tile := card.PlanTile{
				Tile: t.Rect, Picture: t.Hole, Seat: t.Seat, Take: t.PublicTake(), Player: t.Player, Part: t.Part,
				Section: t.Section,
			}
			if t.Card {
				tile.Note = Note(t, phrase.Of(phrase.Default))
			}
			shot.Tiles = append(shot.Tiles, tile)
		}
		o.Shots = append(o.Shots, shot)
	}
	return o
}

// Position returns a guide time in the words of the piece: a measure and beat, or
// how far it is outside.
func Position(m *tempo.Map, seconds float64) string {
	const slack = 0.02 // half a frame: a shot begins on a frame, not on a beat
	switch {
	case seconds < m.Start()-slack:
		return fmt.Sprintf("%.1f s before m1", m.Start()-seconds)
	case seconds > m.End()-slack:
		return fmt.Sprintf("%.1f s after the end", max(0, seconds-m.End()))
	}
	pos := m.Position(seconds + slack)
	place := fmt.Sprintf("m%d", pos.Measure)
	if beat := int(pos.Beat); beat > 1 {
		place = fmt.Sprintf("m%d.%d", pos.Measure, beat)
	}
	if page := m.Elsewhere(pos.Measure); page != "" {
		place += " (m" + page + ")"
	}
	return place
}
