package resample

import (
	"io"

	"ripieno/mix/audio"
)

// doubled is a source at twice its rate: its samples and, between them, the
// wave. It is the first of two steps of an upward or drifting conversion: the
// steep filter runs at fixed half-sample places, where it is symmetric and half
// its products fall away, and the step after it, with no neighbour within an
// octave, makes do with a filter of a fifth of the length.
type doubled struct {
	src   audio.Source
	half  []float64   // the filter's right half; the left one is its mirror
	in    audio.Block // source frames from at−len(half)+1 on
	out   audio.Block // the last block
	rest  audio.Rest
	skip  int64 // source frames to drop before the first
	ended bool
	end   error
	box   audio.Block
}

// newDoubled doubles src after dropping its first skip frames. Frame 2k of the
// result is frame skip+k of src.
func newDoubled(src audio.Source, to int, skip int64) *doubled {
	k := direct(src.Rate(), max(to, src.Rate()))
	k.taps = (k.taps + 7) / 8 * 8
	row := make([]float64, k.taps)
	k.row(row, 0.5)
	d := &doubled{src: src, half: row[k.taps/2:], skip: skip}
	d.in = audio.NewBlock(src.Channels(), len(d.half)-1)
	d.box = audio.NewBlock(src.Channels(), readFrames)
	return d
}

// Channels implements [audio.Source].
func (d *doubled) Channels() int { return d.src.Channels() }

// Rate implements [audio.Source]: twice the source's.
func (d *doubled) Rate() int { return 2 * d.src.Rate() }

// read appends at most most source frames to d.in.
func (d *doubled) read(most int) int {
	n, err := d.src.Read(d.box.Slice(0, most))
	for c := range d.in {
		d.in[c] = append(d.in[c], d.box[c][:n]...)
	}
	if err == nil && n == 0 {
		err = io.ErrNoProgress
	}
	if err != nil {
		d.ended, d.end = true, err
		for c := range d.in {
			d.in[c] = append(d.in[c], make([]float64, len(d.half))...)
		}
	}
	return n
}

// Read implements [audio.Source].
func (d *doubled) Read(dst audio.Block) (int, error) {
	return d.rest.ReadUntil(dst, d.next, &d.end)
}

// next doubles what can be doubled, at least one frame unless the source has
// ended; nil after the end.
func (d *doubled) next() audio.Block {
	past := len(d.half) - 1
	for d.skip > 0 && !d.ended {
		n := d.read(int(min(d.skip, readFrames)))
		d.skip -= int64(n)
		for c, x := range d.in {
			d.in[c] = x[:copy(x, x[n:])]
		}
	}
	for !d.ended && d.in.Frames() < past+len(d.half)+readFrames/2 {
		d.read(readFrames)
	}
	n := d.in.Frames() - past - len(d.half)
	if n <= 0 {
		return nil
	}
	if cap(d.out[:0]) == 0 || d.out.Frames() != 2*n {
		d.out = audio.NewBlock(d.Channels(), 2*n)
	}
	for c, x := range d.in {
		double(d.out[c], x, d.half)
		d.in[c] = x[:copy(x, x[n:])]
	}
	return d.out
}
