package audio

import (
	"fmt"
	"io"
	"sync"
)

// Ahead reads a source in a goroutine of its own, some blocks before they are
// asked for, so that what makes a sound and what uses it work at the same time.
// The frames are those of the source.
//
// The goroutine begins with the first Read and ends with the source; an Ahead
// that is not read to its end must be closed. Until the end or Close the source
// belongs to the goroutine. One Ahead serves one goroutine.
type Ahead struct {
	src      Source
	channels int
	rate     int
	full     chan parcel
	empty    chan Block
	stop     chan struct{}
	running  sync.WaitGroup
	began    bool
	rest     Rest
	used     Block // the block it came in
	err      error
}

// parcel is a block with its frames and what came after them.
type parcel struct {
	block Block
	n     int
	err   error
}

// Two blocks of a sixth of a second are on their way while a third is used:
// enough to even out steps of different cost.
const (
	aheadBlocks = 3
	aheadFrames = 8192
)

// NewAhead returns src, read ahead.
func NewAhead(src Source) *Ahead {
	return &Ahead{
		src: src, channels: src.Channels(), rate: src.Rate(),
		full: make(chan parcel, aheadBlocks), empty: make(chan Block, aheadBlocks), stop: make(chan struct{}),
	}
}

// Channels implements [Source].
func (a *Ahead) Channels() int { return a.channels }

// Rate implements [Source].
func (a *Ahead) Rate() int { return a.rate }

// Read implements [Source].
func (a *Ahead) Read(dst Block) (int, error) {
	if len(dst) != a.channels {
		return 0, fmt.Errorf("audio: read into %d channels from a source of %d", len(dst), a.channels)
	}
	return a.rest.ReadUntil(dst, a.next, &a.err)
}

// next waits for the next block; nil after the end.
func (a *Ahead) next() Block {
	if a.err != nil {
		return nil
	}
	if !a.began {
		a.began = true
		for range aheadBlocks {
			a.empty <- NewBlock(a.channels, aheadFrames)
		}
		a.running.Go(a.run)
	}
	if a.used != nil {
		a.empty <- a.used
	}
	b := <-a.full
	a.used, a.err = b.block, b.err
	return b.block.Slice(0, b.n)
}

// run reads until the source ends or nobody wants more.
func (a *Ahead) run() {
	for {
		var b parcel
		select {
		case b.block = <-a.empty:
		case <-a.stop:
			return
		}
		b.n, b.err = a.src.Read(b.block)
		if b.n == 0 && b.err == nil {
			b.err = io.ErrNoProgress
		}
		a.full <- b // never waits: there are no more blocks than places
		if b.err != nil {
			return
		}
	}
}

// Close ends the reading, waits for it, and closes the source if it can be
// closed. Reading after it gives an error. Only the first call does something.
func (a *Ahead) Close() error {
	select {
	case <-a.stop:
		return nil
	default:
	}
	close(a.stop)
	a.running.Wait()
	if a.err == nil {
		a.err, a.rest = io.ErrClosedPipe, Rest{}
	}
	return Close(a.src)
}
