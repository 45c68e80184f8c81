package assemble

import (
	"context"
	"errors"
	"path/filepath"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/layout/motion"
)

// Roles of a take's files.
const (
	roleVideo = "video"
	roleAudio = "audio"
)

// recording is one file of a take.
type recording struct {
	take  int    // index into the manifest's takes
	owner string // that take's name
	role  string
	file  *manifest.File
	path  string // absolute
	hash  store.ID
	info  media.Info
	err   error // why the file cannot be used; the rest is then empty
	short *shortPicture
	// unseen is set for a video whose picture its player has not released.
	unseen bool
	// subject is where the player is, when the take asks for it.
	subject *motion.Subject
	gain    [3]float64 // on the signal's channels, to match the light of the others; zero for none
}

// name is unique in a production.
func (r *recording) name() string { return r.owner + "/" + r.role }

// recordings looks at every file of every take: is it there, what is it, what
// does it hold. A bad file has its err set and stops no other.
func (p *Production) recordings(ctx context.Context) ([]*recording, error) {
	if err := p.Manifest().NeedTakes(); err != nil {
		return nil, err
	}
	var all []*recording
	for i := range p.Manifest().Takes {
		t := &p.Manifest().Takes[i]
		for _, f := range []struct {
			role string
			file *manifest.File
		}{{roleVideo, t.Video}, {roleAudio, t.Audio}} {
			if f.file != nil {
				unseen := f.role == roleVideo && !t.ShowsPicture()
				all = append(all, &recording{take: i, owner: t.Name, role: f.role, file: f.file, unseen: unseen})
			}
		}
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(p.Workers())
	for _, r := range all {
		group.Go(func() error {
			r.err = r.named(p.inspect(ctx, r))
			return ctx.Err()
		})
	}
	return all, group.Wait()
}

// named makes a fault speak of a file as the manifest does.
func (r *recording) named(err error) error {
	var f *fault.Fault
	if errors.As(err, &f) && f.Where == r.path {
		f.Where = r.file.Path
	}
	return err
}

// inspect fills in what is known of one file.
func (p *Production) inspect(ctx context.Context, r *recording) (err error) {
	if r.path, err = media.Resolve(p.Manifest().Dir, r.file.Path); err != nil {
		return err
	}
	if r.hash, err = p.Store().HashFile(ctx, r.path); err != nil {
		return err
	}
	// A file's name decides nothing, but messages name it.
	key := store.NewAction("probe").Version(media.Rule).Arg("ffprobe", p.Tool().Version.Text).
		Arg("name", filepath.Base(r.path)).Input("file", r.hash).Ext(".gob").For(r.file.Path)
	r.info, err = session.Cached(ctx, p.Store(), key, func() (media.Info, error) {
		return media.Probe(ctx, p.Tool(), r.path)
	})
	if err != nil {
		return err
	}
	r.info.Path = r.path
	if r.unseen {
		// Nothing may be made of the picture, so nothing gets to see it.
		r.info.Video = nil
		if p.Manifest().Takes[r.take].Audio != nil {
			return nil // its sound only helps to place the other
		}
		return r.info.NeedAudio()
	}
	if r.role == roleVideo {
		return r.info.NeedVideo()
	}
	return r.info.NeedAudio()
}

// bad turns what is wrong with a take into the words of a result.
func bad(take, kind string, err error) Bad {
	b := Bad{Take: take, What: err.Error(), Kind: kind}
	var f *fault.Fault
	if errors.As(err, &f) {
		b.What, b.Hint = f.Error(), f.Hint
	}
	return b
}
