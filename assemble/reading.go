package assemble

import (
	"context"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// Estimated peak memory in bytes of what looks at files and listens to them, by
// the resident size of ffmpeg 5.1.9 on 2 cores: probing takes 56 MB, 73 of a
// picture of 2160 lines and 100 of one in 4:4:4; decoding a sound 60, and hardly
// more for others in the same process, which are counted all the same.
const (
	memoryProbe = 100e6
	memorySound = 60e6
)

// probes is how many files may be probed at once.
func (p *Production) probes() int {
	return max(1, min(p.set.Workers, int(p.set.Memory/memoryProbe)))
}

// readTake runs a command that reads the picture of a take: under the limits for
// files from strangers, with patience by how much of it has to be decoded before
// there is a frame, and with an error that names the file.
func (p *Production) readTake(ctx context.Context, c graph.Command, pic plan.Picture, r reading) error {
	err := p.runWith(ctx, c, r.tmp, ffmpeg.Command{
		About: pic.Path, Patience: media.Patience(r.before), Limits: r.limits,
		Progress: func(pr ffmpeg.Progress) {
			if r.frames > 0 && r.advance != nil {
				r.advance(float64(pr.Frame) / float64(r.frames))
			}
		},
	}, media.Allocation()...)
	return media.DecodeFault(ctx, pic.Path, err)
}

// reading is how the picture of a take is read.
type reading struct {
	tmp     string
	frames  int // of the output; 0: no matter
	advance func(float64)
	before  float64 // seconds of the file that are decoded before the first frame wanted
	limits  ffmpeg.Limits
}

// conformLimits bound the conforming of a picture: several times what is
// estimated, so that no honest film comes near. A file of pictures of which each
// is kept by itself is never larger than the pictures as they are.
func conformLimits(c plan.Conform, cost float64) ffmpeg.Limits {
	const spare, most = 1_000_000_000, 100 // bytes; times the estimated cost
	return ffmpeg.Limits{
		Memory: spare + 4*conformMemory(c),
		File:   spare + int64(2*float64(c.Frames.Len())*frameBytes(c.W, c.H)),
		CPU:    time.Hour + time.Duration(most*cost*float64(time.Second)),
	}
}

// steady is [store.Store.Steady] for the file of a picture.
func (p *Production) steady(ctx context.Context, pic plan.Picture, read func() error) error {
	id, err := store.ParseID(pic.Hash)
	if err != nil {
		return err
	}
	return p.store.Steady(ctx, pic.Path, id, read)
}

// steadyAll is [store.Store.Steady] for the files of several recordings at once,
// which read reads together. There is an error for each.
func (p *Production) steadyAll(ctx context.Context, members []task.Member, recs map[string]*recording, read func()) []error {
	wrong := make([]error, len(members))
	var nested func(k int)
	nested = func(k int) {
		if k == len(members) {
			read()
			return
		}
		r, done := recs[members[k].ID], false
		wrong[k] = p.store.Steady(ctx, r.path, r.hash, func() error {
			done = true
			nested(k + 1)
			return nil
		})
		if !done { // the others are read all the same
			nested(k + 1)
		}
	}
	nested(0)
	return wrong
}
