package takes

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// noise returns seconds of noise at 8 kHz with a hole of zeros between two samples.
func noise(seconds float64, from, to int) audio.Block {
	rng := rand.New(rand.NewPCG(7, 11))
	x := make([]float64, int(8000*seconds))
	for i := range x {
		if x[i] = 0.1 + 0.1*rng.Float64(); i >= from && i < to {
			x[i] = 0
		}
	}
	return audio.Block{x}
}

// The longest stretch of digital silence is found to the sample, within the seconds
// that are asked about and no farther; all channels have to be silent.
func TestSilentRun(t *testing.T) {
	for _, c := range []struct {
		what       string
		hole       [2]int
		from, to   float64
		begin, end float64
	}{
		{"in the middle", [2]int{4003, 4805}, 0.4, 0.7, 4003.0 / 8000, 4805.0 / 8000},
		{"over the edge of a block", [2]int{8100, 8300}, 0.9, 1.2, 8100.0 / 8000, 8300.0 / 8000},
		{"cut off by the question", [2]int{4000, 8000}, 0.6, 0.75, 0.6, 0.75},
		{"elsewhere", [2]int{4000, 4800}, 1, 1.5, 0, 0},
		{"at the beginning", [2]int{0, 80}, -1, 0.1, 0, 0.01},
		{"to the end and beyond", [2]int{15000, 16000}, 1.8, 9, 15000.0 / 8000, 2},
		{"one sample", [2]int{5000, 5001}, 0.5, 0.8, 0.625, 5001.0 / 8000},
		{"a question of no length", [2]int{4000, 4800}, 0.55, 0.55, 0, 0},
		{"a question backwards", [2]int{4000, 4800}, 0.58, 0.55, 0, 0},
		{"before the file", [2]int{0, 80}, -3, -1, 0, 0},
	} {
		src := audio.NewMemory(noise(2, c.hole[0], c.hole[1]), 8000)
		begin, end, err := silentRun(src, c.from, c.to)
		if err != nil || math.Abs(begin-c.begin) > 1e-9 || math.Abs(end-c.end) > 1e-9 {
			t.Errorf("%s: %.6f to %.6f, %v, want %.6f to %.6f", c.what, begin, end, err, c.begin, c.end)
		}
	}
	one, other := noise(1, 100, 900), noise(1, 500, 1500)
	begin, end, err := silentRun(audio.NewMemory(audio.Block{one[0], other[0]}, 8000), 0, 1)
	if err != nil || begin != 500.0/8000 || end != 900.0/8000 {
		t.Errorf("of two channels: %v to %v, %v", begin, end, err)
	}
	broken := errors.New("cut off")
	if _, _, err := silentRun(&audiotest.Failing{Source: audio.NewMemory(noise(1, 0, 0), 8000), Left: 1000,
		Err: broken}, 0, 1); !errors.Is(err, broken) {
		t.Errorf("a source that fails: %v", err)
	}
}

// What is left of silence after a coder counts as silence; a soft room does not.
func TestHowSilentSilenceIs(t *testing.T) {
	for level, want := range map[float64]bool{0: true, 2.9e-5: true, -2.9e-5: true, 3.1e-5: false, 1e-3: false,
		math.Inf(1): false} {
		x := noise(1, 0, 0)
		for i := 2000; i < 4000; i++ {
			x[0][i] = level
		}
		begin, end, err := silentRun(audio.NewMemory(x, 8000), 0, 1)
		if err != nil || (end-begin == 0.25) != want || !want && end != begin {
			t.Errorf("%g is silent from %v to %v, %v", level, begin, end, err)
		}
	}
}

// stored returns a recording whose sound is in a store, and the run that made it.
func stored(t *testing.T, x audio.Block) (*Recording, task.Result) {
	t.Helper()
	r := heardRecording("oboe", Audio, align.NoMethod, 0)
	r.Sound = task.Path(task.Task{ID: "sound", Action: store.NewAction("sound").Ext(".wav"),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			_, err := media.CreateWAV(ctx, tmp, audio.NewMemory(x, 8000), media.Float32)
			return err
		}})
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	res, err := task.Run(t.Context(), s, progress.New(nil, progress.Quiet), 1, task.Collect(r.Sound))
	if err != nil {
		t.Fatal(err)
	}
	return r, res
}

// A break that a silence shows lies where the silence does, to the sample. Where it is
// as long as nothing that was heard, or no digital silence at all, the break stays
// where it was heard: it may not move to the file's beginning.
func TestBreaksOfSilence(t *testing.T) {
	r, res := stored(t, noise(2, 6000, 7200)) // 0.15 s at 0.75 s
	for _, c := range []struct {
		what     string
		b        align.Break
		at, jump float64
	}{
		{"heard roughly", align.Break{At: 0.745, Jump: -0.17, By: "silence"}, 0.75, -0.15},
		{"of another length", align.Break{At: 0.745, Jump: -0.3, By: "silence"}, 0.745, -0.3},
		{"shown by another device", align.Break{At: 0.745, Jump: -0.17, By: "device"}, 0.745, -0.17},
		{"short, and where there is none", align.Break{At: 1.5, Jump: -0.05, By: "silence"}, 1.5, -0.05},
	} {
		got, err := r.exactly(res, c.b)
		if err != nil || math.Abs(got.At-c.at) > 1e-9 || math.Abs(got.Jump-c.jump) > 1e-9 || got.By != c.b.By {
			t.Errorf("%s: at %v by %v, %v, want %v by %v", c.what, got.At, got.Jump, err, c.at, c.jump)
		}
	}
	b := align.Break{At: 1, Jump: -0.1, By: "silence"}
	if got, err := r.exactly(task.Result{}, b); !reflect.DeepEqual(got, b) || err != nil {
		t.Errorf("without a sound: %+v, %v", got, err)
	}
}
