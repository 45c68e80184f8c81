package simulate

// Note is one note of a part, as written and as played.
type Note struct {
	Written, Played float64 // guide seconds
	MIDI            int
}

// Notes are the notes of the take's player, in order of writing, whether or
// not the file holds them all.
func (t *Take) Notes() []Note { return t.p.notes }
