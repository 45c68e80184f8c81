// Package fault is the error a person can act on: where it is, what is wrong
// and how to mend it. Everything else that goes wrong is a bug and keeps its
// chain of causes.
//
// A fault prints as two lines, lower case, user values quoted with %q:
//
//	production.yaml:12:5: unknown key "plyer"
//	  hint: did you mean "player"?
package fault

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// Kind decides the exit code of the program.
type Kind int

// The kinds, each with the exit code of the table in the README.
const (
	Failed   Kind = 1 // the work could not be done
	Manifest Kind = 2 // usage, settings or production.yaml
	Media    Kind = 3 // a media file is unreadable or was refused
	FFmpeg   Kind = 4 // ffmpeg is missing or failed
	Decision Kind = 5 // done, but some take needs a person's decision
)

// ExitCode returns the process exit code for k.
func (k Kind) ExitCode() int { return int(k) }

// Mark is a place in a text file. Line and Column count from 1; 0 means
// unknown.
type Mark struct {
	File         string
	Line, Column int
}

// String returns file:line:column without the parts that are unknown.
func (m Mark) String() string {
	switch {
	case m.Line == 0:
		return m.File
	case m.Column == 0:
		return fmt.Sprintf("%s:%d", m.File, m.Line)
	}
	return fmt.Sprintf("%s:%d:%d", m.File, m.Line, m.Column)
}

// Fault is one thing a person can mend.
type Fault struct {
	Kind  Kind
	Where string // a Mark, a file or a take; may be empty
	What  string // lower case, no full stop
	Hint  string // how to mend it; may be empty
	Cause error  // what lies beneath; may be nil
	mark  Mark
}

// New returns a fault at a named place.
func New(k Kind, where, what, hint string) *Fault {
	return &Fault{Kind: k, Where: where, What: what, Hint: hint}
}

// At returns a fault at a place in a text file.
func At(k Kind, m Mark, what, hint string) *Fault {
	return &Fault{Kind: k, Where: m.String(), What: what, Hint: hint, mark: m}
}

// Because sets the cause and returns f.
func (f *Fault) Because(err error) *Fault { f.Cause = err; return f }

// Error returns "where: what: cause"; the hint is printed by [Format].
func (f *Fault) Error() string {
	s := f.What
	if f.Where != "" {
		s = f.Where + ": " + s
	}
	if f.Cause != nil {
		s += ": " + f.Cause.Error()
	}
	return s
}

// Unwrap returns the cause.
func (f *Fault) Unwrap() error { return f.Cause }

// List is several faults found in one pass.
type List []*Fault

// Add appends f when it is not nil.
func (l *List) Add(f *Fault) {
	if f != nil {
		*l = append(*l, f)
	}
}

// Err returns nil for an empty list, and the list in order of place otherwise.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	sort.SliceStable(l, func(i, j int) bool {
		a, b := l[i].mark, l[j].mark
		if a.File != b.File {
			return a.File < b.File
		}
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Column < b.Column
	})
	return l
}

// Error returns one line a fault.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, f := range l {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns every fault, for errors.As and errors.Is.
func (l List) Unwrap() []error {
	errs := make([]error, len(l))
	for i, f := range l {
		errs[i] = f
	}
	return errs
}

// KindOf returns the kind of the first fault in err's tree, and Failed for an error
// without one.
func KindOf(err error) Kind {
	var f *Fault
	if errors.As(err, &f) {
		return f.Kind
	}
	return Failed
}

// mostShown is how many faults of a list are printed. More have one cause.
const mostShown = 100

// Format returns what the program prints: every fault as "where: what" with its
// hint on the next line, anything else as it reads. Of a long list it is the
// first ones, and how many there are.
func Format(err error) string {
	var list List
	if errors.As(err, &list) {
		parts := make([]string, min(len(list), mostShown), mostShown+1)
		for i := range parts {
			parts[i] = list[i].format()
		}
		if n := len(list) - mostShown; n > 0 {
			parts = append(parts, fmt.Sprintf("and %d more, %d in all", n, len(list)))
		}
		return strings.Join(parts, "\n")
	}
	var f *Fault
	if errors.As(err, &f) {
		return f.format()
	}
	return err.Error()
}

func (f *Fault) format() string {
	s := f.Error()
	if f.Hint != "" {
		s += "\n  hint: " + f.Hint
	}
	return s
}
