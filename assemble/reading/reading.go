// Package reading reads the pictures of takes: under the limits for files from
// strangers, with patience by how much of a file has to be decoded before there
// is a frame, with one thread, and from a file that is the same before and after.
// Package picture conforms takes through it, package takes measures them.
package reading

import (
	"context"
	"runtime"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
)

// threads is how many threads a decoder of a take's picture has. What decoders
// make of damage depends on it, in HEVC even on which thread is faster, and mostly
// on nothing else: of 150 files of H.264 with one wrong bit 122 decode to another
// picture with three threads, and of a third of those the decoder says nothing.
// So it is the same for all, whatever the machine and its work.
const threads = 1

// Estimated peak memory in bytes of what looks at files and listens to them, by
// the resident size of ffmpeg 5.1.9 on 2 cores: probing takes 56 MB, 73 of a
// picture of 2160 lines and 100 of one in 4:4:4; decoding a sound 60, and hardly
// more for others in the same process, which are counted all the same.
const (
	ProbeMemory = 100e6
	SoundMemory = 60e6
)

// Peak memory of conforming as it was measured on ffmpeg 5.1.9, on 2 cores: 720,
// 1080, 2160 lines take 70-79, 82-100, 150-212 MB.
const (
	conformBase   = 45e6
	conformFrames = 14
)

// FrameBytes returns the size of one frame of 4:2:0 video.
func FrameBytes(w, h int) float64 { return 1.5 * float64(w) * float64(h) }

// Memory returns the estimated peak of conforming a picture, in bytes. The
// decoder holds a few frames for each core.
func Memory(c plan.Conform) int64 {
	frames := float64(conformFrames + 2*runtime.NumCPU())
	m := conformBase + frames*FrameBytes(c.Picture.W, c.Picture.H)
	if c.Picture.HDR { // tone mapping works on floats
		m += 6 * 12 * float64(c.W) * float64(c.H)
	}
	return int64(m)
}

// Limits bound the conforming of a picture that is estimated to cost so many
// seconds: several times what is estimated, so that no honest film comes near. A
// file of pictures of which each is kept by itself is never larger than the
// pictures as they are.
func Limits(c plan.Conform, cost float64) ffmpeg.Limits {
	const spare, most = 1_000_000_000, 100 // bytes; times the estimated cost
	return ffmpeg.Limits{
		Memory: spare + 4*Memory(c),
		File:   spare + int64(2*float64(c.Frames.Len())*FrameBytes(c.W, c.H)),
		CPU:    time.Minute + time.Duration(most*cost*float64(time.Second)),
	}
}

// Steady runs read and vouches that the file it read is the one with the hash
// given; see [store.Store.Steady].
type Steady func(ctx context.Context, path string, hash store.ID, read func(ctx context.Context) error) error

// Picture returns Steady for the file of a picture. The zero Steady only reads. It fails
// with read, when the file changed meanwhile, and for a hash that is none.
func (s Steady) Picture(ctx context.Context, pic plan.Picture, read func(ctx context.Context) error) error {
	if s == nil {
		return read(ctx)
	}
	id, err := store.ParseID(pic.Hash)
	if err != nil {
		return err
	}
	return s(ctx, pic.Path, id, read)
}

// Source returns a take's picture as an input, under the limits for files from
// strangers.
func Source(tool *ffmpeg.Tool, pic plan.Picture) graph.Source {
	src := graph.SourceOf(pic, media.InputOptions(tool), tool.Filter("zscale"))
	src.Threads = threads
	return src
}

// Job is how the picture of a take is read.
type Job struct {
	Tmp     string // the output
	Frames  int    // of the output; 0: no matter
	Advance func(float64)
	Before  float64 // seconds of the file that are decoded before the first frame wanted
	Limits  ffmpeg.Limits
	// Checks says that the file is not accepted yet, so that it is counted for what the
	// file is allowed.
	Checks bool
}

// Take runs a command that reads the picture of a take, with an error that names
// the file.
func Take(ctx context.Context, tool *ffmpeg.Tool, c graph.Command, pic plan.Picture, j Job) error {
	// What comes before is decoded too: a picture of 8K in HEVC at a sixth of its
	// speed, on a computer a fifth as fast as the one tried.
	const slow = 30
	j.Limits.CPU += time.Duration(slow * j.Before * float64(time.Second))
	err := tool.RunGraphWith(ctx, c, j.Tmp, ffmpeg.Command{
		About: pic.Path, Accepted: !j.Checks, Patience: media.Patience(j.Before), Limits: j.Limits,
		Progress: func(pr ffmpeg.Progress) {
			if j.Frames > 0 && j.Advance != nil {
				j.Advance(float64(pr.Frame) / float64(j.Frames))
			}
		},
	}, media.Allocation()...)
	return media.DecodeFault(ctx, pic.Path, err)
}
