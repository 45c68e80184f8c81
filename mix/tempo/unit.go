package tempo

import (
	"fmt"
	"strings"
)

// Unit is a note value that a tempo counts, as a fraction of a whole note.
// The zero Unit stands for the meter's own beat.
type Unit struct{ Num, Den int }

// plainUnits are the undotted note values, longest first, with the names used
// in America and in Britain.
var plainUnits = []struct {
	name, british string
	unit          Unit
}{
	{"whole", "semibreve", Unit{1, 1}},
	{"half", "minim", Unit{1, 2}},
	{"quarter", "crotchet", Unit{1, 4}},
	{"eighth", "quaver", Unit{1, 8}},
	{"sixteenth", "semiquaver", Unit{1, 16}},
	{"thirty-second", "demisemiquaver", Unit{1, 32}},
}

// ParseUnit reads "quarter", "half", "eighth", "dotted-quarter",
// "double-dotted-half" and so on; British names (crotchet, minim, quaver) are
// understood, and a space serves as well as a hyphen.
func ParseUnit(s string) (Unit, error) {
	text := strings.ReplaceAll(strings.TrimSpace(s), " ", "-")
	dots := 0
	if rest, ok := strings.CutPrefix(text, "double-dotted-"); ok {
		text, dots = rest, 2
	} else if rest, ok := strings.CutPrefix(text, "dotted-"); ok {
		text, dots = rest, 1
	}
	for _, p := range plainUnits {
		if text == p.name || text == p.british {
			return p.unit.Dotted(dots), nil
		}
	}
	return Unit{}, fmt.Errorf("note value %q is not one of whole, half, quarter, eighth, sixteenth, with \"dotted-\" "+
		"before it if need be", s)
}

// Dotted returns u with that many dots; each adds half of what the one before
// added.
func (u Unit) Dotted(dots int) Unit {
	if dots <= 0 {
		return u
	}
	return Unit{u.Num * (1<<(dots+1) - 1), u.Den << dots}.reduced()
}

// IsZero reports whether u is the meter's own beat.
func (u Unit) IsZero() bool { return u == Unit{} }

// Quarters returns the length of u in quarter notes; 0 for the zero Unit.
func (u Unit) Quarters() float64 {
	if u.Den == 0 {
		return 0
	}
	return 4 * float64(u.Num) / float64(u.Den)
}

// String returns u as [ParseUnit] reads it, or a fraction when it has no name.
func (u Unit) String() string {
	for _, p := range plainUnits {
		for dots, prefix := range []string{"", "dotted-", "double-dotted-"} {
			if p.unit.Dotted(dots) == u {
				return prefix + p.name
			}
		}
	}
	return fmt.Sprintf("%d/%d", u.Num, u.Den)
}

// reduced returns u without common factors of two.
func (u Unit) reduced() Unit {
	for u.Num%2 == 0 && u.Den%2 == 0 && u.Num > 0 {
		u.Num, u.Den = u.Num/2, u.Den/2
	}
	return u
}

// valid reports whether u is a note value between a 256th and sixteen whole notes.
func (u Unit) valid() bool {
	return u.Num > 0 && u.Den > 0 && u.Quarters() <= 64 && u.Quarters() >= 1.0/64
}
