package takes

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// Bounds of the search for a file that was renamed. Files of another size are not opened,
// so that a search costs reading one file or two.
const (
	renamedVisited = 10000 // files and folders that are looked at
	renamedHashed  = 16    // files of the same size that are read
)

// tellRenamed returns err, the fault of a file that is not there, with a hint at the file
// that has its content, when the store remembers it and it lies elsewhere in the
// production's folder under a name that the manifest does not use. The hint is for a
// person: nothing is taken for the file by itself.
func (r *Recording) tellRenamed(ctx context.Context, s *session.Session, err error) error {
	var f *fault.Fault
	root, missing := resolvedFolder(s.Manifest().Dir)
	if !missing || !errors.As(err, &f) {
		return err
	}
	was := filepath.FromSlash(r.File.Path)
	if !filepath.IsAbs(was) {
		was = filepath.Join(root, was)
	}
	if _, gone := os.Lstat(was); !errors.Is(gone, fs.ErrNotExist) {
		return err
	}
	if now := findRenamed(ctx, s, root, was); now != "" {
		f.Hint = fmt.Sprintf(media.RenamedHint+" %q now: write that name, or rename it back", now)
	}
	return err
}

// resolvedFolder returns where a folder really lies, as paths of takes begin.
func resolvedFolder(dir string) (string, bool) {
	root, err := filepath.EvalSymlinks(dir)
	if err == nil {
		root, err = filepath.Abs(root)
	}
	return root, err == nil
}

// findRenamed returns the first file in the order of paths, with slashes and relative to
// root, that has the content which the store remembers of a path, and its ending; "" for
// none. What the manifest names, hidden files and outputs do not count.
func findRenamed(ctx context.Context, s *session.Session, root, was string) string {
	hash, size, known := s.Store().Remembered(was)
	if !known {
		return ""
	}
	named := map[string]bool{}
	for _, t := range s.Manifest().Takes {
		for _, file := range []*production.File{t.Video, t.Audio} {
			if file != nil {
				named[filepath.Clean(filepath.FromSlash(file.Path))] = true
			}
		}
	}
	found, visited, hashed := "", 0, 0
	walk := func(path string, d fs.DirEntry, err error) error {
		if visited++; visited > renamedVisited || hashed == renamedHashed || ctx.Err() != nil {
			return fs.SkipAll
		}
		if err != nil {
			return fs.SkipDir // a folder that cannot be read
		}
		rel, err := filepath.Rel(root, path)
		hidden := err != nil || strings.HasPrefix(d.Name(), ".") && path != root
		if d.IsDir() {
			if hidden || rel == session.OutFolder || path == s.Settings().Out {
				return fs.SkipDir
			}
			return nil
		}
		if hidden || named[rel] || !strings.EqualFold(filepath.Ext(path), filepath.Ext(was)) {
			return nil
		}
		if info, err := d.Info(); err != nil || !info.Mode().IsRegular() || info.Size() != size {
			return nil
		}
		hashed++
		if id, err := s.Store().HashFile(ctx, path); err == nil && id == hash {
			found = filepath.ToSlash(rel)
			return fs.SkipAll
		}
		return nil
	}
	if filepath.WalkDir(root, walk) != nil {
		return ""
	}
	return found
}
