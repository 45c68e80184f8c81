package assemble

import (
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/manifest"
	"ripieno/assemble/session"
)

// walkRecordings visits what looks like a recording in a folder and below it,
// without hidden files and the outputs.
func walkRecordings(dir, out string, visit func(rel string, info fs.FileInfo)) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // renamed meanwhile
		} else if err != nil {
			return err
		}
		hidden := strings.HasPrefix(d.Name(), ".") && path != dir
		if d.IsDir() {
			if hidden || path == filepath.Join(dir, session.OutFolder) || path == out {
				return fs.SkipDir
			}
			return nil
		}
		if hidden || !slices.Contains(recordingExt, strings.ToLower(filepath.Ext(path))) {
			return nil
		}
		info, err := d.Info()
		if err != nil || !info.Mode().IsRegular() {
			return nil // gone, or nothing that can be opened as a take
		}
		rel, err := filepath.Rel(dir, path)
		if err == nil {
			visit(rel, info)
		}
		return err
	})
}

// filesOf is every file that the manifest names.
func filesOf(man *manifest.Production) []string {
	var all []string
	for _, t := range man.Takes {
		for _, f := range []*manifest.File{t.Video, t.Audio} {
			if f != nil {
				all = append(all, filepath.FromSlash(f.Path))
			}
		}
	}
	for _, a := range man.Assets() {
		all = append(all, filepath.FromSlash(a.Path))
	}
	return all
}
