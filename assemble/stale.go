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
	"ripieno/assemble/task"
)

// stemsList lies beside the stems and says which files are ours: a line for
// each, in the form of sha256sum. A file is only ever taken away when it stands
// there and still has the bytes that were written.
const stemsList = "stems/written.sha256"

// writtenStem is a line of the list.
type writtenStem struct {
	hash store.ID
	file string // with slashes, relative to the list's folder
}

// parseStems reads a list. Lines that name anything but a stem's own place are
// none of ours.
func parseStems(text string) []writtenStem {
	var list []writtenStem
	for line := range strings.Lines(text) {
		number, file, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		hash, err := store.ParseID(number)
		if ok && err == nil && isStem(file) {
			list = append(list, writtenStem{hash, file})
		}
	}
	return list
}

// isStem says whether a path, relative to the list's folder, can be a stem's:
// a sound directly in the folder of takes or of sections.
func isStem(file string) bool {
	folder, name, ok := strings.Cut(file, "/")
	return ok && filepath.IsLocal(filepath.FromSlash(file)) && !strings.ContainsAny(name, "/\\\x00\r\n") &&
		("stems/"+folder == takeStems || "stems/"+folder == sectionStems) && strings.HasSuffix(name, ".wav")
}

// formatStems is the list's text.
func formatStems(list []writtenStem) string {
	var b strings.Builder
	for _, s := range list {
		if isStem(s.file) {
			fmt.Fprintf(&b, "%s  %s\n", s.hash, s.file)
		}
	}
	return b.String()
}

// deliverStems copies finished stems to where a person looks for them and takes
// away those of earlier mixes that are no part of this one: beside the others
// they would be taken for one. What was changed since is left and told.
func (p *Production) deliverStems(ctx context.Context, stems []stem, res task.Result, r *MixResult) error {
	list, err := p.out(stemsList)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(list)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return unwritable(filepath.Dir(list), err)
	}
	before, now := parseStems(string(text)), []writtenStem(nil)
	for _, s := range stems {
		if res.Path(s.task.ID) == "" {
			return firstFailure(res)
		}
		hash, err := p.store.Hash(s.task.Action)
		if err != nil {
			return err
		}
		now = append(now, writtenStem{hash, strings.TrimPrefix(filepath.ToSlash(s.file), "stems/")})
	}
	before = slices.DeleteFunc(before, func(old writtenStem) bool {
		return slices.ContainsFunc(now, func(s writtenStem) bool { return s.file == old.file })
	})
	publish := func(list string, stems []writtenStem) error {
		return store.Publish(ctx, list, func(tmp string) error { return os.WriteFile(tmp, []byte(formatStems(stems)), 0o666) })
	}
	// First both, so that a run that is killed here forgets nothing.
	if err := publish(list, slices.Concat(before, now)); err != nil {
		return err
	}
	if r.Stems, err = p.copyStems(ctx, stems, "", res); err != nil {
		return err
	}
	for _, old := range before {
		if err := p.removeStem(ctx, filepath.Join(filepath.Dir(list), filepath.FromSlash(old.file)), old.hash, r); err != nil {
			return err
		}
	}
	return publish(list, now)
}

// removeStem takes away a stem of an earlier mix when it still has the bytes it
// was written with.
func (p *Production) removeStem(ctx context.Context, path string, hash store.ID, r *MixResult) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && info.Mode().IsRegular() {
		if got, err := p.store.HashFile(ctx, path); err == nil && got == hash {
			if err := os.Remove(path); err != nil {
				return unwritable(filepath.Dir(path), err)
			}
			r.Removed = append(r.Removed, path)
			return nil
		}
	}
	r.Notes = append(r.Notes, fmt.Sprintf("%s is of an earlier mix and no part of this one; it was changed since, so it is left", path))
	return ctx.Err()
}
