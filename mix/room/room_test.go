package room

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
)

// response returns what the room answers to an impulse on one side.
func response(h Hall, side int, seconds float64) audio.Block {
	b := audio.NewBlock(2, int(seconds*audio.Rate))
	b[side][0] = 1
	New(h).Process(b, b)
	return b
}

// decay returns the time for 60 dB from the slope of the backward integral between
// −5 and −35 dB (ISO 3382-1, T30).
func decay(x []float64) float64 {
	sum := make([]float64, len(x)+1)
	for i := len(x) - 1; i >= 0; i-- {
		sum[i] = sum[i+1] + x[i]*x[i]
	}
	at := func(db float64) float64 {
		for i, e := range sum {
			if e <= sum[0]*math.Pow(10, db/10) {
				return float64(i) / audio.Rate
			}
		}
		return math.Inf(1)
	}
	return 2 * (at(-35) - at(-5))
}

// bandpass returns a plain second-order band-pass run twice, to look at one part of
// the spectrum.
func bandpass(x []float64, hz float64) []float64 {
	y := append([]float64{}, x...)
	sin, cos := math.Sincos(2 * math.Pi * hz / audio.Rate)
	alpha := sin / (2 * 1.4)
	for range 2 {
		var x1, x2, y1, y2 float64
		for i, v := range y {
			o := (alpha*v - alpha*x2 + 2*cos*y1 - (1-alpha)*y2) / (1 + alpha)
			x1, x2, y1, y2 = v, x1, o, y1
			y[i] = o
		}
	}
	return y
}

func energy(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return sum
}

// The decay is the one asked for, in the middle and at the top.
func TestDecayTimes(t *testing.T) {
	for _, h := range []Hall{{}, {Decay: 0.8, High: 0.4}, {Decay: 3, High: 0.7, Size: 1.5}} {
		want := h.defaults()
		x := response(h, 0, want.Decay*1.5)[1]
		for _, c := range []struct{ hz, seconds float64 }{{500, want.Decay}, {6000, want.Decay * want.High}} {
			got := decay(bandpass(x, c.hz))
			t.Logf("%+v: %g Hz decays in %.2f s", h, c.hz, got)
			if math.Abs(got/c.seconds-1) > 0.15 {
				t.Errorf("%+v: %g Hz decays in %.2f s, want %.2f", h, c.hz, got, c.seconds)
			}
		}
	}
}

// Unrelated steady noise on both sides comes out with the power it went in
// with, apart from what the low cut takes.
func TestPowerIsNormalised(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, h := range []Hall{{}, {Decay: 0.5}, {Decay: 3, High: 0.9, Size: 2}} {
		in, out := audio.NewBlock(2, 7*audio.Rate), audio.NewBlock(2, 7*audio.Rate)
		for c := range in {
			for i := range in[c] {
				in[c][i] = rng.NormFloat64() * 0.1
			}
		}
		New(h).Process(out, in)
		from := 4 * audio.Rate
		ratio := (energy(out[0][from:]) + energy(out[1][from:])) / (energy(in[0][from:]) + energy(in[1][from:]))
		if db := 10 * math.Log10(ratio); math.Abs(db) > 0.5 {
			t.Errorf("%+v: %.2f dB", h, db)
		}
	}
}

// Left and right differ, as in a room, and neither side is favoured.
func TestStereo(t *testing.T) {
	for side := range 2 {
		b := response(Hall{}, side, 2)
		var dot float64
		for i := range b[0] {
			dot += b[0][i] * b[1][i]
		}
		l, r := energy(b[0]), energy(b[1])
		if c := dot / math.Sqrt(l*r); math.Abs(c) > 0.25 {
			t.Errorf("side %d: the sides of the room correlate by %.2f", side, c)
		}
		if d := 10 * math.Log10(l/r); math.Abs(d) > 2 {
			t.Errorf("side %d: the sides differ by %.1f dB", side, d)
		}
	}
}

