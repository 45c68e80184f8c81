package assemble

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/fault"
	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/layout/flash"
	"ripieno/layout/light"
	"ripieno/layout/motion"
	"ripieno/mix"
	"ripieno/mix/align"
	"ripieno/mix/playing"
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
	if err := p.man.NeedTakes(); err != nil {
		return nil, err
	}
	var all []*recording
	for i := range p.man.Takes {
		t := &p.man.Takes[i]
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
	group.SetLimit(p.probes())
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
	if r.path, err = media.Resolve(p.man.Dir, r.file.Path); err != nil {
		return err
	}
	if r.hash, err = p.store.HashFile(ctx, r.path); err != nil {
		return err
	}
	// A file's name decides nothing, but messages name it.
	key := store.NewAction("probe").Version(media.Rule).Arg("ffprobe", p.tool.Version.Text).Arg("limits", media.Limits).
		Arg("name", filepath.Base(r.path)).Input("file", r.hash).Ext(".gob").For(r.file.Path)
	if r.file.Track > 0 {
		key = key.Arg("track", r.file.Track)
	}
	if len(p.tool.Codecs) > 0 {
		key = key.Arg("codecs", p.tool.Codecs)
	}
	r.info, err = cached(ctx, p.store, key, func() (info media.Info, err error) {
		err = p.store.Steady(ctx, r.path, r.hash, func() (err error) {
			info, err = media.ProbeTrack(ctx, p.tool, r.path, r.file.Track)
			return err
		})
		return info, err
	})
	if err != nil {
		return err
	}
	r.info.Path = r.path
	if r.unseen {
		// Nothing may be made of the picture, so nothing gets to see it.
		r.info.Video = nil
		if p.man.Takes[r.take].Audio != nil {
			return nil // its sound only helps to place the other
		}
		return r.info.NeedAudio()
	}
	if r.role == roleVideo {
		return r.info.NeedVideo()
	}
	return r.info.NeedAudio()
}

// cached returns the stored value of an action, computing it when it is not
// there. The value must survive gob: exported fields only.
func cached[T any](ctx context.Context, s *store.Store, key store.Action, compute func() (T, error)) (T, error) {
	var value T
	path, err := s.Put(ctx, key, func(tmp string) error {
		v, err := compute()
		if err != nil {
			return err
		}
		return save(tmp, v)
	})
	if err != nil {
		return value, err
	}
	return load[T](path)
}

// numberTypes gives the types that are stored their numbers in gob's streams.
// They are handed out in the order in which a process first meets the types,
// so without this the bytes of a stored value would depend on what else the
// process did. Whatever is passed to save belongs in the list, at its end.
var numberTypes = sync.OnceValue(func() error {
	enc := gob.NewEncoder(io.Discard)
	for _, v := range []any{media.Info{}, &align.Features{}, align.Match{}, mix.Analysis{}, soundReport{}, intake.Sound{}, intake.Picture{},
		voiceInfo{}, flash.Result{}, light.RGB{}, &playing.Tones{}, media.Decoded{}, heardSound{}, playing.Pace{}} {
		if err := enc.Encode(v); err != nil {
			return err
		}
	}
	return nil
})

// save stores a value. Unlike JSON, gob keeps infinities.
func save[T any](path string, value T) error {
	if err := numberTypes(); err != nil {
		return err
	}
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(value); err != nil {
		return err
	}
	return os.WriteFile(path, buf.Bytes(), 0o666)
}

// load reads a value that save stored.
func load[T any](path string) (T, error) {
	var value T
	data, err := os.ReadFile(path)
	if err != nil {
		return value, err
	}
	return value, gob.NewDecoder(bytes.NewReader(data)).Decode(&value)
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
