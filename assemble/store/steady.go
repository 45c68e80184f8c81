package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/held"
)

// steadyTries is how often a file is read that is touched but not changed
// meanwhile, as by a program that makes copies or notes beside it.
const steadyTries = 3

// Steady runs read, which reads the file at path, and vouches that the bytes it
// was given are those with the hash id, which [Store.HashFile] gave before. A
// file that looks the same before and after was not changed; one that looks
// different is hashed, and read again when its content is the same after all,
// because what was read in between may have been another file. So read may be
// called again, and has to begin anew then. path must be free of links: a link
// in its place counts as another file.
//
// Under the context that read gets, path is what was looked at, see package held:
// a file, link or folder put in its place is not read at all where the system
// allows that, and elsewhere read for nothing.
//
// A file with another content is a fault of kind Media that names path, whatever
// became of read. Without a change the error is that of read.
func (s *Store) Steady(ctx context.Context, path string, id ID, read func(ctx context.Context) error) error {
	for range steadyTries {
		before, err := markOf(path)
		if err != nil {
			return changedFault(path, err)
		}
		if err := s.sameContent(ctx, path, id); err != nil {
			return err
		}
		began := s.sys.now()
		readErr, err := readHeld(ctx, path, before, read)
		if errors.Is(err, errReplaced) {
			continue // touched in this moment, or another file: the next look tells
		}
		if err != nil {
			return changedFault(path, err)
		}
		if ctx.Err() != nil {
			return readErr
		}
		after, err := markOf(path)
		if err != nil {
			return changedFault(path, err)
		}
		// A file changed a moment before it was looked at may be changed again
		// without looking different: see settle.
		if after == before && began.Sub(time.Unix(0, before.newest())) >= settle {
			return readErr
		}
		if err := s.sameContent(ctx, path, id); err != nil {
			return err
		}
		if after == before {
			return readErr
		}
	}
	return fault.New(fault.Media, path, "the file was touched again and again while it was read",
		"wait until the programs that copy or change it have finished, then run again")
}

// readHeld runs read with the file at path held open, which has to look like
// before. The second error is that of holding it.
func readHeld(ctx context.Context, path string, before mark, read func(ctx context.Context) error) (readErr, err error) {
	f, err := openPlain(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	now, err := markOfOpen(f)
	if err != nil {
		return nil, err
	}
	if now != before {
		return nil, errReplaced
	}
	return read(held.With(ctx, path, f)), nil
}

// errReplaced says that another file was opened than the one looked at.
var errReplaced = errors.New("store: another file is there than a moment ago")

// sameContent returns a fault when the file at path has another hash than id. A file
// that still looks as it did when its hash was taken is not read again.
func (s *Store) sameContent(ctx context.Context, path string, id ID) error {
	got, err := s.HashFile(ctx, path)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return changedFault(path, err)
	case got != id:
		return changedFault(path, fmt.Errorf("its content is %s and was %s", got.Short(), id.Short()))
	}
	return nil
}

// errChanged is in the chain of every fault about a file that changed.
var errChanged = errors.New("store: a source file changed")

// changedFault returns the fault of a file that is not what it was.
func changedFault(path string, why error) error {
	return fault.New(fault.Media, path, "the file changed while it was read",
		"wait until it is copied completely, then run again").Because(fmt.Errorf("%w: %w", errChanged, why))
}
