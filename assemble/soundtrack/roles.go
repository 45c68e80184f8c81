package soundtrack

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ripieno/layout/direct"
	"ripieno/mix/audio"
	"ripieno/mix/mask"
	"ripieno/mix/tempo"
)

// RoleResult is a stretch of guide time in which a take has one role. Fields are added, never
// renamed.
type RoleResult struct {
	Role direct.Role `json:"role"` // melody, bass, fill
	HiddenSpan
}

// roles returns the roles of every strip, phrases with the same role as one.
func (t *Track) roles(who direct.Cast, music *tempo.Map) [][]RoleResult {
	out := make([][]RoleResult, len(t.parts))
	for _, turn := range direct.Roles(who.Players, who.Starts) {
		for k, x := range who.Players {
			i := slices.IndexFunc(t.parts, func(p part) bool { return p.Take == x.Take })
			if i < 0 || turn.Roles[k] == direct.Rests {
				continue
			}
			one := RoleResult{turn.Roles[k], spanOf(music, milli(turn.From), milli(turn.To))}
			if n := len(out[i]); n > 0 && out[i][n-1].Role == one.Role && out[i][n-1].To == one.From {
				one.HiddenSpan = spanOf(music, out[i][n-1].From, one.To)
				out[i] = out[i][:n-1]
			}
			out[i] = append(out[i], one)
		}
	}
	return out
}

// inside is how far from a bar line it is clear which measure is meant, seconds.
const inside = 0.01

// milli rounds seconds to a thousandth.
func milli(seconds float64) float64 { return math.Round(seconds*1000) / 1000 }

// melodies returns the guide frames in which each strip has the melody.
func melodies(roles [][]RoleResult) [][]mask.Span {
	out := make([][]mask.Span, len(roles))
	for i, list := range roles {
		for _, r := range list {
			if r.Role == direct.HasMelody {
				out[i] = append(out[i], mask.Span{From: audio.FramesAt(r.From), To: audio.FramesAt(r.To)})
			}
		}
	}
	return out
}

// mostSpans is how many stretches the table of strips lists.
const mostSpans = 3

// roleWords says for the table of strips where a take has the melody.
func roleWords(roles []RoleResult) []string {
	var spans []string
	for _, r := range roles {
		if r.Role == direct.HasMelody {
			spans = append(spans, r.Measures)
		}
	}
	more := ""
	if n := len(spans); n > mostSpans {
		spans, more = spans[:mostSpans], fmt.Sprintf(" and %d more", n-mostSpans)
	}
	if len(spans) == 0 {
		return nil
	}
	return []string{"melody in " + strings.Join(spans, ", ") + more}
}

// Whoever has the melody is heard for less than tuneHidden of it when that is worth saying:
// sooner than of others.
const tuneHidden = 0.25

// tuneWords says for the table of strips that a melody is hidden.
func (r *HiddenResult) tuneWords() []string {
	if !r.worthSaying(tuneHidden) {
		return nil
	}
	return []string{fmt.Sprintf("its melody is hidden by the others for %.0f %%%s; gain: %+.1f would bring it out",
		100*r.Share, r.whereWords(), r.Lift)}
}
