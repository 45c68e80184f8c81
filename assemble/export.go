package assemble

import (
	"context"
	"crypto/sha256"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/handover"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/stems"
	"ripieno/assemble/task"
)

// exportFolder is where a hand-over lies among the outputs.
const exportFolder = "export"

// Export writes the production down for whoever finishes it elsewhere: stems,
// a timeline of all recordings in their places, edit lists, the tempo map and
// a table of where every recording lies, all in out/export. What a player has
// not released is in none of it. What an earlier export wrote and this one
// does not is removed.
func (p *Production) Export(ctx context.Context) (ExportResult, error) {
	r := ExportResult{Edits: []string{}, Stems: []MixStem{}, Releases: p.openReleases()}
	dir, err := p.Out(exportFolder)
	if err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	pl, faults, err := p.plan(ctx, all, plan.Wants(p.Manifest()))
	if err != nil {
		return r, err
	}
	r.Dir, r.Faults = dir, faults
	track, err := p.track(pl, all)
	if err != nil {
		return r, err
	}
	sounds := track.Stems()
	source := handover.Source{Plan: pl, Home: p.Manifest().Dir, Takes: all.Set, Stems: sounds, Dir: dir}
	r.Faults = append(r.Faults, source.Unnamed()...)
	texts, err := source.Texts()
	if err != nil {
		return r, err
	}
	// Names that the disk refuses are told before an hour of mixing.
	if err := p.OutFiles(exportFiles(texts, sounds)...); err != nil {
		return r, err
	}
	res, err := p.Run(ctx, task.Collect(stems.Edges(sounds)...))
	if err != nil {
		return r, err
	}
	r.Tasks = TaskCount(res.Stats)
	if err := handOver(ctx, p, texts, sounds, res, &r); err != nil {
		return r, err
	}
	p.Session.Trim(ctx)
	return r, nil
}

// exportFiles returns where all files of a hand-over are written among the
// outputs.
func exportFiles(texts []handover.Text, sounds []soundtrack.Stem) []string {
	list := stems.Files(sounds, exportFolder)
	for _, t := range texts {
		list = append(list, filepath.Join(exportFolder, filepath.FromSlash(t.File)))
	}
	return list
}

// handOver writes everything and removes what an earlier export wrote besides: a
// take that was withdrawn must not lie around.
func handOver(ctx context.Context, p *Production, texts []handover.Text, sounds []soundtrack.Stem, res task.Result,
	r *ExportResult) error {
	now, err := stems.Records(p.Session, sounds, "", res)
	if err != nil {
		return err
	}
	for _, t := range texts {
		now = append(now, session.Written{Hash: sha256.Sum256(t.Data), File: t.File})
	}
	slices.SortFunc(now, func(a, b session.Written) int { return strings.Compare(a.File, b.File) })
	if err := os.MkdirAll(filepath.Join(r.Dir, handover.Edits), 0o777); err != nil {
		return session.Unwritable(r.Dir, err)
	}
	gone, err := p.Replace(ctx, session.Folder{Dir: r.Dir, Ours: isExported}, now, func() error {
		for _, t := range texts {
			path := filepath.Join(r.Dir, filepath.FromSlash(t.File))
			if err := session.Publish(ctx, path, t.Data); err != nil {
				return err
			}
			r.name(t.File, path)
		}
		list, err := stems.Copy(ctx, p.Session, sounds, exportFolder)
		r.Stems = append(r.Stems, list...)
		return err
	})
	r.Removed, r.Notes = gone.Removed, gone.Notes
	return err
}

// name notes the path of a written text in the field that --json has for it; edit lists, of
// which there may be several, in a list.
func (r *ExportResult) name(file, path string) {
	switch file {
	case handover.Timeline:
		r.Timeline = path
	case handover.Tempo:
		r.Tempo = path
	case handover.Offsets:
		r.Offsets = path
	default:
		r.Edits = append(r.Edits, path)
	}
}

// isExported reports whether a path, relative to the folder of a hand-over, can
// be a file of one.
func isExported(file string) bool {
	stem, ok := strings.CutPrefix(file, soundtrack.StemsFolder+"/")
	return handover.IsText(file) || ok && soundtrack.IsStem(stem)
}
