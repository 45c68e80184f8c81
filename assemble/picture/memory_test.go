package picture

import (
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
)

// TestReadingATakeIsCounted: what decodes a take's picture tells how much memory that
// takes, for a single frame as for all of them, or the memory limit would not see it.
func TestReadingATakeIsCounted(t *testing.T) {
	c := plan.Conform{Take: "oboe", W: 320, H: 180, Frames: plan.Span{From: 0, To: 24},
		Picture: plan.Picture{Hash: strings.Repeat("a", 64), W: 3840, H: 2160}}
	m := New(&ffmpeg.Tool{}, nil, &plan.Plan{}, nil, nil)
	still, err := m.Still(c, true)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := m.ConformTask(c)
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]int64{"a still": still.Task().Memory, "conforming": whole.Task().Memory} {
		if want := reading.Memory(c); got != want || want < 100e6 {
			t.Errorf("%s counts %d bytes, want %d", name, got, want)
		}
	}
}
