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

// The two devices begin to record shortly before the music, so that nearly all slices
// that are compared have some.
func TestMatchStepsFindsTheBreakOfOneOfTwoDevices(t *testing.T) {
	t.Parallel()
	e := simulate.New(41, simulate.Options{Level: simulate.Typical, Players: 1, Seconds: 40, Devices: 2, Rate: 16000})
	var sounds [2][]float64
	for i, x := range e.Takes {
		b, err := audio.ReadAll(x.Source())
		if err != nil {
			t.Fatal(err)
		}
		begin := e.Map.Start() - 2 - float64(i) - x.Truth.Offset
		sounds[i] = b[0][int(begin*16000):]
	}
	source := func(x []float64) audio.Source { return audio.NewMemory(audio.Block{x}, 16000) }
	const at = 20
	for _, jump := range []float64{0.03, -0.5, 10} {
		s, err := MatchSteps(source(sounds[0]), source(broken(sounds[1], at, jump)))
		if err != nil {
			t.Fatal(err)
		}
		if !s.Sure || math.Abs(s.Jump-jump) > 0.002 || math.Abs(s.B-at) > 1.5+math.Max(0, -jump) {
			t.Errorf("%v s at %d s: %+v", jump, at, s)
		}
	}
	if s, _ := MatchSteps(source(sounds[0]), source(sounds[1])); s.Sure {
		t.Errorf("unbroken: %+v", s)
	}
}
