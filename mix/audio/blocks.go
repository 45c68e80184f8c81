package audio

import (
	"io"
	"iter"
)

// Blocks yields what src has, in blocks of frames frames (1 or more), the last one
// shorter. A block is overwritten by the next. What src fails with comes last, with no
// block; its end is no error, and io.ErrNoProgress is that of a source that gives neither
// frames nor an error. Whoever stops early leaves the rest in src.
func Blocks(src Source, frames int) iter.Seq2[Block, error] {
	return func(yield func(Block, error) bool) {
		buf := NewBlock(src.Channels(), frames)
		for {
			n, err := src.Read(buf)
			if n == 0 && err == nil {
				err = io.ErrNoProgress
			}
			if n > 0 && !yield(buf.Slice(0, n), nil) || err == io.EOF {
				return
			}
			if err != nil {
				yield(nil, err)
				return
			}
		}
	}
}
