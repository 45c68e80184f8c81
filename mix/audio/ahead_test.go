package audio_test

import (
	"errors"
	"io"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

func random(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}

// What is read ahead is what is there, whatever the sizes of the reads.
func TestAheadIsTheSource(t *testing.T) {
	for _, n := range []int{0, 1, 8191, 8192, 50_001} {
		b := audio.Block{random(1, n), random(2, n)}
		audiotest.Source(t, func() audio.Source { return audio.NewAhead(audio.NewMemory(b, 44100)) })
		a := audio.NewAhead(audio.NewMemory(b, 44100))
		got, err := audio.ReadAll(a)
		if err != nil || a.Rate() != 44100 || !slices.Equal(got[0], b[0]) || !slices.Equal(got[1], b[1]) {
			t.Errorf("%d frames are others when read ahead, %v", n, err)
		}
	}
}

// failing gives frames, then an error, and counts how often it is closed.
type failing struct {
	audio.Source
	err    error
	closed int
}

func (f *failing) Read(dst audio.Block) (int, error) {
	n, _ := f.Source.Read(dst)
	if n == 0 {
		return 0, f.err
	}
	return n, nil
}

func (f *failing) Close() error { f.closed++; return nil }

// An error comes after the frames before it; closing ends the goroutine,
// wherever it is, and closes the source once.
func TestAheadEnds(t *testing.T) {
	gone := errors.New("the disk is gone")
	f := &failing{Source: audio.NewMemory(audio.NewBlock(1, 30_000), 48000), err: gone}
	a := audio.NewAhead(f)
	got, err := audio.ReadAll(a)
	if got.Frames() != 30_000 || err != gone {
		t.Errorf("%d frames, then %v", got.Frames(), err)
	}
	first, second := a.Close(), a.Close()
	if first != nil || second != nil || f.closed != 1 {
		t.Errorf("closed %d times", f.closed)
	}
	before := runtime.NumGoroutine()
	for _, read := range []int{0, 1, 20_000, 100_000} {
		f := &failing{Source: audio.NewMemory(audio.NewBlock(1, 1_000_000), 48000), err: io.EOF}
		a := audio.NewAhead(f)
		if n, err := a.Read(audio.NewBlock(1, read)); n != read || err != nil {
			t.Errorf("read %d of %d, %v", n, read, err)
		}
		if a.Close() != nil || f.closed != 1 {
			t.Errorf("after %d frames closed %d times", read, f.closed)
		}
		if n, err := a.Read(audio.NewBlock(1, 1)); n != 0 || err == nil {
			t.Errorf("a closed source gave %d frames, %v", n, err)
		}
	}
	if after := runtime.NumGoroutine(); after > before {
		t.Errorf("%d goroutines became %d", before, after)
	}
	if n, err := audio.NewAhead(f).Read(audio.NewBlock(2, 5)); n != 0 || err == nil {
		t.Error("reading one channel into two gave no error")
	}
	if _, err := audio.NewAhead(&failing{Source: audio.NewMemory(audio.NewBlock(1, 0), 48000)}).Read(
		audio.NewBlock(1, 5)); err != io.ErrNoProgress {
		t.Errorf("a source that gives nothing: %v", err)
	}
}
