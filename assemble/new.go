package assemble

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"ripieno/assemble/arrival"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
)

// New writes a first manifest for the recordings in a folder and below it. It
// never overwrites one.
func New(ctx context.Context, set Settings, title string) (NewResult, error) {
	var r NewResult
	dir := filepath.Clean(set.Dir)
	r.Manifest = filepath.Join(dir, manifest.FileName)
	if _, err := os.Lstat(r.Manifest); err == nil {
		return r, fault.New(fault.Manifest, r.Manifest, "there is a manifest already",
			"edit it, or move it away and run new again")
	}
	if st, err := os.Stat(dir); err != nil || !st.IsDir() {
		f := fault.New(fault.Manifest, dir, "this is not a folder", "give the folder with the takes as --dir")
		if errors.Is(err, fs.ErrNotExist) {
			f.What = "there is no such folder"
		} else if err != nil {
			f.What, f.Cause = "the folder cannot be inspected", err
		}
		return r, f
	}
	tool, err := set.Programs.Find(ctx)
	if err != nil {
		return r, err
	}
	var files []manifest.ScaffoldFile
	var found []string
	err = arrival.Walk(dir, set.Out, func(rel string, _ fs.FileInfo) { found = append(found, rel) })
	for _, rel := range found {
		if ctx.Err() != nil {
			return r, ctx.Err()
		}
		info, err := probeForNew(ctx, set, dir, rel, func(abs string) (media.Info, error) {
			return media.Probe(ctx, tool, abs)
		})
		if err != nil {
			r.Unguessed = append(r.Unguessed, rel+" is left out: "+err.Error())
			continue
		}
		files = append(files, manifest.ScaffoldFile{Path: filepath.ToSlash(rel), HasVideo: info.Video != nil,
			HasAudio: info.Audio != nil})
	}
	if err != nil {
		return r, err
	}
	if len(files) == 0 {
		return r, fault.New(fault.Manifest, dir, "no recordings were found here",
			"put the takes into this folder or one below it, or use --dir")
	}
	data, unguessed := manifest.Scaffold(files, title)
	man, err := manifest.Parse(r.Manifest, data)
	if err != nil {
		return r, err // a bug: what is scaffolded must load
	}
	r.Takes = len(man.Takes)
	r.Unguessed = append(unguessed, r.Unguessed...)
	return r, store.Publish(ctx, r.Manifest, func(tmp string) error { return os.WriteFile(tmp, data, 0o666) })
}

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
