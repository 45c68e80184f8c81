package survey

import (
	"math"

	"ripieno/assemble/report"
	"ripieno/mix/audio"
)

// Playing is how a take was played. Values that are not known are null.
type Playing struct {
	LatenessMS *float64     `json:"lateness_ms"` // of the playing against the clap, positive late
	Notes      int          `json:"notes"`       // whose timing was used
	SpreadMS   *float64     `json:"spread_ms"`   // robust standard deviation about the take's own steady timing
	Soft       bool         `json:"soft"`        // notes begin too gradually for the spread to be exact
	Measures   []*float64   `json:"measures_ms"` // how far off the notes of each measure are, root of the mean square
	Cents      *float64     `json:"cents"`       // median of the tuning against the reference, positive sharp
	CentsOff   *float64     `json:"cents_spread"`
	Tones      int          `json:"tones"`        // steady ones
	Score      bool         `json:"score_tuning"` // against the notes of the score
	Missed     []MissedSpan `json:"missed"`
}

// MissedSpan is a run of measures without a sound where one is expected.
type MissedSpan struct {
	From int    `json:"from"`
	To   int    `json:"to"`
	Why  string `json:"why"` // score, part or others
}

// Playing returns how a take was played for --json; nil when it was not measured.
func (s *Survey) Playing(take string, places []report.Place) *Playing {
	r, ok := s.Played[take]
	if !ok {
		return nil
	}
	out := &Playing{
		Notes: r.Timing.Notes, SpreadMS: roundHundredths(1000 * r.Timing.Spread), Soft: r.Timing.Soft,
		Measures: []*float64{},
		Cents:    roundHundredths(r.Tuning.Cents), CentsOff: roundHundredths(r.Tuning.Spread), Tones: r.Tuning.Tones,
		Score:  r.Tuning.Score,
		Missed: []MissedSpan{},
	}
	for _, p := range places {
		if p.LateMS != nil {
			out.LatenessMS = roundHundredths(*p.LateMS) // devices of one player give the same
		}
	}
	for _, m := range r.Measures {
		out.Measures = append(out.Measures, roundHundredths(1000*m.Off))
	}
	for _, m := range r.Missed {
		out.Missed = append(out.Missed, MissedSpan{m.From, m.To, m.Why})
	}
	return out
}

// roundHundredths returns a value to hundredths, nil when it is not finite.
func roundHundredths(v float64) *float64 { return audio.Finite(math.Round(100*v) / 100) }
