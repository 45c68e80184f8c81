// Package order describes one task of a production as plain data, so that another
// machine can carry it out: which rule, with what arguments, on which files, and
// what comes of it. It knows no rule, opens no file and reaches no network.
//
// An [Order] names every file by the SHA-256 of its bytes and never by a path: the
// one who carries it out decides where files lie. It holds no command, no
// environment and no filter text of its own; a rule turns its arguments into those.
// [Decode] and [DecodeResult] check whatever came from elsewhere against bounds,
// so that a damaged or hostile message is an error and nothing else.
package order

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/strict"
)

// Bounds of what is accepted from elsewhere.
const (
	MaxBytes  = 1 << 20 // of an encoded order or result
	MaxFiles  = 4096    // read or written
	MaxFile   = 1 << 40 // bytes of one file
	maxWord   = 64      // letters of a rule or the name of a file
	maxReason = 4096    // bytes of the reason of a failure
)

// Order is a task for another machine.
type Order struct {
	Key    string          `json:"key"`   // of the output: 64 hexadecimal digits
	Rule   string          `json:"rule"`  // which function makes it
	Class  string          `json:"class"` // 64 hexadecimal digits; machines of one class make the same bytes
	Args   json.RawMessage `json:"args"`  // what the rule is given beside the files
	Inputs []File          `json:"inputs"`
	// Outputs are the names of the files of an output that is a folder; none for
	// an output that is one file.
	Outputs []string `json:"outputs,omitempty"`
	Ext     string   `json:"ext,omitempty"` // of an output that is one file, such as ".mp4"
}

// File is a file by its content.
type File struct {
	Name string `json:"name,omitempty"` // which of several; an input's ending decides how it is read
	Hash string `json:"hash"`           // SHA-256: 64 hexadecimal digits
	Size int64  `json:"size"`           // bytes
}

// Result is what became of an order.
type Result struct {
	Key     string  `json:"key"`
	Worker  string  `json:"worker"`          // who carried it out
	Files   []File  `json:"files,omitempty"` // in the order of Order.Outputs; one without a name for a single file
	Seconds float64 `json:"seconds"`         // it took
	Failed  string  `json:"failed,omitempty"`
}

// Encode returns an order as JSON. It fails when the order is not valid.
func (o Order) Encode() ([]byte, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	return encode(o)
}

// Decode reads what [Order.Encode] wrote. It fails when data is too long, is not
// such an order or is not valid.
func Decode(data []byte) (Order, error) {
	var o Order
	if err := decode(data, &o); err != nil {
		return Order{}, err
	}
	return o, o.Validate()
}

// Encode returns a result as JSON. It fails when the result is not valid.
func (r Result) Encode() ([]byte, error) {
	if len(r.Failed) > maxReason {
		r.Failed = strings.ToValidUTF8(r.Failed[:maxReason], "")
	}
	if err := r.Validate(); err != nil {
		return nil, err
	}
	return encode(r)
}

// DecodeResult reads what [Result.Encode] wrote, as [Decode] does.
func DecodeResult(data []byte) (Result, error) {
	var r Result
	if err := decode(data, &r); err != nil {
		return Result{}, err
	}
	return r, r.Validate()
}

// Validate returns an error when o is no order that a machine may carry out.
func (o Order) Validate() error {
	switch {
	case !isHash(o.Key):
		return fmt.Errorf("order: the key %q is not a SHA-256", o.Key)
	case !isHash(o.Class):
		return fmt.Errorf("order: the class %q is not a SHA-256", o.Class)
	case !isWord(o.Rule):
		return fmt.Errorf("order: the rule %q is no name", o.Rule)
	case len(o.Args) > 0 && !json.Valid(o.Args):
		return fmt.Errorf("order: the arguments of %s are not JSON", o.Rule)
	case len(o.Inputs) > MaxFiles || len(o.Outputs) > MaxFiles:
		return fmt.Errorf("order: more than %d files", MaxFiles)
	case o.Ext != "" && (o.Ext[0] != '.' || !isWord(o.Ext[1:])):
		return fmt.Errorf("order: the ending %q of the output is none", o.Ext)
	}
	for _, f := range o.Inputs {
		if err := f.validate(); err != nil {
			return err
		}
	}
	for i, n := range o.Outputs {
		if !isWord(n) || slices.Contains(o.Outputs[:i], n) {
			return fmt.Errorf("order: the output %q has no name of its own", n)
		}
	}
	return nil
}

