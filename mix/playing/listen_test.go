package playing

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
)

// frequency is that of a MIDI note at 440 Hz (ISO 16): 440·2^((n−69)/12).
func frequency(note float64) float64 { return 440 * math.Exp2((note-69)/12) }

// hum adds a harmonic tone with soft ends to x.
func hum(x []float64, rate int, at, length, note float64, partials []float64) {
	f := frequency(note)
	from := int(at * float64(rate))
	n := int(length * float64(rate))
	for i := 0; i < n && from+i < len(x); i++ {
		env := math.Min(1, 0.02*math.Min(float64(i), float64(n-i))/(0.02*0.03*float64(rate)))
		for k, a := range partials {
			if p := f * float64(k+1); p < 0.45*float64(rate) {
				x[from+i] += 0.2 * env * a * math.Sin(2*math.Pi*math.Mod(p*float64(i)/float64(rate), 1)+float64(k))
			}
		}
	}
}

func listen(t testing.TB, x []float64, rate int) *Tones {
	t.Helper()
	tones, err := Listen(audio.NewMemory(audio.Block{x}, rate))
	if err != nil {
		t.Fatal(err)
	}
	return tones
}

// Sines and harmonic tones from a double bass' E1 to a flute's E7, each between
// two tempered notes by another amount: the note is found within 2 cents.
func TestPitchOfTones(t *testing.T) {
	for name, partials := range map[string][]float64{
		"sine": {1}, "reed": {1, 0.2, 0.7, 0.2, 0.5, 0.3}, "missing fundamental": {0.02, 1, 0.8, 0.7, 0.4, 0.3}, "bright": {1, 0.9, 0.9, 0.8, 0.8, 0.7, 0.7, 0.6},
	} {
		for _, rate := range []int{44100, 48000} {
			worst := 0.0
			for n := 28; n <= 100; n += 3 {
				if name == "missing fundamental" && n > 76 {
					continue // its second partial would be the note
				}
				want := float64(n) + 0.37*math.Sin(float64(n))
				x := make([]float64, rate)
				hum(x, rate, 0.2, 0.6, want, partials)
				tones := listen(t, x, rate)
				if len(tones.Steady) != 1 {
					t.Errorf("%s %d: %d tones for note %d: %+v", name, rate, len(tones.Steady), n, tones.Steady)
					continue
				}
				s := tones.Steady[0]
				off := math.Abs(100 * (s.Note - want))
				worst = max(worst, off)
				if off > 2 || s.Wobble > 2 {
					t.Errorf("%s %d: note %.3f was heard as %.3f, wobble %.1f", name, rate, want, s.Note, s.Wobble)
				}
				if s.From < 0.19 || s.From > 0.32 || s.To > 0.81 || s.To < 0.68 {
					t.Errorf("%s %d note %d: from %.3f to %.3f", name, rate, n, s.From, s.To)
				}
			}
			t.Logf("%s at %d Hz: worst %.3f cents", name, rate, worst)
		}
	}
}

var _ = fmt.Sprint
var _ = errors.New
var _ = io.EOF
var _ = rand.New
