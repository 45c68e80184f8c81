package manifest

import (
	"fmt"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// keyWord is the note of a drone that goes with the keys of the score.
const keyWord = "key"

// lowestKeyNote is the lowest note of such a drone, G2: tonics lie from there to F#3,
// where cellos and men's voices find them and small headphones still have them.
const lowestKeyNote = 43

// inKeys writes the drones that go with the keys of the score out: one for every key,
// silent where no part sounds, until the next drone of the list.
func (m mapping) inKeys(list []production.Drone, music *tempo.Map, paper *score.Score) []production.Drone {
	var all []production.Drone
	for i, d := range list {
		if d.Note != keyWord {
			all = append(all, d)
			continue
		}
		if paper == nil || len(paper.Keys) == 0 {
			m.at(m.vals["drone"], "write a note such as D3", "a drone with note: key, and no score that gives a key")
			return nil
		}
		until := music.End()
		if i+1 < len(list) {
			until = list[i+1].From.Seconds
		}
		all = append(all, keyDrones(d, until, music, paper.Keys)...)
	}
	return all
}

// keyDrones writes one drone out until a guide time.
func keyDrones(d production.Drone, until float64, music *tempo.Map, keys []score.KeySpan) []production.Drone {
	begins := d.From.Seconds
	d.Note = keyNote(keys[0].Key)
	all := []production.Drone{d}
	for _, k := range keys {
		at, err := music.Seconds(tempo.Position{Measure: k.Measure, Beat: 1})
		if err != nil || at >= until {
			break // the score has only measures of the map
		}
		next := d
		next.From.Text, next.From.Seconds = fmt.Sprintf("m%d", k.Measure), at
		next.CountIn = false
		if next.Note = keyNote(k.Key); k.Rest {
			next.Note, next.Fifth, next.EqualFifth, next.Octave = "", false, false, false
		}
		last := &all[len(all)-1]
		switch {
		case at <= begins && len(all) == 1: // in force where the drone begins
			next.From, next.CountIn = d.From, d.CountIn
			*last = next
		case next.Note != last.Note:
			all = append(all, next)
		}
	}
	return all
}

// keyNote returns the tonic of a key with its octave.
func keyNote(k score.Key) string {
	names := [12]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}
	if k.Fifths < 0 {
		names = [12]string{"C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"}
	}
	note := lowestKeyNote + (k.Tonic()-lowestKeyNote%12+12)%12
	return fmt.Sprintf("%s%d", names[note%12], note/12-1)
}
