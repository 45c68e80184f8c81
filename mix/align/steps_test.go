package align

import (
	"math"
	"slices"
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
)

// broken returns x, of 16000 samples a second, without jump seconds at a second of it,
// or with as much silence put in.
func broken(x []float64, at, jump float64) []float64 {
	k, n := int(at*16000), int(math.Abs(jump)*16000)
	if jump > 0 {
		return slices.Concat(x[:k], x[k+n:])
	}
	return slices.Concat(x[:k], make([]float64, n), x[k:])
}

func TestMatchStepsFindsTheBreakOfOneOfTwoDevices(t *testing.T) {
	e := simulate.New(41, simulate.Options{Level: simulate.Typical, Players: 1, Seconds: 60, Devices: 2, Rate: 16000})
	one, err := audio.ReadAll(e.Takes[0].Source())
	if err != nil {
		t.Fatal(err)
	}
	two, err := audio.ReadAll(e.Takes[1].Source())
	if err != nil {
		t.Fatal(err)
	}
	source := func(x []float64) audio.Source { return audio.NewMemory(audio.Block{x}, 16000) }
	for _, jump := range []float64{0.03, -0.5, 10} {
		s, err := MatchSteps(source(one[0]), source(broken(two[0], 66, jump)))
		if err != nil {
			t.Fatal(err)
		}
		if !s.Sure || math.Abs(s.Jump-jump) > 0.002 || math.Abs(s.B-66) > 1.5+math.Max(0, -jump) {
			t.Errorf("%v s at 66 s: %+v", jump, s)
		}
	}
	if s, _ := MatchSteps(source(one[0]), source(two[0])); s.Sure {
		t.Errorf("unbroken: %+v", s)
	}
}
