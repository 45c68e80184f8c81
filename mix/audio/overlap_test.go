package audio_test

import (
	"math"
	"slices"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// Four rectangular windows of a quarter overlap to the sound itself, whatever its length,
// at once or one that looks two frames ahead.
func TestOverlapIsNotDelayed(t *testing.T) {
	const size, hop = 64, 16
	for _, late := range []int{0, 2} {
		for _, n := range []int{0, 1, 15, 16, 17, 63, 64, 65, 1000} {
			x := audio.Block{random(1, n), random(2, n)}
			open := func() audio.Source {
				var past []audio.Block
				return audio.NewOverlap(audio.NewMemory(x, 48000), size, hop, late, func(sum, frame audio.Block) {
					past = append(past, audio.Block{slices.Clone(frame[0]), slices.Clone(frame[1])})
					if len(past) <= late {
						return
					}
					for c, y := range past[len(past)-1-late] {
						for i, v := range y {
							sum[c][i] += v / (size / hop)
						}
					}
				})
			}
			audiotest.Source(t, open)
			got, err := audio.ReadAll(open())
			if err != nil || got.Frames() != n {
				t.Fatalf("%d frames of %d, %v", got.Frames(), n, err)
			}
			for c := range got {
				for i, v := range got[c] {
					if math.Abs(v-x[c][i]) > 1e-12 {
						t.Fatalf("late %d, %d frames: sample %d of channel %d is %v, not %v", late, n, i, c, v, x[c][i])
					}
				}
			}
		}
	}
}
