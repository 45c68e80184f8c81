package survey

import (
	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/mix/tempo"
)

// Page returns what the page says of the production; its takes and its film are
// still to be added.
func Page(man *production.Production, plays bool) report.Review {
	end := man.Tempo.End()
	r := report.Review{
		Words: phrase.Of(man.Language), Title: man.Title, Composer: man.Composer, Ensemble: man.Ensemble,
		Due: man.CallSheet.Due, DueDay: man.CallSheet.DueDay, DueClock: man.CallSheet.DueClock,
		SendTo: man.CallSheet.SendTo, From: man.CallSheet.Contact,
		Span:  [2]float64{min(0, man.Tempo.Start()), end + man.Picture.Tail},
		Start: man.Tempo.Start(), Playing: plays, PitchHz: man.Guide.PitchHz, Withheld: countWithheld(man),
		Score: man.ScoreRemarks(),
	}
	for m := 1; m <= man.Tempo.Measures()+1; m++ {
		if at, err := man.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1}); err == nil {
			r.Bars = append(r.Bars, at)
		}
	}
	for m := 1; m <= man.Tempo.Measures(); m++ {
		r.Names = append(r.Names, man.Tempo.Label(m))
	}
	return r
}

// countWithheld counts the takes of which nothing may be made.
func countWithheld(man *production.Production) int {
	n := 0
	for _, t := range man.Takes {
		if t.IsWithheld() {
			n++
		}
	}
	return n
}
