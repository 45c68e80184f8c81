package audio

// Overlap is a source that is worked at in frames that overlap, and added up again from
// what becomes of them. It is not delayed: its frames are as many as those of the source,
// and lie where they lay.
type Overlap struct {
	src   Source
	work  func(sum, frame Block)
	hop   int
	frame Block // the input
	sum   Block // overlapping output
	ready Block // frames of sum that are finished, up to one hop
	rest  Rest
	skip  int   // output frames before the recording
	left  int64 // output frames still due once the source has ended
	ended bool
	end   error
}

// NewOverlap returns src, worked at in frames of size samples, a multiple of hop, of which
// each begins a hop after the one before; the first has one hop of the recording, and silence
// before it and after the last. work adds what becomes of a frame to sum, of which the first
// hop is finished then. Work that looks ahead adds, instead of the frame it gets, the one
// that it got so many frames ago as late says; frame is not its own to change.
func NewOverlap(src Source, size, hop, late int, work func(sum, frame Block)) *Overlap {
	ch := src.Channels()
	return &Overlap{src: src, work: work, hop: hop, frame: NewBlock(ch, size), sum: NewBlock(ch, size),
		ready: NewBlock(ch, hop), skip: size - hop + late*hop}
}

// Channels implements [Source].
func (o *Overlap) Channels() int { return o.src.Channels() }

// Rate implements [Source].
func (o *Overlap) Rate() int { return o.src.Rate() }

// Read implements [Source].
func (o *Overlap) Read(dst Block) (int, error) { return o.rest.ReadUntil(dst, o.next, &o.end) }

// next returns one hop of output, less at the end, nil after it.
func (o *Overlap) next() Block {
	for ; o.skip > 0; o.skip -= o.hop {
		o.step()
	}
	if o.ended && o.left <= 0 {
		return nil
	}
	o.step()
	n := o.hop
	if o.ended {
		n = int(max(0, min(int64(n), o.left)))
	}
	o.left -= int64(n)
	return o.ready.Slice(0, n)
}

// step takes one hop of input and finishes one hop of output.
func (o *Overlap) step() {
	size := o.frame.Frames()
	push(o.frame, o.hop)
	if !o.ended {
		n, err := ReadFull(o.src, o.frame.Slice(size-o.hop, size))
		o.left += int64(n)
		if err != nil {
			o.ended, o.end = true, err
		}
	}
	o.work(o.sum, o.frame)
	for c := range o.ready {
		copy(o.ready[c], o.sum[c])
	}
	push(o.sum, o.hop)
}

// push moves b so many frames to the front, and leaves silence behind.
func push(b Block, frames int) {
	for _, x := range b {
		copy(x, x[frames:])
		clear(x[len(x)-frames:])
	}
}
