package mix

import (
	"io"
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// ITU-R BS.775-3 table 2: centre and surrounds go down by 3 dB to left and
// right; the LFE channel does not take part.
func TestDownMix(t *testing.T) {
	const down = math.Sqrt2 / 2
	cases := map[int][][2]float64{ // by number of channels: what each adds to left and right
		3: {{1, 0}, {0, 1}, {down, down}},
		4: {{1, 0}, {0, 1}, {down, 0}, {0, down}},
		5: {{1, 0}, {0, 1}, {down, down}, {down, 0}, {0, down}},
		6: {{1, 0}, {0, 1}, {down, down}, {0, 0}, {down, 0}, {0, down}},
		8: {{1, 0}, {0, 1}, {down, down}, {0, 0}, {down, 0}, {0, down}, {0, 0}, {0, 0}},
	}
	for channels, gains := range cases {
		for c, want := range gains {
			b := audio.NewBlock(channels, 1)
			b[c][0] = 1
			got, err := audio.ReadAll(newFolded(audio.NewMemory(b, rate), AsRecorded))
			if err != nil || len(got) != 2 {
				t.Fatal(len(got), err)
			}
			if math.Abs(got[0][0]-want[0]) > 1e-15 || math.Abs(got[1][0]-want[1]) > 1e-15 {
				t.Errorf("%d channels: channel %d gives %v %v, want %v", channels, c, got[0][0], got[1][0], want)
			}
		}
	}
}

func TestFolded(t *testing.T) {
	l, r := []float64{1, 2, 3}, []float64{4, 0, -1}
	for repair, want := range map[Repair][]float64{
		LeftOnly: {1, 2, 3}, RightOnly: {4, 0, -1}, Fold: {2.5, 1, 1}, FoldInverted: {-1.5, 1, 2},
	} {
		got, err := audio.ReadAll(newFolded(audio.NewMemory(audio.Block{l, r}, rate), repair))
		if err != nil || len(got) != 1 {
			t.Fatal(err)
		}
		for i := range want {
			if got[0][i] != want[i] {
				t.Errorf("%v: %v, want %v", repair, got[0], want)
				break
			}
		}
	}
	// A mono recording stays what it is under any repair.
	for repair := AsRecorded; repair <= FoldInverted; repair++ {
		if got, _ := audio.ReadAll(newFolded(audio.NewMemory(audio.Block{l}, rate), repair)); len(got) != 1 ||
			got[0][2] != 3 {
			t.Errorf("mono, %v: %v", repair, got)
		}
	}
	audiotest.Source(t, func() audio.Source {
		return newFolded(audio.NewMemory(audio.Block{tune(1, 1, 0, 5000), tune(2, 1, 0, 5000)}, rate), Fold)
	})
	if Repair(77).String() != "repair 77" || FoldInverted.String() != "one side inverted" {
		t.Error("a repair lost its name")
	}
	if _, err := newFolded(audio.NewMemory(audio.Block{l, r}, rate), Fold).Read(audio.NewBlock(2, 1)); err == nil {
		t.Error("reading one channel into two gave no error")
	}
	if n, err := newFolded(idle{audio.NewMemory(audio.Block{l}, rate)}, Fold).Read(audio.NewBlock(1, 5)); n != 0 ||
		err != io.ErrNoProgress {
		t.Errorf("a source that gives nothing: %d, %v", n, err)
	}
}

// idle breaks the contract: it gives nothing and no error.
type idle struct{ audio.Source }

func (idle) Read(audio.Block) (int, error) { return 0, nil }

// Edges: the first frames after the beginning and the last before the end
// follow the cosine, whatever the length, and nothing else changes.
func TestEdged(t *testing.T) {
	ones := make([]float64, 5000)
	for i := range ones {
		ones[i] = 1
	}
	for _, c := range []struct {
		frames, fade int
		lead         int64
	}{{5000, 480, 0}, {5000, 480, 1000}, {5000, 480, -100}, {5000, 480, -5000}, {700, 480, 0}, {300, 480, 0},
		{0, 480, 0}} {
		open := func() audio.Source {
			return newEdged(audio.NewMemory(audio.Block{ones[:c.frames]}, rate), c.fade, c.lead)
		}
		audiotest.Source(t, open)
		got, _ := audio.ReadAll(open())
		if len(got[0]) != c.frames {
			t.Fatalf("%+v: %d frames", c, len(got[0]))
		}
		tail := min(c.fade, c.frames)
		for i, v := range got[0] {
			want := 1.0
			if k := int64(i) - c.lead; k < 0 {
				want = 0
			} else if k < int64(c.fade) {
				want = fadeGain(audio.Frames(k), audio.Frames(c.fade))
			}
			if k := i - (c.frames - tail); k >= 0 {
				want *= 1 - fadeGain(audio.Frames(k), audio.Frames(tail))
			}
			if math.Abs(v-want) > 1e-15 {
				t.Fatalf("%+v: frame %d is %v, want %v", c, i, v, want)
			}
		}
	}
}

// A strip of a wide recording keeps its sides, folds to a point and widens as
// Narrow says.
func TestNarrow(t *testing.T) {
	l, r := tune(1, 0.3, 1e-3, rate), tune(2, 0.3, 1e-3, rate)
	side := func(narrow float64) float64 {
		b := premaster(t, []Strip{{Name: "a", Open: at48(l, r), LowCut: -1, Narrow: narrow}}, Options{Length: rate})
		d := make([]float64, rate)
		for i := range d {
			d[i] = b[0][i] - b[1][i]
		}
		return rms(d)
	}
	as := side(0)
	if got := side(1); got > 1e-12 {
		t.Errorf("on one point the sides differ by %v", got)
	}
	if got := side(0.5); got >= as*0.8 || got <= as*0.2 {
		t.Errorf("half as wide: the difference is %.2f of the whole", got/as)
	}
	if got := side(-1); got <= as*1.2 {
		t.Errorf("twice as wide: the difference is %.2f of the whole", got/as)
	}
}
