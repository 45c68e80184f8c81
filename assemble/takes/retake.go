package takes

import (
	"math"
	"slices"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// A re-take is a take that was recorded to a guide of a part of the piece. That
// guide begins with a count-in and a cue of its own, so the recording is
// placed on that guide's clock and then moved to guide time.

// guideOf returns the tempo map a take was recorded to and what has to be added
// to its time for guide time.
func guideOf(man *production.Production, guide string) (m *tempo.Map, shift float64) {
	if v := man.Guide.Variant(guide); v != nil && v.To > 0 {
		return v.Tempo, v.Shift
	}
	return man.Tempo, 0
}

// guideOfTake returns guideOf for a take's name.
func guideOfTake(man *production.Production, name string) (m *tempo.Map, shift float64) {
	for _, t := range man.Takes {
		if t.Name == name {
			return guideOf(man, t.Guide)
		}
	}
	return man.Tempo, 0
}

// placeAll places recordings on guide time: those recorded to one guide all
// together, since the cue and the measures of another say nothing about them.
func placeAll(man *production.Production, recs []align.Recording, pairs []align.Pair) map[string]align.Placement {
	placed := map[string]align.Placement{}
	for _, g := range byGuide(man, recs) {
		for _, pl := range align.Place(g.tempo, g.recs, pairs) {
			pl.Offset += g.shift
			pl.CueOffset += g.shift
			pl.ClickOffset += g.shift
			for i := range pl.Candidates {
				pl.Candidates[i].Offset += g.shift
			}
			placed[pl.Name] = pl
		}
	}
	return placed
}

// findBreaks looks for breaks in recordings that lie where placed says.
func findBreaks(man *production.Production, recs []align.Recording, placed map[string]align.Placement,
	hints map[string][]align.Hint) []align.Break {
	var all []align.Break
	for _, g := range byGuide(man, recs) {
		for _, b := range align.FindBreaks(g.tempo, g.recs, g.places(placed), hints) {
			b.Offset += g.shift
			b.Guide += g.shift
			b.From += g.shift
			b.To += g.shift
			all = append(all, b)
		}
	}
	return all
}

// guided is recordings that were made to one guide, on its time.
type guided struct {
	tempo *tempo.Map
	shift float64 // to be added for guide time
	recs  []align.Recording
}

// byGuide returns recordings by the guides they were made to.
func byGuide(man *production.Production, recs []align.Recording) []guided {
	var guides []*tempo.Map
	groups := map[*tempo.Map][]align.Recording{}
	shifts := map[*tempo.Map]float64{}
	for _, r := range recs {
		m, shift := guideOfTake(man, r.Take)
		if groups[m] == nil {
			guides, shifts[m] = append(guides, m), shift
		}
		if r.Offset != nil { // written in guide time
			at := *r.Offset - shift
			r.Offset = &at
		}
		r.Onsets = slices.Clone(r.Onsets)
		for i := range r.Onsets { // likewise
			r.Onsets[i] -= shift
		}
		groups[m] = append(groups[m], r)
	}
	var out []guided
	for _, m := range guides {
		out = append(out, guided{m, shifts[m], groups[m]})
	}
	return out
}

// Piece returns what a take's recordings are expected to hold, in guide time.
func Piece(man *production.Production, t *production.Take) *intake.Piece {
	m, shift := guideOf(man, t.Guide)
	piece := &intake.Piece{Cue: m.Cue() + shift, Start: m.Start() + shift, End: m.End() + shift}
	if math.IsNaN(piece.Cue) {
		piece.Cue = piece.Start
	}
	piece.BPM = m.SteadyBPM()
	return piece
}
