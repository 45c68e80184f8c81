package store

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
)

// format is part of every key and every index: raising it forgets everything
// that older programs stored.
const format = "ripieno store 1"

// Action describes one computation completely. It is a value: every method
// returns a changed copy, so a common beginning can be shared. The order of
// arguments and inputs counts.
//
// What belongs in: whatever could change a byte of the output, also the
// versions of the tools that make it. A mistake (an input without a hash, an
// argument that cannot be written down) is kept and reported by [Action.Err]
// and by every use.
type Action struct {
	rule    string
	version int
	subject string
	cost    float64
	fields  []Field
	used    *atomic.Int64 // how much of the array behind fields is taken, by any copy; nil for no array
	ext     string
	names   []string
	varies  []string
	among   int // outputs made by the same work; 0 is 1
	err     error
}

// Field is one ingredient of a key, as text.
type Field struct {
	Kind  string `json:"kind"` // "arg" or "input"
	Name  string `json:"name"`
	Value string `json:"value"`
}

// NewAction starts the description of one use of a rule, version 1, whose
// output is a single file without an extension.
func NewAction(rule string) Action {
	a := Action{rule: rule, version: 1}
	if rule == "" {
		a.err = errors.New("store: action without a rule")
	}
	return a
}

// Version names the rule's version. It is raised whenever the code behind the
// rule gives other bytes for the same arguments.
func (a Action) Version(v int) Action { a.version = v; return a }

// For says in words what the action is for, such as a take's name. It is not
// part of the key; it lets [Store.Nearest] find the entry to compare with.
func (a Action) For(subject string) Action { a.subject = subject; return a }

// Estimate says how many seconds making the output was expected to take. It is
// not part of the key; [History.Pace] compares it with what it really took.
func (a Action) Estimate(seconds float64) Action { a.cost = seconds; return a }

// Among says that the work makes n outputs at once: an nth of the time it takes
// counts as this one's. It is not part of the key.
func (a Action) Among(n int) Action { a.among = n; return a }

// Arg adds an argument. Booleans, numbers (NaN and infinities too), strings,
// byte slices and slices, arrays, maps, pointers and structs of them are
// accepted; unexported struct fields count. Channels and functions are a
// mistake.
func (a Action) Arg(name string, v any) Action {
	text, err := encode(v)
	if err != nil {
		return a.fail(fmt.Errorf("argument %q: %w", name, err))
	}
	return a.field(Field{Kind: "arg", Name: name, Value: text})
}

// Input adds an input by the ID of its content, or by the ID of the action
// that makes it. The zero ID is a mistake.
func (a Action) Input(name string, id ID) Action {
	if id.IsZero() {
		return a.fail(fmt.Errorf("input %q has no hash", name))
	}
	return a.field(Field{Kind: "input", Name: name, Value: id.String()})
}

// Ext gives the output file its extension, with the dot: tools choose a
// format by it.
func (a Action) Ext(ext string) Action {
	if err := checkExt(ext); err != nil {
		return a.fail(err)
	}
	a.ext, a.names = ext, nil
	return a
}

// Files makes the output a folder with exactly the named files in it. The
// names are plain file names.
func (a Action) Files(names ...string) Action {
	for i, n := range names {
		if n == "" || n[0] == '.' || n != filepath.Base(n) || slices.Contains(names[:i], n) {
			return a.fail(fmt.Errorf("output name %q is not usable", n))
		}
	}
	if len(names) == 0 {
		return a.fail(errors.New("no output names"))
	}
	a.ext, a.names = "", slices.Clone(names)
	return a
}

// Varying says that the named files of an output of several have other bytes
// every time they are made, each as good as the other: [Store.Compare] leaves
// them out. It is not part of the key.
func (a Action) Varying(names ...string) Action { a.varies = slices.Clone(names); return a }

// Varies reports whether any bytes of the output differ from one making to the
// next.
func (a Action) Varies() bool { return len(a.varies) > 0 }

// Outputs returns the names of the files of an output of several; none for a single
// file.
func (a Action) Outputs() []string { return slices.Clone(a.names) }

// Ending returns the ending of the name of an output that is one file.
func (a Action) Ending() string { return a.ext }

// Rule returns the rule's name.
func (a Action) Rule() string { return a.rule }

// Subject returns what [Action.For] said.
func (a Action) Subject() string { return a.subject }

// IsZero reports whether a describes nothing.
func (a Action) IsZero() bool { return a.rule == "" && a.err == nil }

// Err returns the first mistake in the description, nil when there is none. It is
// a bug of the program, never a user's.
func (a Action) Err() error {
	if a.IsZero() {
		return errors.New("store: empty action")
	}
	return a.err
}

// ID returns the key of a, the zero ID when [Action.Err] is not nil.
func (a Action) ID() ID {
	if a.Err() != nil {
		return ID{}
	}
	f := newFramer()
	f.string(format)
	f.string(a.rule)
	f.string(strconv.Itoa(a.version))
	f.string(strconv.Itoa(len(a.fields)))
	for _, x := range a.fields {
		f.string(x.Kind)
		f.string(x.Name)
		f.string(x.Value)
	}
	f.string(a.ext)
	f.string(strconv.Itoa(len(a.names)))
	for _, n := range a.names {
		f.string(n)
	}
	return f.sum()
}

// field appends x. Copies of an Action share the array of their fields, since copying it for
// each would take quadratic time for a mix of a thousand strips; but the place behind the
// last field goes to one copy only, and the others get an array of their own.
func (a Action) field(x Field) Action {
	n := len(a.fields)
	if a.used != nil && n < cap(a.fields) && a.used.CompareAndSwap(int64(n), int64(n+1)) {
		a.fields = a.fields[:n+1]
		a.fields[n] = x
		return a
	}
	a.fields = append(make([]Field, 0, max(8, 2*n)), a.fields...)
	a.fields = append(a.fields, x)
	a.used = new(atomic.Int64)
	a.used.Store(int64(n + 1))
	return a
}

// fail keeps the first error of a description, so that whoever describes need not ask
// after each word; asking for the key returns it.
func (a Action) fail(err error) Action {
	if a.err == nil {
		a.err = fmt.Errorf("store: action %q: %w", a.rule, err)
	}
	return a
}

// checkExt keeps extensions harmless: they end up in file names, and must not
// collide with the store's own.
func checkExt(ext string) error {
	ok := len(ext) > 1 && len(ext) <= 16 && ext[0] == '.' && ext != entryExt && ext != folderExt &&
		strings.Trim(ext[1:], "abcdefghijklmnopqrstuvwxyz0123456789") == ""
	if !ok {
		return fmt.Errorf("extension %q is not usable", ext)
	}
	return nil
}
