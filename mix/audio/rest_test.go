package audio

import (
	"slices"
	"testing"
)

// What is read does not depend on how it is read: blocks of any size, with an
// end in the middle of one.
func TestRestReadsInAnySize(t *testing.T) {
	made := [][]float64{{1, 2, 3}, {4}, {5, 6, 7, 8, 9}}
	for size := 1; size < 11; size++ {
		var r Rest
		var got []float64
		next := 0
		more := func() Block {
			if next == len(made) {
				return nil
			}
			next++
			return Block{made[next-1]}
		}
		for {
			dst := NewBlock(1, size)
			n := r.Read(dst, more)
			got = append(got, dst[0][:n]...)
			if n < size {
				break
			}
		}
		if !slices.Equal(got, []float64{1, 2, 3, 4, 5, 6, 7, 8, 9}) {
			t.Errorf("in blocks of %d: %v", size, got)
		}
	}
}

// Reading nothing makes nothing.
func TestRestReadsNothing(t *testing.T) {
	var r Rest
	if n := r.Read(Block{}, func() Block { t.Error("asked for more"); return nil }); n != 0 {
		t.Errorf("%d frames", n)
	}
}
