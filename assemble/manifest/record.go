package manifest

import (
	"errors"
	"fmt"
	"io/fs"

	"ripieno/assemble/fault"
)

// This file is what sync.yaml and guide.yaml have in common: the program writes
// them alone, they end in a line that says they are whole, and one that is not as
// it was written is to be deleted.

// loadRecord reads a record of the program's own; what names it in messages. A
// missing file is an empty record and no error. Everything else that is wrong is a
// fault of kind Manifest.
func loadRecord[T any](path, what string, most int64, parse func(path string, data []byte) (*T, error)) (*T, error) {
	data, err := readSmall(path, most)
	switch {
	case err == nil:
		return parse(path, data)
	case errors.Is(err, fs.ErrNotExist):
		return new(T), nil
	}
	return nil, fault.New(fault.Manifest, path, fmt.Sprintf("%s cannot be read", what),
		"make sure that it is a file and that you may read it").Because(err)
}

// record reads the frame of a record: its version, its list and its last line. A
// record of another shape is a fault that carries r.hint. most is in bytes. The
// mapping may be read on even when it has faults; they are in r.
func (r *reader) record(data []byte, most int, s *shape, list string) (mapping, error) {
	root, bad := parseYAML(r.file, data, most)
	if bad != nil {
		bad.Hint = r.hint
		return mapping{}, bad
	}
	if r.laterVersion(root) {
		return mapping{}, r.faults[0]
	}
	r.refuseSharing(root)
	m := r.mapping(root, s)
	m.version()
	m.need(list, "")
	// The last line: without it the end is missing, perhaps in the middle of a number.
	m.need("complete", "")
	m.flag("complete", true)
	return m, nil
}

// first returns the first fault, which is enough for a file to throw away; nil for
// none.
func (r *reader) first() error {
	if r.err() == nil {
		return nil
	}
	return r.faults[0]
}

// raw returns a text that the program wrote itself, with whatever is in it.
func (m mapping) raw(key string) string {
	v, ok := m.scalar(key, "")
	if !ok {
		return ""
	}
	return v.Value
}
