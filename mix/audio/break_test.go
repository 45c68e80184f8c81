package audio

import (
	"math"
	"slices"
	"testing"
)

// A break is proposed only where every part of it holds something, and what is proposed
// can be put together.
func TestBreakAt(t *testing.T) {
	two := Break(10, -2) // file seconds 0 to 10, and 12 to the end
	for _, c := range []struct {
		name             string
		parts            Parts
		at, jump, length float64
		ok               bool
	}{
		{"missing", nil, 10, 1, 60, true},
		{"too much", nil, 10, -2, 60, true},
		{"a second break", two, 20, 1.5, 60, true},
		{"before another", two, 5, -0.5, 60, true},
		{"before the file", nil, -1, 1, 60, false},
		{"at its beginning", nil, 0, 1, 60, false},
		{"at its end", nil, 59.99, 1, 60, false},
		{"beyond its end", nil, 70, 1, 60, false},
		{"too much up to its end", nil, 50, -10, 60, false},
		{"where another is", two, 10, 1, 60, false},
		{"a sample after another", two, 10.00001, 1, 60, false},
		{"a whole part too much", two, 9, -60, 60, false},
		{"nowhere", nil, math.NaN(), 1, 60, false},
		{"for ever", nil, 10, math.Inf(1), 60, false},
	} {
		got, ok := c.parts.BreakAt(c.at, c.jump, c.length)
		if ok != c.ok {
			t.Errorf("%s: %v, %v", c.name, got, ok)
			continue
		}
		if !ok {
			if !slices.Equal(got, c.parts) {
				t.Errorf("%s: refused, and is %v", c.name, got)
			}
			continue
		}
		_, err := Splice(NewMemory(NewBlock(1, 60*1000), 1000), got)
		if err != nil || len(got) != max(1, len(c.parts))+1 {
			t.Errorf("%s: %v: %v", c.name, got, err)
		}
	}
}
