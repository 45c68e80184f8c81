// Package held lets a file be read through a descriptor: the file that was looked
// at, whatever is put under its name meanwhile, in its place or in that of a folder
// above it. The descriptor travels in a context, because those who look at a file
// know nothing of those who read it, and what is read in between is the same file
// for all.
//
// Linux can open again what a process has open, here and in a child. Elsewhere
// nothing is held, and a file is read by its name.
package held

import (
	"context"
	"os"
)

// key is under what a context has the file that was held last.
type key struct{}

// file is a file that is held, and those held before it.
type file struct {
	path   string
	open   *os.File
	before *file
}

// With returns a context under which the file at path is read through open, which
// stays open for as long as the context is used. Where the system cannot open a
// descriptor again the context is ctx.
func With(ctx context.Context, path string, open *os.File) context.Context {
	if !canReopen(open) {
		return ctx
	}
	before, _ := ctx.Value(key{}).(*file)
	return context.WithValue(ctx, key{}, &file{path, open, before})
}

// File returns the open file through which the file at path is read, nil when it is
// read by its name.
func File(ctx context.Context, path string) *os.File {
	for f, _ := ctx.Value(key{}).(*file); f != nil; f = f.before {
		if f.path == path {
			return f.open
		}
	}
	return nil
}

// Open opens the file at path for reading, with a position of its own. Errors are
// those of [os.Open].
func Open(ctx context.Context, path string) (*os.File, error) {
	if f := File(ctx, path); f != nil {
		return os.Open(Name(f.Fd()))
	}
	return os.Open(path)
}
