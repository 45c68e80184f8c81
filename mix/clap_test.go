package mix

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
)

// clapped returns a strip of 3 s whose player claps at 1 s of the recording, in a room
// that dies away by 60 dB in half a second and is as loud as the clap.
func clapped() Strip {
	rng := rand.New(rand.NewPCG(4, 4))
	x := make([]float64, 3*8000)
	for i := range x {
		x[i] = 1e-4 * rng.NormFloat64()
		if t := float64(i)/8000 - 1; t >= 0 {
			x[i] += rng.NormFloat64() * (math.Exp(-t/0.004) + 0.13*math.Pow(10, -3*t/0.5))
		}
	}
	return Strip{Name: "oboe", Open: func() (audio.Source, error) {
		return audio.NewMemory(audio.Block{x}, 8000), nil
	}}
}

// The clap is looked for where the cue falls in the recording, by its offset, its drift
// and its delay; elsewhere there is none.
func TestHearRoomAtTheCue(t *testing.T) {
	for _, c := range []struct {
		offset, delay, cue float64
		drift              audio.PPM
		heard              bool
	}{
		{0, 0, 1, 0, true}, {10, 0, 11.2, 0, true}, {-4, 0.5, -2.5, 0, true}, {0, 0, 1.05, 50_000, true},
		{0, 0, 2, 0, false}, {10, 0, 1, 0, false}, {0, 0, math.NaN(), 0, false}, {5, 0, 2, 0, false},
	} {
		s := clapped()
		s.Offset, s.Delay, s.Drift = c.offset, c.delay, c.drift
		r, err := HearRoom(s, c.cue)
		if err != nil || r.Clap != c.heard {
			t.Errorf("%+v: %+v, %v", c, r, err)
		}
		if c.heard && math.Abs(r.Decay-0.5) > 0.1 {
			t.Errorf("%+v: a decay of %.2f s", c, r.Decay)
		}
	}
}

// A strip that cannot be opened is named.
func TestHearRoomFails(t *testing.T) {
	var fault *StripError
	gone := Strip{Name: "oboe", Open: func() (audio.Source, error) { return nil, errors.New("gone") }}
	if _, err := HearRoom(gone, 1); !errors.As(err, &fault) || fault.Strip != "oboe" {
		t.Errorf("%v", err)
	}
	if _, err := HearRoom(Strip{Name: "oboe"}, 1); !errors.As(err, &fault) {
		t.Errorf("%v", err)
	}
}
