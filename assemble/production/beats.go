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

// Describe says, lower case and in sentences that phrase knows, what the tempo was made
// from and what a person can do about it.
func (b *Beats) Describe() []string {
	if !b.Recording {
		return append([]string{fmt.Sprintf("the tempo is that of %d beats in %s", b.Count, b.List)}, b.Remarks...)
	}
	all := []string{fmt.Sprintf("the tempo is that of %d beats found in %s: "+
		"move, add or delete lines in %s where the guide is off", b.Count, b.File, b.List)}
	if b.Own > 0 {
		all = append(all, fmt.Sprintf("beats put right by you: %d", b.Own))
	}
	if b.Weak > 0 {
		all = append(all, fmt.Sprintf("beats at which hardly anything begins (? in the list): %d", b.Weak))
	}
	return append(all, b.Remarks...)
}
