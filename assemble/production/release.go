package production

import (
	"slices"
	"strings"
	"unicode"
)

// ShowsPicture reports whether the take's picture may be opened to make
// something of it. A missing release does not forbid it: rough cuts are made
// before the answers are in.
func (t Take) ShowsPicture() bool {
	return t.Release == ReleaseYes || t.Release == ReleaseMissing
}

// IsWithheld reports whether nothing of the take may go into anything that is
// made, so that its files are not even opened.
func (t Take) IsWithheld() bool { return t.Release == ReleaseNo }

// PublicName returns the player's name as films and pages for all to read show it:
// "" where the player wants it hidden or has agreed to nothing.
func (t Take) PublicName() string {
	if t.HideName || t.Release == ReleaseNo {
		return ""
	}
	return t.Player
}

// leastTelling is the shortest word that says who somebody is, in bytes: two
// letters of an alphabet are an initial or a particle, one character of Chinese
// is a name.
const leastTelling = 3

// TellsName reports whether the name of a file or of a take says who the player
// is: a word of their name, as in "mara-2.mov", or the whole of it in one word.
// Words that the part and the section have as well tell nothing.
func (t Take) TellsName(of string) bool {
	words := func(text string) []string {
		return strings.FieldsFunc(Fold(text), func(r rune) bool { return !unicode.IsLetter(r) })
	}
	known := append(words(t.Part), words(t.Section)...)
	name, file := words(t.Player), words(of)
	for _, w := range name {
		if len(w) >= leastTelling && slices.Contains(file, w) && !slices.Contains(known, w) {
			return true
		}
	}
	return len(name) > 1 && strings.Contains(strings.Join(file, ""), strings.Join(name, ""))
}
