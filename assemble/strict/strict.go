// Package strict reads JSON that comes from elsewhere.
package strict

import (
	"encoding/json"
	"errors"
	"io"
)

// ErrMore says that something but white space follows the value.
var ErrMore = errors.New("something stands behind the end")

// Read reads the one JSON value that r holds into v, a pointer. It fails with r, for what is
// no such value, for a field that v does not know, and with [ErrMore]. How much r may hold is
// for the caller to bound; v may hold part of what was read after an error.
func Read(r io.Reader, v any) error {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return ErrMore
	}
	return nil
}
