package assemble

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"ripieno/assemble/arrival"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
)

// NewOptions say what a first manifest is written from, besides the folder.
type NewOptions struct {
	Title  string
	Empty  bool   // no recordings are looked for
	Roster string // a list of players, comma-separated values; "" for none
}

// New writes a first manifest for the recordings in a folder and below it, the people
// of a list and the one score that is there. It never overwrites one. ffmpeg is
// needed only where there are files to look into.
func New(ctx context.Context, set Settings, o NewOptions) (NewResult, error) {
	var r NewResult
	dir := filepath.Clean(set.Dir)
	r.Manifest = filepath.Join(dir, manifest.FileName)
	if _, err := os.Lstat(r.Manifest); err == nil {
		return r, fault.New(fault.Manifest, r.Manifest, "there is a manifest already",
			"edit it, or move it away and run new again")
	}
	if err := requireFolder(dir); err != nil {
		return r, err
	}
	draft := manifest.Scaffold{Title: o.Title}
	var err error
	var notes []string
	if o.Roster != "" {
		if draft.People, notes, err = manifest.LoadRoster(o.Roster); err != nil {
			return r, err
		}
	}
	if !o.Empty {
		if draft.Files, r.Unguessed, err = findTakes(ctx, set, dir); err != nil {
			return r, err
		}
		if len(draft.Files)+len(draft.People) == 0 {
			return r, fault.New(fault.Manifest, dir, "no recordings were found here", "put the takes into this "+
				"folder or one below it but out, use --dir, or write a manifest before there are any with --empty")
		}
	}
	draft.Score, err = manifest.OneScore(dir, func() ([]string, error) { return arrival.Scores(dir, set.Out) },
		func(note string) { notes = append(notes, note) })
	if err != nil {
		return r, err
	}
	data, unguessed := draft.Write()
	man, err := manifest.Parse(r.Manifest, data)
	if err != nil {
		return r, err // a bug: what is scaffolded must load
	}
	r.Takes, r.Score, r.Remarks = len(man.Takes), draft.Score, man.ScoreRemarks()
	r.Unguessed = slices.Concat(unguessed, notes, r.Unguessed, arrival.AstrayNotes(man, set.Out))
	return r, store.Publish(ctx, r.Manifest, func(tmp string) error { return os.WriteFile(tmp, data, 0o666) })
}

// requireFolder refuses what is not a folder.
func requireFolder(dir string) error {
	st, err := os.Stat(dir)
	if err == nil && st.IsDir() {
		return nil
	}
	f := fault.New(fault.Manifest, dir, "this is not a folder", "give the folder with the takes as --dir")
	if errors.Is(err, fs.ErrNotExist) {
		f.What = "there is no such folder"
	} else if err != nil {
		f.What, f.Cause = "the folder cannot be inspected", err
	}
	return f
}

// findTakes looks into every recording of a folder; leftOut says which cannot be
// read. A file that cannot be read is no reason to write no manifest.
func findTakes(ctx context.Context, set Settings, dir string) (files []manifest.ScaffoldFile, leftOut []string,
	err error) {
	tool, err := set.Programs.Find(ctx)
	if err != nil {
		return nil, nil, err
	}
	var found []string
	err = arrival.Walk(dir, set.Out, func(rel string, _ fs.FileInfo) { found = append(found, rel) })
	for _, rel := range found {
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		info, err := probeForNew(ctx, set, dir, rel, func(abs string) (media.Info, error) {
			return media.Probe(ctx, tool, abs)
		})
		if err != nil {
			leftOut = append(leftOut, rel+" is left out: "+err.Error())
			continue
		}
		files = append(files, manifest.ScaffoldFile{Path: filepath.ToSlash(rel), HasVideo: info.Video != nil,
			HasAudio: info.Audio != nil})
	}
	return files, leftOut, err
}

// probeForNew probes one file of a folder for the first draft, and shows that it is
// at work on it.
func probeForNew(ctx context.Context, set Settings, dir, rel string, probe func(string) (media.Info,
	error)) (media.Info, error) {
	work := set.Report.Add("look", rel, 0.1)
	work.Start()
	abs, err := media.Resolve(dir, rel)
	var info media.Info
	if err == nil {
		info, err = probe(abs)
	}
	work.Finish(err)
	return info, err
}
