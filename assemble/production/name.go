package production

import (
	"regexp"
	"strings"
	"unicode"
)

// Bounds of a name that becomes part of a file name.
const (
	MaxName = 64 // characters
	// MaxNameBytes leaves room for what else is in a file's name, also while it
	// is being written: disks take 255 bytes.
	MaxNameBytes = 192
)

// Slug returns the nearest name for a take or deliverable that a text gives:
// small letters, digits and dashes. It is "" when the text has neither.
func Slug(text string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(text) {
		switch {
		case unicode.IsLetter(r) || unicode.IsNumber(r):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-") && !unicode.IsMark(r):
			b.WriteByte('-')
		}
	}
	s := []rune(strings.Trim(b.String(), "-"))
	s = s[:min(len(s), MaxName)]
	for len(string(s)) > MaxNameBytes {
		s = s[:len(s)-1]
	}
	name := strings.Trim(string(s), "-")
	if IsReserved(name) {
		name += "-1"
	}
	return name
}

// reserved are names that Windows keeps for devices, in any folder and with any
// ending (Microsoft, "Naming Files, Paths, and Namespaces").
var reserved = regexp.MustCompile(`(?i)^(CON|PRN|AUX|NUL|(COM|LPT)[0-9¹²³])(\.|$)`)

// IsReserved reports whether a file of that name cannot be on Windows. Productions
// go from one machine to another, so no system takes one.
func IsReserved(name string) bool { return reserved.MatchString(name) }

// Fold returns a name for comparison without regard to capitals.
func Fold(s string) string { return strings.ToLower(strings.ToUpper(s)) }
