package guide

import (
	"math"

	"ripieno/assemble/production"
	"ripieno/assemble/report"
)

// Sheet returns what a call sheet says of a guide: of a variant, or with nil of
// the one all play to.
func Sheet(man *production.Production, v *production.Variant) report.Guide {
	g := report.Guide{
		File: Name(""), Tempo: man.Tempo, Piece: man.Tempo, First: 1,
		PitchHz: man.Guide.PitchHz, Tail: man.Guide.Tail,
	}
	if c := man.Guide.Conductor; c != nil {
		g.Conducted = c.ShowsPicture()
	}
	sound := man.Guide.GuideSound
	if v != nil {
		sound = v.GuideSound
		g.File, g.Own, g.Tempo, g.Others = Name(v.Name), true, v.Tempo, v.With != ""
		if v.To > 0 {
			g.First = v.From
		}
	}
	g.Subdivided, g.CountTones = sound.Subdivisions > 1 || sound.Subdivisions < 0, sound.CountTones
	if math.IsInf(sound.DroneDB, -1) {
		return g
	}
	for _, n := range man.Guide.Tuning {
		g.Tuning = append(g.Tuning, n.Note)
	}
	for _, d := range Drones(man, v) {
		g.Drones = append(g.Drones, report.Tone{
			Note: d.Note, Fifth: d.Fifth, CountIn: d.Begins <= g.Tempo.Spec().CountIn.Lead && g.Tempo.Start() > 0,
			Measure: max(g.Tempo.Position(d.Begins).Measure, 1) + g.First - 1,
		})
	}
	return g
}
