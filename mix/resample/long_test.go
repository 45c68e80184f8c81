package resample

import (
	"fmt"
	"io"
	"math"
	"testing"

	"ripieno/mix/audio"
)

// clicks is a recording of any length made as it is read: a smooth click round
// every given time of the file, and silence between.
type clicks struct {
	rate   int
	times  []float64
	at     int64
	frames int64
}

func (c *clicks) Channels() int { return 1 }
func (c *clicks) Rate() int     { return c.rate }

func (c *clicks) Read(dst audio.Block) (int, error) {
	n := int(min(int64(dst.Frames()), c.frames-c.at))
	if n == 0 {
		return 0, io.EOF
	}
	x := dst[0][:n]
	clear(x)
	for _, t := range c.times {
		centre := t*float64(c.rate) - float64(c.at)
		for i := max(0, int(centre)-200); i < min(n, int(centre)+200); i++ {
			d := (float64(i) - centre) / 12
			x[i] += math.Exp(-d * d)
		}
	}
	c.at += int64(n)
	return n, nil
}

// centre returns the centre of gravity of x.
func centre(x []float64) float64 {
	var sum, moment float64
	for i, v := range x {
		sum += v
		moment += v * float64(i)
	}
	return moment / sum
}

// In the fifth minute a drifting recording is where it was in the first: a
// click lands within a thousandth of a sample of offset + t·(1 + drift·1e-6).
func TestDriftHoldsForMinutes(t *testing.T) {
	for _, c := range []struct {
		rate  int
		drift audio.PPM
	}{{48000, 80}, {44100, -80}, {48000, 0}, {44100, 450}} {
		for _, at := range []float64{0.5, 300.25} {
			const offset = -1.2345
			guide := offset + at*c.drift.Ratio()
			start := audio.FramesAt(guide) - 1000
			src := &clicks{rate: c.rate, times: []float64{at}, frames: int64(c.rate) * 301}
			out := audio.NewBlock(1, 2000)
			if n, err := New(src, audio.Rate, offset, c.drift, start).Read(out); n != 2000 || err != nil {
				t.Fatal(n, err)
			}
			want := guide*audio.Rate - float64(start)
			if got := centre(out[0]); math.Abs(got-want) > 1e-3 {
				t.Errorf("%d Hz, %v ppm, at %v s: the click is %.5f samples off", c.rate, float64(c.drift), at,
					got-want)
			}
		}
	}
}

// counting says how much was read before the first request.
type counting struct {
	audio.Source
	reads int
}

func (c *counting) Read(dst audio.Block) (int, error) {
	c.reads++
	return c.Source.Read(dst)
}

// Nothing is read before the first Read, so that many strips can be prepared
// at no cost.
func TestNothingIsReadEarly(t *testing.T) {
	for _, drift := range []audio.PPM{0, 50} {
		c := &counting{Source: audio.NewMemory(audio.NewBlock(1, 480000), 48000)}
		New(c, 48000, -5.00001, drift, 0)
		if c.reads != 0 {
			t.Errorf("drift %v: %d reads by New", drift, c.reads)
		}
	}
}

// FuzzNew looks for numbers that make the resampler panic, hang, deliver
// something that is not a number, or a length off by more than the rounding of
// the position allows.
func FuzzNew(f *testing.F) {
	f.Add(44100, 48000, 0.5, 30.0, int64(100), 3000, 2)
	f.Add(48000, 48000, 0.0, 0.0, int64(0), 1, 1)
	f.Add(8000, 192000, -1.25, -450.0, int64(-4000), 5000, 1)
	f.Add(192000, 8000, 1e-9, 1e-9, int64(7), 9999, 1)
	f.Add(44056, 47952, 3.0, 0.0, int64(1)<<40, 50, 3)
	f.Add(1000, 768000, -3.0, 20000.0, int64(-1)<<40, 50, 1)
	f.Fuzz(func(t *testing.T, from, to int, offset, drift float64, start int64, frames, channels int) {
		if frames < 0 || frames > 10000 || channels < 1 || channels > 3 || from > MaxRate || to > MaxRate {
			return
		}
		b := audio.NewBlock(channels, frames)
		for c := range b {
			for i := range b[c] {
				b[c][i] = math.Sin(float64(i*(c+1)) * 0.1)
			}
		}
		src := New(audio.NewMemory(b, from), to, offset, audio.PPM(drift), audio.Frames(start))
		// From where it would start in the middle of nowhere, only look at a
		// little: silence may come first for hours.
		want := math.Inf(1)
		if from >= MinRate && to >= MinRate {
			end := offset + float64(frames)/float64(from)*(1+drift*1e-6)
			want = math.Max(0, end*float64(to)-float64(start))
		}
		out, got := audio.NewBlock(channels, 4096), 0
		for range 64 {
			n, err := src.Read(out)
			got += n
			for c := range out {
				for _, v := range out[c][:n] {
					if !(math.Abs(v) < 10) {
						t.Fatalf("a sample of %v", v)
					}
				}
			}
			if err == io.EOF {
				if slack := 1 + 1e-9*math.Abs(float64(start)) +
					float64(to)/float64(from)*1e-3; math.Abs(float64(got)-want) > slack {
					t.Fatalf("%d frames, want %.3f", got, want)
				}
				return
			}
			if err != nil {
				if got > 0 {
					t.Fatalf("%d frames, then %v", got, err)
				}
				return
			}
		}
	})
}

func ExampleNew() {
	// A phone that started 1.5 s after the guide and runs 40 ppm slow.
	phone := audio.NewMemory(audio.NewBlock(1, 44100*10), 44100)
	placed := New(phone, audio.Rate, 1.5, 40, 0)
	b, err := audio.ReadAll(placed)
	fmt.Println(b.Frames(), placed.Rate(), err)
	// Output: 552020 48000 <nil>
}
