package demo

import (
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// Measured is where sync placed a recording.
type Measured struct {
	Take, Role string
	Clock      audio.Clock
}

// TruthRow compares what sync measured for one recording with what the demo
// knows.
type TruthRow struct {
	Take string `json:"take"`
	Role string `json:"role"`
	// ErrorMS is how late the player's mean playing is heard after sync; negative:
	// early. 0 is perfect.
	ErrorMS       float64 `json:"error_ms"`
	DriftErrorPPM float64 `json:"drift_error_ppm"`
	ClapErrorMS   float64 `json:"clap_error_ms"` // how late the player clapped
	BiasMS        float64 `json:"bias_ms"`       // how late the player's notes start
}

// Compare holds what sync measured against the truth, at a guide time in the
// middle of the piece, and returns the median and the largest of the errors in
// milliseconds. Sync puts a player's mean playing, as it is heard, on the beat, so the
// truth for a player who is always late, or whose bow is slow to speak, is not where the
// clock of the file was but where what is heard belongs.
func (t Truth) Compare(found []Measured, middle float64) (rows []TruthRow, median, worst float64) {
	var all []float64
	for _, f := range found {
		file, ok := t.File(f.Take, f.Role)
		player, known := t.Player(f.Take)
		if !ok || !known {
			continue
		}
		guide := f.Clock.Guide(file.Clock().File(middle))
		row := TruthRow{
			Take: f.Take, Role: f.Role, ClapErrorMS: player.ClapErrorMS, BiasMS: player.BiasMS,
			ErrorMS:       (guide-middle)*1000 + player.BiasMS + player.HeardMS,
			DriftErrorPPM: float64(f.Clock.Drift) - file.DriftPPM,
		}
		rows, all = append(rows, row), append(all, math.Abs(row.ErrorMS))
	}
	if len(all) > 0 {
		median, worst = robust.Quantile(all, 0.5), slices.Max(all)
	}
	return rows, median, worst
}
