// Package stems puts the finished stems of a soundtrack where people look for them. The
// tasks that make stems are soundtrack's; what is here are their names among the
// outputs, what is noted of each file, and the copying. `mix --stems`, `mix --stages`
// and `export` share it, each with a folder of its own.
package stems

import (
	"context"
	"os"
	"path/filepath"

	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/task"
)

// Copied is a stem that lies where a person looks for it: one of a take, or of a
// section when Take is empty. It is part of what --json prints.
type Copied struct {
	Take    string `json:"take,omitempty"`
	Section string `json:"section,omitempty"`
	File    string `json:"file"` // its path
}

// Edges returns the tasks that make the stems.
func Edges(stems []soundtrack.Stem) []task.Edge {
	var list []task.Edge
	for _, s := range stems {
		list = append(list, s.Made)
	}
	return list
}

// Files returns where stems are written, relative to the folder of outputs. Each has its
// own folder in its name already; folder is put in front of that, "" for nothing.
func Files(stems []soundtrack.Stem, folder string) []string {
	var list []string
	for _, s := range stems {
		list = append(list, filepath.Join(folder, s.File))
	}
	return list
}

// Records returns what is noted of stems that a run has made: the hash of each, and its
// name as seen from folder, which "" leaves as it is. A later run tells by them which
// files of an earlier one it may remove, and which somebody has changed since. When
// a stem was not made, the error is the first failure of the run.
func Records(s *session.Session, stems []soundtrack.Stem, folder string, res task.Result) ([]session.Written, error) {
	var list []session.Written
	for _, stem := range stems {
		if stem.Made.Outcome(res).Path == "" {
			return nil, session.FirstFailure(res)
		}
		hash, err := s.Store().Hash(stem.Made.Action())
		if err != nil {
			return nil, err
		}
		file, err := filepath.Rel(folder, stem.File)
		if err != nil {
			return nil, err
		}
		list = append(list, session.Written{Hash: hash, File: filepath.ToSlash(file)})
	}
	return list, nil
}

// Copy copies finished stems out of the store to the names that [Files] returns, and
// makes the folders they need. Stems copied before a failure stay.
func Copy(ctx context.Context, s *session.Session, stems []soundtrack.Stem, folder string) ([]Copied, error) {
	var list []Copied
	for _, stem := range stems {
		path, err := s.OutFile(filepath.Join(folder, stem.File))
		if err != nil {
			return nil, err
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return nil, session.Unwritable(filepath.Dir(path), err)
		}
		if _, err := s.Store().Deliver(ctx, stem.Made.Action(), path); err != nil {
			return nil, err
		}
		list = append(list, Copied{Take: stem.Take, Section: stem.Section, File: path})
	}
	return list, nil
}

// Place is a folder of the outputs in which stems of one kind lie by themselves.
type Place struct {
	Folder string                 // as the names of its stems begin
	Ours   func(file string) bool // whether a file in it can be one of those
}

// The places a mix writes to.
var (
	OfMix    = Place{soundtrack.StemsFolder, soundtrack.IsStem}
	OfStages = Place{soundtrack.StagesFolder, soundtrack.IsStage}
)

// Replace copies stems to their place and removes those of earlier runs that are none of
// these: beside the others they would be taken for one. What somebody has changed
// since stays, with a note. Nothing is removed before all are copied.
func Replace(ctx context.Context, s *session.Session, stems []soundtrack.Stem, at Place,
	res task.Result) (list []Copied, gone session.Swept, err error) {
	dir, err := s.Out(at.Folder)
	if err != nil {
		return nil, gone, err
	}
	now, err := Records(s, stems, at.Folder, res)
	if err != nil {
		return nil, gone, err
	}
	gone, err = s.Replace(ctx, session.Folder{Dir: dir, Ours: at.Ours}, now, func() error {
		list, err = Copy(ctx, s, stems, "")
		return err
	})
	return list, gone, err
}
