package takes

import (
	"fmt"

	"ripieno/assemble/fault"
)

// What is made may be passed on, so nothing of a take that is withheld, and no
// name that its player wants hidden, stands in any file. What is printed on the
// terminal of the person who does the work names everybody: they have to act.

// PublicFile returns how what is made calls a file of the take: by its path or,
// where the player's name is hidden, by what it is, for people name files after
// themselves.
func (t Take) PublicFile(role Role, path string) string {
	if !t.HideName {
		return path
	}
	if role == Audio {
		return "sound of " + t.Name
	}
	return "video of " + t.Name
}

// MayBeNamed reports whether the take has no name that has to be kept out of a
// path.
func (t Take) MayBeNamed(path string) bool { return !t.HideName || !t.TellsName(path) }

// HiddenName returns the fault of a file that a hand-over cannot refer to,
// because its name is that of somebody who does not want to be named.
func (t Take) HiddenName(r *Recording) Fault {
	return NewFault(t.Name, KindRelease, fault.At(fault.Decision, r.File.Mark,
		fmt.Sprintf("%s names the player of take %q, whose name is not to be shown, so the hand-over does not refer "+
			"to it; "+
			"the stem stands for its sound", r.File.Path, t.Name),
		"rename the file and write the new name here"))
}
