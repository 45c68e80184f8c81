package takes

import (
	"errors"
	"fmt"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// Kind says what is the matter with a take.
type Kind string

// The kinds.
const (
	KindMissing    Kind = "missing"
	KindUnreadable Kind = "unreadable"
	KindUnplaced   Kind = "unplaced"
	KindShort      Kind = "short"
	KindRejected   Kind = "rejected"
	KindRelease    Kind = "release"
)

// Fault is a take that could not be used, in words for people.
type Fault struct {
	Take string `json:"take"`
	What string `json:"what"`
	Hint string `json:"hint,omitempty"`
	Kind Kind   `json:"kind"`
	// Asks says that a person has to say where the take lies, Choice that there are
	// places to choose from.
	Asks, Choice bool `json:"-"`
}

// NewFault returns what is wrong with a take in the words of its error.
func NewFault(take string, kind Kind, err error) Fault {
	b := Fault{Take: take, What: err.Error(), Kind: kind}
	var f *fault.Fault
	if errors.As(err, &f) {
		b.What, b.Hint = f.Error(), f.Hint
	}
	return b
}

// NotIn returns the fault of a take that is still expected.
func NotIn(t production.Take) Fault {
	return Fault{
		Take: t.Name, Kind: KindMissing, What: fmt.Sprintf("take %q is not in yet", t.Name),
		Hint: "its seat is kept; when it arrives, write video: {file: " + filepath.ToSlash(filepath.Join("intake",
			t.Name+".mp4")) + "} in place of expected: true",
	}
}
