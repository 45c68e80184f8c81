// Package audiotest checks that a Source keeps its contract. Every package
// that makes a Source calls it from a test.
package audiotest

import (
	"io"
	"testing"

	"ripieno/mix/audio"
)

// Source reads the source that open makes with several block sizes and fails
// t when the samples differ, when a short read comes before the end, or when
// the end is not 0, io.EOF again and again.
func Source(t *testing.T, open func() audio.Source) {
	t.Helper()
	var first audio.Block
	for _, size := range []int{4096, 1, 7, 480, 100_000} {
		got := drain(t, open(), size)
		if first == nil {
			first = got
			continue
		}
		if got.Frames() != first.Frames() {
			t.Fatalf("block size %d: %d frames, with 4096 it was %d", size, got.Frames(), first.Frames())
		}
		for c := range got {
			for i := range got[c] {
				if got[c][i] != first[c][i] {
					t.Fatalf("block size %d: channel %d sample %d is %v, with 4096 it was %v", size, c, i, got[c][i],
						first[c][i])
				}
			}
		}
	}
}

// drain reads a source to its end in blocks of a size, and holds every Read against
// the contract.
func drain(t *testing.T, src audio.Source, size int) audio.Block {
	t.Helper()
	out := make(audio.Block, src.Channels())
	buf := audio.NewBlock(src.Channels(), size)
	for {
		n, err := src.Read(buf)
		for c := range out {
			out[c] = append(out[c], buf[c][:n]...)
		}
		switch {
		case err == io.EOF && n == 0:
			if n, err := src.Read(buf); n != 0 || err != io.EOF {
				t.Fatalf("block size %d: after the end Read gave %d, %v", size, n, err)
			}
			return out
		case err != nil:
			t.Fatalf("block size %d: Read gave %d, %v", size, n, err)
		case n < size:
			if m, err := src.Read(buf); m != 0 || err != io.EOF {
				t.Fatalf("block size %d: short read of %d, then %d, %v", size, n, m, err)
			}
			return out
		}
	}
}
