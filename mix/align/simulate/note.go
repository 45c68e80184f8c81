package simulate

// Note is one note of a part, as written and as played. What is played is
// heard to begin at Played, some 10 dB below its peak; Meant is when the player wanted that to be.
// The two differ by what one note of an instrument speaks later than another.
type Note struct {
	Written, Meant, Played float64 // guide seconds
	MIDI                   int
}

// Notes returns the notes of the take's player, in order of writing, whether or
// not the file holds them all.
func (t *Take) Notes() []Note { return t.p.notes }

// Event is a note for a synthesiser: of the part, of warming up, of a false
// start, or the cue.
type Event struct {
	At     float64 // guide seconds, before 0 too: 10 dB below its peak
	Length float64 // seconds
	MIDI   int
	Loud   float64 // 0..1
}

// Events returns all notes that the take's player plays, in no order.
func (t *Take) Events() []Event {
	var out []Event
	for _, s := range t.p.sounds {
		if s.kind == "note" {
			out = append(out, Event{At: s.at, Length: s.length, MIDI: s.pitch, Loud: min(1, s.loud)})
		}
	}
	return out
}
