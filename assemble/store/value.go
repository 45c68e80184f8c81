package store

import (
	"bytes"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"sync"

	"ripieno/assemble/fault"
)

// numbers are the types whose values are stored, by the number that each was
// given for ever.
var numbers = struct {
	sync.Mutex
	values map[int]any
}{values: map[int]any{}}

// Number gives the type of v its place in gob's own numbering, from 1. Types
// get numbers in the order in which a process first meets them, so without it
// the bytes of a stored value would depend on what else the process did.
// Whoever stores a type numbers it, when the program begins:
//
//	var _ = store.Number(3, Analysis{})
//
// A number that was given is never given again, nor is a numbered type ever
// renamed: its name is in the bytes. It panics for a number that is taken,
// which is a bug that no run can survive.
func Number(n int, v any) int {
	numbers.Lock()
	defer numbers.Unlock()
	if old, taken := numbers.values[n]; taken {
		panic(fmt.Sprintf("store: %T and %T both have number %d", old, v, n))
	}
	numbers.values[n] = v
	return n
}

// Numbered lists the types that are stored, in the order of their numbers.
func Numbered() []reflect.Type {
	numbers.Lock()
	defer numbers.Unlock()
	var list []reflect.Type
	for _, n := range slices.Sorted(maps.Keys(numbers.values)) {
		list = append(list, reflect.TypeOf(numbers.values[n]))
	}
	return list
}

// meetTypes shows gob all numbered types, in order.
var meetTypes = sync.OnceValue(func() error {
	numbers.Lock()
	defer numbers.Unlock()
	enc := gob.NewEncoder(io.Discard)
	for _, n := range slices.Sorted(maps.Keys(numbers.values)) {
		if err := enc.Encode(numbers.values[n]); err != nil {
			return err
		}
	}
	return nil
})

// Save writes a value to a file. Its type has been numbered with [Number] and
// has exported fields only. Unlike JSON, gob keeps infinities.
func Save[T any](path string, value T) error {
	if err := meetTypes(); err != nil {
		return err
	}
	if !slices.Contains(Numbered(), reflect.TypeFor[T]()) {
		return fmt.Errorf("store: a %T is saved and has no number", value)
	}
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(value); err != nil {
		return err
	}
	return os.WriteFile(path, buf.Bytes(), 0o666)
}

// Load reads a value that [Save] wrote.
func Load[T any](path string) (T, error) {
	var value T
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return value, fault.New(fault.Failed, filepath.Dir(path), "what was computed is not there any more",
			"run again, and delete nothing in .ripieno meanwhile; ripieno clean empties it").Because(err)
	} else if err != nil {
		return value, err
	}
	return value, gob.NewDecoder(bytes.NewReader(data)).Decode(&value)
}