// Validate returns an error when r is no result.
func (r Result) Validate() error {
	switch {
	case !isHash(r.Key):
		return fmt.Errorf("order: the key %q is not a SHA-256", r.Key)
	case !isWord(r.Worker):
		return fmt.Errorf("order: the worker %q has no name", r.Worker)
	case len(r.Files) > MaxFiles:
		return fmt.Errorf("order: more than %d files", MaxFiles)
	case r.Failed == "" && len(r.Files) == 0:
		return fmt.Errorf("order: the result of %s has neither files nor a reason", r.Key[:12])
	case !(r.Seconds >= 0) || len(r.Failed) > maxReason:
		return fmt.Errorf("order: the result of %s is out of bounds", r.Key[:12])
	}
	for _, f := range r.Files {
		if err := f.validate(); err != nil {
			return err
		}
	}
	return nil
}

// Answers returns an error when r is not what o asked for: of another key, or with
// other files.
func (r Result) Answers(o Order) error {
	if r.Key != o.Key {
		return fmt.Errorf("order: %s was asked for and %s came", o.Key[:12], r.Key[:12])
	}
	names := o.Outputs
	if len(names) == 0 {
		names = []string{""}
	}
	if len(r.Files) != len(names) {
		return fmt.Errorf("order: %d files were asked for and %d came", len(names), len(r.Files))
	}
	for i, n := range names {
		if r.Files[i].Name != n {
			return fmt.Errorf("order: the file %q was asked for and %q came", n, r.Files[i].Name)
		}
		if r.Files[i].Size == 0 {
			return fmt.Errorf("order: the file %q is empty", n)
		}
	}
	return nil
}

// validate returns an error for a file with a name that could leave a folder, no
// hash or a size that cannot be.
func (f File) validate() error {
	switch {
	case f.Name != "" && !isWord(f.Name):
		return fmt.Errorf("order: %q is no plain name of a file", f.Name)
	case !isHash(f.Hash):
		return fmt.Errorf("order: the hash %q of a file is not a SHA-256", f.Hash)
	case f.Size < 0 || f.Size > MaxFile:
		return fmt.Errorf("order: a file of %d bytes", f.Size)
	}
	return nil
}

// isHash reports whether s is a SHA-256 in lower-case hexadecimal digits.
func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

// isWord reports whether s is a plain name: small letters, digits, dots and hyphens,
// beginning with a letter or a digit, so that it names a file of a folder on every
// system and one part of a subject.
func isWord(s string) bool {
	const letters = "0123456789abcdefghijklmnopqrstuvwxyz"
	return s != "" && len(s) <= maxWord && strings.Trim(s, letters+".-") == "" &&
		strings.IndexByte(letters, s[0]) >= 0 && strings.IndexByte(letters, s[len(s)-1]) >= 0
}

// encode returns v as JSON within the bounds.
func encode(v any) ([]byte, error) {
	data, err := json.Marshal(v)
	if err == nil && len(data) > MaxBytes {
		err = fmt.Errorf("order: it takes %d bytes, and %d are allowed", len(data), MaxBytes)
	}
	return data, err
}

// decode reads one JSON value and nothing after it.
func decode(data []byte, v any) error {
	if len(data) > MaxBytes {
		return fmt.Errorf("order: it takes %d bytes, and %d are allowed", len(data), MaxBytes)
	}
	if err := strict.Read(bytes.NewReader(data), v); err != nil {
		return fmt.Errorf("order: %w", err)
	}
	return nil
}
