package direct

import (
	"math"
	"slices"

	"ripieno/layout/median"
)

// Role is what a part is in a phrase.
type Role string

// The roles. Whoever is none of the first two and plays is a filling voice.
const (
	Rests      Role = ""
	HasMelody  Role = "melody"
	HasBass    Role = "bass"
	HasFilling Role = "fill"
)

// Cast is who plays what: players with their notes, on measures that begin at Starts seconds; the
// last entry is the end of the piece. The zero value knows nobody.
type Cast struct {
	Players []Player
	Starts  []float64
}

// Turn is a phrase with what every player is in it.
type Turn struct {
	From, To float64 // seconds on the clock of the measures
	Roles    []Role  // of the players, in their order
}

// The bass is the lowest of several voices, and whoever is within a few semitones of it
// (common practice; the bounds have no source).
const (
	bassWithin = 3.0  // semitones
	bassBelow  = 60.0 // MIDI: what lies above middle C gives no bass
	bassApart  = 5.0  // semitones that the highest voice lies over it, at least
)

// Roles returns who has melody, bass and filling in every phrase of a piece whose measure
// i+1 begins at starts[i] seconds; the last entry is its end. Nobody has the melody where
// several could, as [Melody] has it. Players with notes that are one another's are one
// voice to it: give them the same Voice.
func Roles(players []Player, starts []float64) []Turn {
	var list []Turn
	for _, p := range divide(players, starts) {
		t := Turn{From: starts[p.from-1], To: starts[p.to-1], Roles: make([]Role, len(players))}
		parts, voices := voicesOf(players)
		tune := Melody(parts, t.From, t.To)
		low := bassOf(parts, t.From, t.To)
		for i, x := range players {
			switch {
			case !x.plays(p):
			case voices[i] == tune:
				t.Roles[i] = HasMelody
			case slices.Contains(low, voices[i]):
				t.Roles[i] = HasBass
			default:
				t.Roles[i] = HasFilling
			}
		}
		list = append(list, t)
	}
	return list
}

// voicesOf returns the notes of every voice, those of its first player who has some, and
// which voice each player is of.
func voicesOf(players []Player) (parts [][]Note, voices []int) {
	known := map[string]int{}
	for _, x := range players {
		at, ok := known[x.Voice]
		if !ok || x.Voice == "" {
			at = len(parts)
			known[x.Voice] = at
			parts = append(parts, nil)
		}
		if len(parts[at]) == 0 {
			parts[at] = x.Notes
		}
		voices = append(voices, at)
	}
	return parts, voices
}

// bassOf returns the parts that give the bass from one time to another; none where all lie
// together or high.
func bassOf(parts [][]Note, from, to float64) (low []int) {
	pitch := make([]float64, len(parts))
	lowest, highest := math.Inf(1), math.Inf(-1)
	for i, part := range parts {
		pitch[i] = math.Inf(1)
		var pitches []float64
		for _, n := range within(part, from, to) {
			if n.Pitch > 0 {
				pitches = append(pitches, n.Pitch)
			}
		}
		if len(pitches) > 0 {
			pitch[i] = median.Of(pitches)
			lowest, highest = min(lowest, pitch[i]), max(highest, pitch[i])
		}
	}
	if !(lowest < bassBelow && highest-lowest >= bassApart) {
		return nil
	}
	for i, p := range pitch {
		if p <= lowest+bassWithin && p < bassBelow {
			low = append(low, i)
		}
	}
	return low
}
