package session

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

// RecordName is the file in which a folder of outputs keeps its record.
const RecordName = "written.sha256"

// Folder is a folder of outputs that keeps the list of the files that a verb wrote into a folder, beside them:
// a line for each, in the form of sha256sum. What an earlier run wrote and this
// one does not is misleading and goes, but a file is only ever taken away when
// it stands in the list and still has the bytes that were written.
type Folder struct {
	Dir  string
	Ours func(file string) bool // whether a path, with slashes and relative to dir, can be one of the verb's
}

// Written is a line of a record.
type Written struct {
	Hash store.ID
	File string // with slashes, relative to the record's folder
}

// own reports whether a path can be a file of the record at all.
func (r Folder) own(file string) bool {
	return filepath.IsLocal(filepath.FromSlash(file)) && !strings.ContainsAny(file, "\\\x00\r\n") && r.Ours(file)
}

// parse reads a list. Lines that name anything but the verb's own files are
// left aside.
func (r Folder) parse(text string) []Written {
	var list []Written
	for line := range strings.Lines(text) {
		number, file, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		hash, err := store.ParseID(number)
		if ok && err == nil && r.own(file) {
			list = append(list, Written{hash, file})
		}
	}
	return list
}

// format returns the text of the list: the hash and the name of each file that this folder
// owns, a line each.
func (r Folder) format(list []Written) string {
	var b strings.Builder
	for _, w := range list {
		if r.own(w.File) {
			fmt.Fprintf(&b, "%s  %s\n", w.Hash, w.File)
		}
	}
	return b.String()
}

// publish writes the list whole, beside the files that it names.
func (r Folder) publish(ctx context.Context, list []Written) error {
	return Publish(ctx, filepath.Join(r.Dir, RecordName), []byte(r.format(list)))
}

// Swept is what became of files of an earlier run.
type Swept struct {
	Removed []string // their paths
	Notes   []string // on those that were changed since and are left
}

// Replace calls deliver, which writes the files now, and then takes away those that an
// earlier run wrote besides. It fails with deliver, and then nothing has gone and
// nothing is forgotten; or when the folder cannot be written or ctx ends. A file that
// was changed since stays, with a note.
func (s *Session) Replace(ctx context.Context, r Folder, now []Written, deliver func() error) (Swept, error) {
	var out Swept
	text, err := os.ReadFile(filepath.Join(r.Dir, RecordName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return out, Unwritable(r.Dir, err)
	}
	before := slices.DeleteFunc(r.parse(string(text)), func(old Written) bool {
		return slices.ContainsFunc(now, func(w Written) bool { return w.File == old.File })
	})
	// First both, so that a run that is killed here forgets nothing.
	if err := r.publish(ctx, slices.Concat(before, now)); err != nil {
		return out, err
	}
	if err := deliver(); err != nil {
		return out, err
	}
	for _, old := range before {
		if err := s.remove(ctx, filepath.Join(r.Dir, filepath.FromSlash(old.File)), old.Hash, &out); err != nil {
			return out, err
		}
	}
	return out, r.publish(ctx, now)
}

// remove takes away a file of an earlier run when it still has the bytes it was
// written with.
func (s *Session) remove(ctx context.Context, path string, hash store.ID, out *Swept) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && info.Mode().IsRegular() {
		if got, err := s.kept.HashFile(ctx, path); err == nil && got == hash {
			if err := os.Remove(path); err != nil {
				return Unwritable(filepath.Dir(path), err)
			}
			out.Removed = append(out.Removed, path)
			return nil
		}
	}
	out.Notes = append(out.Notes, fmt.Sprintf("%s is of an earlier run and no part of this one; it was changed "+
		"since, so it is left", path))
	return ctx.Err()
}
