package mix

import (
	"errors"
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// A mix of voices is the mix of their strips: the way through a file changes
// nothing.
func TestVoicesMixLikeTheirStrips(t *testing.T) {
	const start, length = 2000, 70000
	o := Options{Start: start, Length: length, Room: 0.2, FadeIn: 300}
	var direct, kept []Strip
	for _, s := range band(90000)[:4] {
		s.From, s.To = max(s.From, start), start+length
		src, from, err := Voice(s)
		if err != nil {
			t.Fatal(err)
		}
		b, err := audio.ReadAll(src)
		if err != nil {
			t.Fatal(err)
		}
		if want := int(s.To-s.From) + 2*int(DefaultFade); b.Frames() != want {
			t.Errorf("%s: a voice of %d frames, want %d", s.Name, b.Frames(), want)
		}
		direct = append(direct, s)
		kept = append(kept, FromVoice(s, from,
			func() (audio.Source, error) { return audio.NewMemory(b, audio.Rate), nil }))
	}
	// A compressor reads its curve on a grid that begins with the voice, so
	// with one the two differ in what nobody can hear.
	for _, c := range []struct {
		i    []int
		most float64
	}{{[]int{0, 2, 3}, 1e-9}, {[]int{0, 1, 2, 3}, 0.01}} {
		var a, b []Strip
		for _, i := range c.i {
			a, b = append(a, direct[i]), append(b, kept[i])
		}
		if worst := furthest(premaster(t, a, o), premaster(t, b, o)); worst > c.most {
			t.Errorf("voices %v and their strips differ by %.2g", c.i, worst)
		}
	}
	if kept[1].Compress != nil || kept[0].LowCut >= 0 {
		t.Error("a voice is processed twice")
	}
}

func TestVoiceIsASource(t *testing.T) {
	for _, s := range band(20000)[:4] {
		s.From, s.To, s.Mutes = 5000, 15000, []Span{{7000, 8000}}
		audiotest.Source(t, func() audio.Source {
			src, _, err := Voice(s)
			if err != nil {
				t.Fatal(err)
			}
			return src
		})
	}
}

func TestVoiceErrors(t *testing.T) {
	s := Strip{Name: "oboe", Open: at48(sine(440, 0.1, 1000)), From: 10, To: 10}
	var failed *StripError
	if _, _, err := Voice(s); !errors.As(err, &failed) || failed.Strip != "oboe" {
		t.Errorf("an empty span: %v", err)
	}
	s.To, s.Offset = 1000, math.NaN()
	if _, _, err := Voice(s); !errors.Is(err, ErrNotNumber) {
		t.Errorf("an offset of NaN: %v", err)
	}
	gone := errors.New("gone")
	s.Offset, s.Open = 0, func() (audio.Source, error) { return nil, gone }
	if _, _, err := Voice(s); !errors.Is(err, gone) {
		t.Errorf("a recording that cannot be opened: %v", err)
	}
}

// furthest returns the largest difference between two blocks.
func furthest(a, b audio.Block) float64 {
	worst := 0.0
	for c := range a {
		for i := range a[c] {
			worst = math.Max(worst, math.Abs(a[c][i]-b[c][i]))
		}
	}
	return worst
}
