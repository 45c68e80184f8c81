package production

import "fmt"

// Beats are the beats that a tempo map was made from, instead of tempos: of a recording, or
// tapped.
type Beats struct {
	File      string   // as tempo: from: names it
	List      string   // the list that was read: File itself, or that of what was found in a recording
	Recording bool     // File is a recording, and the list was found in it
	Count     int      // how many were used
	Own       int      // of them were written or moved by a person
	Weak      int      // of those found have hardly any onset
	Offset    float64  // guide time in seconds at File's time zero
	Remarks   []string // what a person should know
}

// Describe says in a sentence, lower case, what the tempo was made from.
func (b *Beats) Describe() string {
	if !b.Recording {
		return fmt.Sprintf("the tempo is that of %d beats in %s", b.Count, b.List)
	}
	s := fmt.Sprintf("the tempo is that of %d beats found in %s", b.Count, b.File)
	switch b.Own {
	case 0:
	case 1:
		s += ", 1 of them put right by you"
	default:
		s += fmt.Sprintf(", %d of them put right by you", b.Own)
	}
	if b.Weak > 0 {
		s += fmt.Sprintf("; at %d hardly anything begins (? in the list)", b.Weak)
	}
	return s + fmt.Sprintf("; listen to the guide, and move, add or delete lines in %s where it is off", b.List)
}