// No echo stands out of the tail: in windows of 2 ms after the first tenth of
// a second, no peak is more than 16 dB over the mean of its neighbourhood. A flutter
// or a bare delay line would be.
func TestTailIsSmooth(t *testing.T) {
	x := response(Hall{}, 0, 1.2)[0]
	const window = audio.Rate / 500
	var levels []float64
	for i := audio.Rate / 10; i+window < len(x); i += window {
		levels = append(levels, energy(x[i:i+window]))
	}
	for i := 25; i+25 < len(levels); i++ {
		var mean float64
		for _, e := range levels[i-25 : i+25] {
			mean += e / 50
		}
		if db := 10 * math.Log10(levels[i]/mean); db > 9 || db < -16 {
			t.Fatalf("at %d ms the tail stands out by %.1f dB", 100+2*i, db)
		}
	}
}

// The room is linear and does not change with time.
func TestLinearAndSteady(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	a, b, sum := audio.NewBlock(2, 20000), audio.NewBlock(2, 20000), audio.NewBlock(2, 20000)
	late := audio.NewBlock(2, 21000)
	for c := range a {
		for i := range a[c] {
			a[c][i], b[c][i] = rng.NormFloat64(), rng.NormFloat64()
			sum[c][i] = a[c][i] + b[c][i]
			late[c][i+1000] = a[c][i]
		}
	}
	for _, x := range []audio.Block{a, b, sum, late} {
		New(Hall{}).Process(x, x)
	}
	for c := range a {
		for i := range a[c] {
			if math.Abs(a[c][i]+b[c][i]-sum[c][i]) > 1e-12 {
				t.Fatalf("channel %d sample %d: %v + %v is not %v", c, i, a[c][i], b[c][i], sum[c][i])
			}
			if a[c][i] != late[c][i+1000] {
				t.Fatalf("channel %d sample %d: %v, a second later %v", c, i, a[c][i], late[c][i+1000])
			}
		}
	}
}

func TestBlockSizesDoNotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 5))
	in, whole := audio.NewBlock(2, 9000), audio.NewBlock(2, 9000)
	for c := range in {
		for i := range in[c] {
			in[c][i] = rng.NormFloat64()
		}
	}
	New(Hall{Size: 0.3, PreDelay: -1}).Process(whole, in)
	for _, size := range []int{1, 100, 257, 4096} {
		r, out := New(Hall{Size: 0.3, PreDelay: -1}), audio.NewBlock(2, 9000)
		for at := 0; at < 9000; at += size {
			end := min(at+size, 9000)
			r.Process(out.Slice(at, end), in.Slice(at, end))
		}
		for c := range out {
			for i := range out[c] {
				if out[c][i] != whole[c][i] {
					t.Fatalf("blocks of %d: channel %d sample %d is %v, not %v", size, c, i, out[c][i], whole[c][i])
				}
			}
		}
	}
}

// Whatever goes in, what comes out is finite, and in the end it is silent.
func TestBadInput(t *testing.T) {
	nan := math.NaN()
	for _, h := range []Hall{{nan, nan, nan, nan}, {-1, -1, -1, -1}, {1e9, 1e9, 1e9, 1e9}} {
		b := audio.NewBlock(2, 20000)
		b[0][5], b[1][6], b[0][7], b[1][8] = nan, math.Inf(1), 1e300, 1
		New(h).Process(b, b)
		for c := range b {
			for i, v := range b[c] {
				if !(math.Abs(v) < 10) {
					t.Fatalf("%+v: channel %d sample %d is %v", h, c, i, v)
				}
			}
		}
	}
	r := New(Hall{Decay: 0.2, High: 0.1})
	b := audio.NewBlock(2, audio.Rate)
	b[0][0] = 1
	for range 12 {
		r.Process(b, b)
		if b[0][audio.Rate-1] == 0 && b[1][audio.Rate-1] == 0 {
			return
		}
		b.Clear()
	}
	t.Error("after 12 s a room of 0.2 s has not come to rest")
}

func TestTail(t *testing.T) {
	if got := New(Hall{Decay: 2, PreDelay: 0.05}).Tail(); got != audio.FramesAt(2.05) {
		t.Errorf("the tail is %d frames", got)
	}
}

func BenchmarkRoom(b *testing.B) {
	for _, size := range []int{256, 4096} {
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			r, block := New(Hall{}), audio.NewBlock(2, size)
			block[0][0] = 1
			n := 0
			for b.Loop() {
				r.Process(block, block)
				n += size
			}
			b.ReportMetric(float64(n)/audio.Rate/b.Elapsed().Seconds(), "x_real_time")
		})
	}
}
