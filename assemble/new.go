package assemble

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
)

// recordingExt are the endings of files that `new` looks at. What a file
// really is decides its content; this only keeps letters and scores out.
var recordingExt = []string{
	".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi",
	".wav", ".m4a", ".mp3", ".aac", ".flac", ".ogg", ".opus", ".aif", ".aiff",
}

// New writes a first manifest for the recordings in a folder and below it. It
// never overwrites one.
func New(ctx context.Context, set Settings, title string) (NewResult, error) {
	var r NewResult
	dir := filepath.Clean(set.Dir)
	r.Manifest = filepath.Join(dir, manifest.FileName)
	if _, err := os.Lstat(r.Manifest); err == nil {
		return r, fault.New(fault.Manifest, r.Manifest, "there is a manifest already", "edit it, or move it away and run new again")
	}
	tool, err := set.Programs.Find(ctx)
	if err != nil {
		return r, err
	}
	var files []manifest.ScaffoldFile
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || ctx.Err() != nil {
			return errors.Join(err, ctx.Err())
		}
		hidden := strings.HasPrefix(d.Name(), ".") && path != dir
		if d.IsDir() {
			if hidden || d.Name() == outFolder {
				return fs.SkipDir
			}
			return nil
		}
		if hidden || !slices.Contains(recordingExt, strings.ToLower(filepath.Ext(path))) {
			return nil
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		info, err := probeForNew(ctx, set, dir, rel, func(abs string) (media.Info, error) { return media.Probe(ctx, tool, abs) })
		if err != nil {
			r.Unguessed = append(r.Unguessed, rel+" is left out: "+err.Error())
			return nil
		}
		files = append(files, manifest.ScaffoldFile{Path: filepath.ToSlash(rel), HasVideo: info.Video != nil, HasAudio: info.Audio != nil})
		return nil
	})
	if err != nil {
		return r, err
	}
	if len(files) == 0 {
		return r, fault.New(fault.Manifest, dir, "no recordings were found here", "put the takes into this folder or one below it, or use --dir")
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

func probeForNew(ctx context.Context, set Settings, dir, rel string, probe func(string) (media.Info, error)) (media.Info, error) {
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
