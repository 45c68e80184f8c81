package picture

import (
	"testing"
)

// The last pictures, which are fewer than the cores, are decoded with all
// threads; a full round never is.
func TestTheLastDecodersHaveAllCores(t *testing.T) {
	for _, c := range []struct {
		pictures, workers, free int
	}{{9, 2, 1}, {8, 2, 0}, {1, 2, 1}, {7, 4, 3}, {3, 8, 3}, {5, 1, 0}} {
		d := &decoders{odd: int64(c.pictures % c.workers)}
		d.left.Store(int64(c.pictures))
		for k := range c.pictures {
			want := 1
			if k >= c.pictures-c.free {
				want = 0
			}
			if got := d.next(); got != want {
				t.Errorf("%d pictures, %d workers: number %d has %d threads, want %d", c.pictures, c.workers, k, got, want)
			}
		}
	}
}
