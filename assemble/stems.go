package assemble

import (
	"context"
	"os"
	"path/filepath"

	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/task"
)

// stemEdges returns the tasks of stems.
func stemEdges(stems []soundtrack.Stem) []task.Edge {
	var list []task.Edge
	for _, s := range stems {
		list = append(list, s.Made)
	}
	return list
}

// stemFiles returns where stems are written among the outputs, in a folder of
// those or, with "", without one.
func stemFiles(stems []soundtrack.Stem, folder string) []string {
	var list []string
	for _, s := range stems {
		list = append(list, filepath.Join(folder, s.File))
	}
	return list
}

// stemRecords returns the records of stems as they lie in a folder.
func stemRecords(p *Production, stems []soundtrack.Stem, folder string, res task.Result) ([]session.Written, error) {
	var list []session.Written
	for _, s := range stems {
		if s.Made.Outcome(res).Path == "" {
			return nil, session.FirstFailure(res)
		}
		hash, err := p.Store().Hash(s.Made.Action())
		if err != nil {
			return nil, err
		}
		file, err := filepath.Rel(folder, s.File)
		if err != nil {
			return nil, err
		}
		list = append(list, session.Written{Hash: hash, File: filepath.ToSlash(file)})
	}
	return list, nil
}

// copyStems copies finished stems into a folder of the outputs, "" for that
// itself.
func copyStems(ctx context.Context, p *Production, stems []soundtrack.Stem, folder string) ([]MixStem, error) {
	var list []MixStem
	for _, s := range stems {
		path, err := p.OutFile(filepath.Join(folder, s.File))
		if err != nil {
			return nil, err
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return nil, session.Unwritable(filepath.Dir(path), err)
		}
		if _, err := p.Store().Deliver(ctx, s.Made.Action(), path); err != nil {
			return nil, err
		}
		list = append(list, MixStem{Take: s.Take, Section: s.Section, File: path})
	}
	return list, nil
}
