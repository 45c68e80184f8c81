package audio_test

import (
	"errors"
	"io"
	"slices"
	"testing"

	"ripieno/mix/audio"
)

// broken gives some frames, then its error for ever; without one it gives nothing at all.
type broken struct {
	*audio.Memory
	err error
}

func (b broken) Read(dst audio.Block) (int, error) {
	n, err := b.Memory.Read(dst)
	if err != nil {
		err = b.err
	}
	return n, err
}

// All frames come once and in order, however the blocks fall, and then the error.
func TestBlocksAreTheSource(t *testing.T) {
	failure := errors.New("the disk is gone")
	for _, n := range []int{0, 1, 99, 100, 101, 1000} {
		for given, want := range map[error]error{io.EOF: nil, failure: failure, nil: io.ErrNoProgress} {
			x := audio.Block{random(1, n), random(2, n)}
			got, last := make(audio.Block, 2), error(nil)
			for b, err := range audio.Blocks(broken{audio.NewMemory(x, 48000), given}, 100) {
				if last != nil || (b == nil) == (err == nil) {
					t.Fatalf("after %v: %d frames and %v", last, b.Frames(), err)
				}
				last = err
				for c := range b {
					got[c] = append(got[c], b[c]...)
				}
			}
			if !slices.Equal(got[0], x[0]) || !slices.Equal(got[1], x[1]) || last != want {
				t.Errorf("of %d frames came %d, and %v instead of %v", n, got.Frames(), last, want)
			}
		}
	}
}

// Whoever stops early reads on where it stopped.
func TestBlocksStopEarly(t *testing.T) {
	x := audio.Block{random(3, 250)}
	src := audio.NewMemory(x, 48000)
	for range audio.Blocks(src, 100) {
		break
	}
	rest, err := audio.ReadAll(src)
	if err != nil || !slices.Equal(rest[0], x[0][100:]) {
		t.Errorf("%d frames are left of 150, %v", rest.Frames(), err)
	}
}
