package click

import (
	"errors"
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
)

// tone returns a stereo sine, louder on the left.
func tone(seconds, hz, amplitude float64) audio.Block {
	b := audio.NewBlock(2, int(seconds*audio.Rate))
	for i := range b[0] {
		b[0][i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/audio.Rate)
		b[1][i] = b[0][i] / 2
	}
	return b
}

func short(t testing.TB) *tempo.Map {
	return build(t, tempo.Spec{Measures: 1, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "3/4"), BPM: 90}}})
}

func TestOverIsASource(t *testing.T) {
	for _, seconds := range []float64{0.7, 5} {
		backing := tone(seconds, 300, 0.5)
		audiotest.Source(t, func() audio.Source {
			s, err := Over(guideOf(t, short(t), Options{}), audio.NewMemory(backing, audio.Rate), -6)
			if err != nil {
				t.Fatal(err)
			}
			return s
		})
	}
}

// A soft mix passes unchanged under the guide, which is in both channels; the
// result is as long as the guide.
func TestOverAdds(t *testing.T) {
	m := short(t)
	backing := tone(1.5, 300, 0.1)
	s, err := Over(guideOf(t, m, Options{}), audio.NewMemory(backing, audio.Rate), 6.0206)
	if err != nil {
		t.Fatal(err)
	}
	got, err := audio.ReadAll(s)
	if err != nil {
		t.Fatal(err)
	}
	guide := samples(t, m, Options{})
	if got.Frames() != len(guide) || len(got) != 2 {
		t.Fatalf("%d channels of %d frames, the guide has %d", len(got), got.Frames(), len(guide))
	}
	for i, g := range guide {
		for c := range got {
			want := g
			if i < backing.Frames() {
				want += 2 * backing[c][i]
			}
			if math.Abs(got[c][i]-want) > 1e-5 {
				t.Fatalf("channel %d sample %d is %v, want %v", c, i, got[c][i], want)
			}
		}
	}
}

func TestOverKeepsTheCeiling(t *testing.T) {
	s, err := Over(guideOf(t, short(t), Options{ClickDB: 4}), audio.NewMemory(tone(5, 997, 1), audio.Rate), 6)
	if err != nil {
		t.Fatal(err)
	}
	got, err := audio.ReadAll(s)
	if err != nil {
		t.Fatal(err)
	}
	meter := loudness.NewMeter(2, audio.Rate)
	meter.Write(got)
	if p := meter.TruePeak(); p > Ceiling+0.05 || p < Ceiling-1 {
		t.Errorf("peaks at %.2f dBTP", p)
	}
}

var errUnreadable = errors.New("unreadable")

// failing gives some frames and then an error.
type failing struct{ left int }

func (f *failing) Channels() int { return 2 }
func (f *failing) Rate() int     { return audio.Rate }
func (f *failing) Read(dst audio.Block) (int, error) {
	n := min(f.left, dst.Frames())
	f.left -= n
	if n == 0 && dst.Frames() > 0 {
		return 0, errUnreadable
	}
	return n, nil
}

func TestOverPassesErrorsOn(t *testing.T) {
	s, err := Over(guideOf(t, short(t), Options{}), &failing{left: 20_000}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := audio.ReadAll(s); !errors.Is(err, errUnreadable) {
		t.Errorf("read to the end with %v", err)
	}
	if _, err := Over(guideOf(t, short(t), Options{}), audio.NewMemory(tone(1, 300, 0.1), 44100), 0); err == nil {
		t.Error("a mix at 44.1 kHz was taken")
	}
	if _, err := Over(audio.NewMemory(tone(1, 300, 0.1), audio.Rate), audio.NewMemory(tone(1, 300, 0.1), audio.Rate),
		0); err == nil {
		t.Error("a guide of two channels was taken")
	}
}
