package audio_test

import (
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// One channel of several: a dead side and opposite phases leave something, and what is no
// number is silent.
func TestMono(t *testing.T) {
	bad := audio.Block{{1, 0, 1, math.NaN(), math.Inf(1)}, {0, 1, -1, 1, -1}, {0, 0, 0, 1, 0}}
	audiotest.Source(t, func() audio.Source { return audio.NewMono(audio.NewMemory(bad, 48000)) })
	m := audio.NewMono(audio.NewMemory(bad, 48000))
	if m.Channels() != 1 || m.Rate() != 48000 {
		t.Errorf("%d channels at %d Hz", m.Channels(), m.Rate())
	}
	got, err := audio.ReadAll(m)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1, 0.6, 0.4, 0.96, -0.6} {
		if math.Abs(got[0][i]-want) > 1e-12 {
			t.Errorf("sample %d is %g, want %g", i, got[0][i], want)
		}
	}
}
