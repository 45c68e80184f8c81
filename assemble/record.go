package assemble

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/store"
)

// recordName is the file in which a folder of outputs keeps its record.
const recordName = "written.sha256"

// record is the list of the files that a verb wrote into a folder, beside them:
// a line for each, in the form of sha256sum. What an earlier run wrote and this
// one does not is misleading and goes, but a file is only ever taken away when
// it stands in the list and still has the bytes that were written.
type record struct {
	dir  string
	ours func(file string) bool // whether a path, with slashes and relative to dir, can be one of the verb's
}

// writtenFile is a line of a record.
type writtenFile struct {
	hash store.ID
	file string // with slashes, relative to the record's folder
}

// own says whether a path can be a file of the record at all.
func (r record) own(file string) bool {
	return filepath.IsLocal(filepath.FromSlash(file)) && !strings.ContainsAny(file, "\\\x00\r\n") && r.ours(file)
}

// parse reads a list. Lines that name anything but the verb's own files are
// left aside.
func (r record) parse(text string) []writtenFile {
	var list []writtenFile
	for line := range strings.Lines(text) {
		number, file, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		hash, err := store.ParseID(number)
		if ok && err == nil && r.own(file) {
			list = append(list, writtenFile{hash, file})
		}
	}
	return list
}

// format is the list's text.
func (r record) format(list []writtenFile) string {
	var b strings.Builder
	for _, w := range list {
		if r.own(w.file) {
			fmt.Fprintf(&b, "%s  %s\n", w.hash, w.file)
		}
	}
	return b.String()
}

// publish writes the list.
func (r record) publish(ctx context.Context, list []writtenFile) error {
	return publishBytes(ctx, filepath.Join(r.dir, recordName), []byte(r.format(list)))
}

// swept is what became of files of an earlier run.
type swept struct {
	removed []string // their paths
	notes   []string // on those that were changed since and are left
}

// replace calls deliver, which writes the files now, and then takes away those
// that an earlier run wrote besides.
func (p *Production) replace(ctx context.Context, r record, now []writtenFile, deliver func() error) (swept, error) {
	var s swept
	text, err := os.ReadFile(filepath.Join(r.dir, recordName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return s, unwritable(r.dir, err)
	}
	before := slices.DeleteFunc(r.parse(string(text)), func(old writtenFile) bool {
		return slices.ContainsFunc(now, func(w writtenFile) bool { return w.file == old.file })
	})
	// First both, so that a run that is killed here forgets nothing.
	if err := r.publish(ctx, slices.Concat(before, now)); err != nil {
		return s, err
	}
	if err := deliver(); err != nil {
		return s, err
	}
	for _, old := range before {
		if err := p.remove(ctx, filepath.Join(r.dir, filepath.FromSlash(old.file)), old.hash, &s); err != nil {
			return s, err
		}
	}
	return s, r.publish(ctx, now)
}

// remove takes away a file of an earlier run when it still has the bytes it was
// written with.
func (p *Production) remove(ctx context.Context, path string, hash store.ID, s *swept) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && info.Mode().IsRegular() {
		if got, err := p.store.HashFile(ctx, path); err == nil && got == hash {
			if err := os.Remove(path); err != nil {
				return unwritable(filepath.Dir(path), err)
			}
			s.removed = append(s.removed, path)
			return nil
		}
	}
	s.notes = append(s.notes, fmt.Sprintf("%s is of an earlier run and no part of this one; it was changed since, so it is left", path))
	return ctx.Err()
}
