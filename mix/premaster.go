package mix

import (
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"ripieno/mix/audio"
	"ripieno/mix/room"
)

// Options are what all strips of a mix share.
type Options struct {
	Start  audio.Frames // guide frame of the first output frame
	Length audio.Frames // output frames, 0 or more
	Room   float64      // share of reverberation: its amplitude beside the dry sum; 0 none, at most 4
	Hall   room.Hall    // which room

	// Impulse is a recorded room to use instead of Hall; nil: none.
	Impulse *room.Impulse

	FadeIn, FadeOut audio.Frames // of the whole programme; 0 none

	// Workers is how many strips are computed at the same time; 0 stands for
	// the number of processors. It does not change a bit of the result.
	Workers int
}

// PreMaster adds the strips up to a stereo programme of exactly o.Length frames
// at [audio.Rate]. Levels above full scale are kept; nothing limits them here.
// Without strips it is silence.
//
// The programme is linear in its strips: the PreMasters of any partition of
// the strips, with the same options, add up to the PreMaster of all of them.
// That is how stems are made.
//
// Settings that are not numbers, or a strip that cannot be opened in principle,
// are errors here, all of them joined, each a [*StripError]. Recordings are
// opened when they first sound. When one fails, the programme ends there with a
// [*StripError] that names it, or several joined in the order of the strips.
// The result is an [io.Closer]; it closes itself at its end and after an error.
func PreMaster(strips []Strip, o Options) (audio.Source, error) {
	var faults []error
	if o.Length < 0 || math.IsNaN(o.Room) || o.Room < 0 || o.Room > 4 {
		faults = append(faults, fmt.Errorf("mix: length %d frames, room %v: out of range", o.Length, o.Room))
	}
	for i := range strips {
		if err := strips[i].check(); err != nil {
			faults = append(faults, err)
		}
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	b := &bus{options: o, sum: audio.NewBlock(2, block)}
	for i := range strips {
		s := strips[i]
		b.channels = append(b.channels, newChannel(&s, o.Start))
	}
	if o.Room > 0 {
		if o.Impulse != nil {
			b.reverb = room.NewConvolver(o.Impulse)
		} else {
			b.reverb = room.New(o.Hall)
		}
		b.sends = audio.NewBlock(2, block)
	}
	if b.options.Workers <= 0 {
		b.options.Workers = runtime.GOMAXPROCS(0)
	}
	return b, nil
}

// reverb is either kind of room. The bus feeds it blocks of room.Partition.
type reverb interface {
	Process(out, in audio.Block)
}

// bus is a running PreMaster.
type bus struct {
	options  Options
	channels []*channel
	reverb   reverb
	sum      audio.Block
	sends    audio.Block
	done     audio.Frames // frames added up
	ahead    int          // frames the strips are computing or have computed beyond them
	working  sync.WaitGroup
	rest     audio.Rest
	err      error
}

// Channels implements [audio.Source].
func (b *bus) Channels() int { return 2 }

// Rate implements [audio.Source].
func (b *bus) Rate() int { return audio.Rate }

// Read implements [audio.Source].
func (b *bus) Read(dst audio.Block) (int, error) {
	if len(dst) != 2 {
		return 0, fmt.Errorf("mix: read into %d channels from a stereo bus", len(dst))
	}
	return b.rest.ReadUntil(dst, b.next, &b.err)
}

// Close lets go of all recordings. Reading after it fails.
func (b *bus) Close() error {
	b.working.Wait()
	var errs []error
	for _, c := range b.channels {
		c.close()
		if c.err != nil {
			errs = append(errs, &StripError{c.strip.Name, c.err})
		}
	}
	if b.err == nil {
		b.err, b.rest = errors.New("mix: the programme was closed"), audio.Rest{}
		return errors.Join(errs...)
	}
	return nil
}

// next completes one block of the programme, or sets b.err and returns nil.
// While it adds the strips up, they compute the block after it.
func (b *bus) next() audio.Block {
	if b.err != nil {
		return nil
	}
	if b.ahead == 0 {
		b.compute(b.done)
	}
	b.working.Wait()
	n := b.ahead
	if n == 0 {
		b.finish(io.EOF)
		return nil
	}
	var errs []error
	for _, c := range b.channels {
		if c.err != nil {
			errs = append(errs, &StripError{c.strip.Name, c.err})
		}
		c.out, c.was, c.heard = c.was, c.out, c.loud
	}
	switch len(errs) {
	case 0:
	case 1:
		b.finish(errs[0])
		return nil
	default:
		b.finish(errors.Join(errs...))
		return nil
	}
	b.compute(b.done + audio.Frames(n))
	b.add(n)
	b.fades(n)
	b.done += audio.Frames(n)
	return b.sum.Slice(0, n)
}

// finish sets the final error and lets go of the recordings. An error at
// closing must not be lost either.
func (b *bus) finish(err error) {
	b.err = err
	for _, c := range b.channels {
		failed := c.err != nil
		c.close()
		if err == io.EOF && !failed && c.err != nil {
			b.err = &StripError{c.strip.Name, c.err}
		}
	}
}

// compute begins to run every strip for the block at frame from of the
// programme; b.working tells when it is done. Strips share nothing, so which
// worker takes which does not matter.
func (b *bus) compute(from audio.Frames) {
	n := int(max(0, min(block, b.options.Length-from)))
	b.ahead = n
	if n == 0 {
		return
	}
	var taken atomic.Int64
	for range min(b.options.Workers, len(b.channels)) {
		b.working.Go(func() {
			for {
				i := int(taken.Add(1)) - 1
				if i >= len(b.channels) {
					return
				}
				b.channels[i].run(n)
			}
		})
	}
}

// add sums the strips in their order, which fixes the rounding, and adds the
// room.
func (b *bus) add(n int) {
	sum := b.sum.Slice(0, n)
	sum.Clear()
	var sends audio.Block
	if b.reverb != nil {
		sends = b.sends.Slice(0, n)
		sends.Clear()
	}
	for _, c := range b.channels {
		if !c.heard {
			continue
		}
		for k := range sum {
			accumulate(sum[k], c.was[k][:n], 1)
		}
		if b.reverb != nil && c.send > 0 {
			for k := range sends {
				accumulate(sends[k], c.was[k][:n], c.send)
			}
		}
	}
	if b.reverb != nil {
		b.reverb.Process(sends, sends)
		for k := range sum {
			accumulate(sum[k], sends[k], b.options.Room)
		}
	}
}

// accumulate adds gain times x to sum.
func accumulate(sum, x []float64, gain float64) {
	x = x[:len(sum)]
	for i := range sum {
		sum[i] += gain * x[i]
	}
}

// fades fades the programme's beginning and end.
func (b *bus) fades(n int) {
	sum, o := b.sum.Slice(0, n), b.options
	if o.FadeIn > 0 {
		slope(sum, b.done, Span{0, o.FadeIn}, true)
	}
	if o.FadeOut > 0 {
		slope(sum, b.done, Span{o.Length - o.FadeOut, o.Length}, false)
	}
}
