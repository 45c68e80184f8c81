package production

import (
	"cmp"
	"regexp"
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

// leastLoose is the shortest word of a name that also tells in small letters, in bytes:
// shorter ones, such as Will and Rose, are words of the language too often.
const leastLoose = 5

var wordForm = regexp.MustCompile(`[\pL\pM]+`)

// Discreet returns a text that somebody has written about the takes without the names
// that are not to be shown, whole or a word of them: where a name is hidden the part
// stands in its place, and dots for somebody who agreed to nothing. Words that the part
// and the section have as well stay.
func (p *Production) Discreet(text string) string {
	for _, t := range p.Takes {
		if t.Player == "" || t.PublicName() != "" {
			continue
		}
		instead := "…"
		if !t.IsWithheld() {
			instead = cmp.Or(t.Part, t.Name)
		}
		name := wordForm.FindAllString(t.Player, -1)
		at, done, out := wordForm.FindAllStringIndex(text, -1), 0, ""
		for i := 0; i < len(at); i++ {
			n := t.countCalled(text, at[i:], name)
			if n > 0 {
				out += text[done:at[i][0]] + instead
				i += n - 1
				done = at[i][1]
			}
		}
		text = out + text[done:]
	}
	return text
}

// countCalled returns how many of the words of a text that lie at at are the player's
// name: all of it, a word of it that tells, or 0.
func (t Take) countCalled(text string, at [][]int, name []string) int {
	word := func(i int) string { return text[at[i][0]:at[i][1]] }
	n := 0
	for n < min(len(name), len(at)) && Fold(word(n)) == Fold(name[n]) {
		n++
	}
	if n > 0 && n == len(name) {
		return n
	}
	known := wordForm.FindAllString(Fold(t.Part+" "+t.Section), -1)
	for _, w := range name {
		same := word(0) == w || len(w) >= leastLoose && Fold(word(0)) == Fold(w)
		if same && len(w) >= leastTelling && !slices.Contains(known, Fold(w)) {
			return 1
		}
	}
	return 0
}
