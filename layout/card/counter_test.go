package card

import (
	"bytes"
	"testing"
)

// TestCounter: every character the marks use is another picture, texts are put
// together from them, and nothing of an earlier text stays.
func TestCounter(t *testing.T) {
	for _, height := range []int{1, 9, 26, 54} {
		c, err := NewCounter(height, 4)
		if err != nil {
			t.Fatal(err)
		}
		if c.W%2 != 0 || c.H%2 != 0 || c.H < height {
			t.Errorf("height %d: %d×%d", height, c.W, c.H)
		}
		seen := map[string]string{}
		buf := bytes.Repeat([]byte{7}, c.W*c.H)
		for _, r := range " 0123456789.:-+mcount" {
			c.Draw(buf, string(r))
			if other, ok := seen[string(buf)]; ok && other != string(r) {
				t.Errorf("height %d: %q looks like %q", height, r, other)
			}
			seen[string(buf)] = string(r)
		}
		if bytes.Count(buf, []byte{7}) == len(buf) {
			t.Error("nothing was drawn")
		}
		// The third character of "xx8" is where the first of "8" is, moved.
		long, short := make([]byte, c.W*c.H), make([]byte, c.W*c.H)
		c.Draw(long, "xx8 and much more than fits")
		c.Draw(short, "8")
		lit := 0
		for y := range c.H {
			for x := range c.advance {
				a, b := long[y*c.W+c.advance/2+2*c.advance+x], short[y*c.W+c.advance/2+x]
				if a != b {
					t.Fatalf("height %d: pixel %d,%d is %d in the text and %d alone", height, x, y, a, b)
				}
				if a > 128 {
					lit++
				}
			}
		}
		if height > 8 && lit == 0 {
			t.Errorf("height %d: an 8 without a bright pixel", height)
		}
		c.Draw(short, "é")
		if bytes.ContainsFunc(short, func(r rune) bool { return r != 0 }) {
			t.Error("something was drawn for a character it does not know")
		}
	}
	if _, err := NewCounter(0, 3); err == nil {
		t.Error("a counter without height")
	}
}

func BenchmarkCounter(b *testing.B) {
	c, err := NewCounter(28, 17)
	if err != nil {
		b.Fatal(err)
	}
	buf := make([]byte, c.W*c.H)
	for b.Loop() {
		c.Draw(buf, "m123.4  12:34.567")
	}
}
