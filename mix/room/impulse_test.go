package room

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ripieno/mix/audio"
)

// impulse returns a seeded decaying response.
func impulse(seed uint64, channels, frames int) audio.Block {
	rng := rand.New(rand.NewPCG(seed, 3))
	b := audio.NewBlock(channels, frames)
	for c := range b {
		for i := range b[c] {
			b[c][i] = rng.NormFloat64() * math.Exp(-float64(i)/3000)
		}
	}
	return b
}

// convolved runs x through the room in partitions.
func convolved(t *testing.T, m *Impulse, x audio.Block) audio.Block {
	t.Helper()
	c, out := NewConvolver(m), audio.NewBlock(2, x.Frames())
	for at := 0; at < x.Frames(); at += Partition {
		end := min(at+Partition, x.Frames())
		c.Process(out.Slice(at, end), x.Slice(at, end))
	}
	return out
}

// The partitioned convolution is the plain one, for every number of channels
// and for responses shorter and longer than a partition.
func TestConvolutionIsExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	const n = 3*Partition + 500
	x := audio.NewBlock(2, n)
	for i := 0; i < n; i += 97 {
		x[0][i], x[1][i] = rng.NormFloat64(), rng.NormFloat64()
	}
	for _, c := range []struct{ channels, frames int }{{1, 700}, {2, Partition}, {4, 2*Partition + 77}} {
		ir := impulse(uint64(c.channels), c.channels, c.frames)
		m, err := NewImpulse(audio.NewMemory(ir, audio.Rate))
		if err != nil {
			t.Fatal(err)
		}
		got := convolved(t, m, x)
		pick := map[int][2][2]int{1: {{0, -1}, {-1, 0}}, 2: {{0, -1}, {-1, 1}}, 4: {{0, 1}, {2, 3}}}[c.channels]
		want := audio.NewBlock(2, n)
		var power float64
		for from := range 2 {
			for to := range 2 {
				if pick[from][to] < 0 {
					continue
				}
				h := ir[pick[from][to]]
				for _, v := range h {
					power += v * v
				}
				for i := 0; i < n; i += 97 {
					for k := 0; k < len(h) && i+k < n; k++ {
						want[to][i+k] += x[from][i] * h[k]
					}
				}
			}
		}
		scale := math.Sqrt(2 / power)
		for to := range want {
			for i, v := range want[to] {
				if math.Abs(got[to][i]-v*scale) > 1e-12 {
					t.Fatalf("%d channels: side %d sample %d is %v, want %v", c.channels, to, i, got[to][i], v*scale)
				}
			}
		}
		if m.Tail() != audio.Frames(c.frames) {
			t.Errorf("a tail of %d frames, want %d", m.Tail(), c.frames)
		}
	}
}

// A response at another rate is brought to the mix's, with the same length in
// seconds.
func TestImpulseAtAnotherRate(t *testing.T) {
	m, err := NewImpulse(audio.NewMemory(impulse(1, 2, 44100), 44100))
	if err != nil || m.Tail() != audio.Rate {
		t.Errorf("one second has a tail of %d frames, %v", m.Tail(), err)
	}
}

// broken fails at once.
type broken struct{ audio.Source }

func (broken) Read(audio.Block) (int, error) { return 0, errors.New("the disk is gone") }

func TestImpulseErrors(t *testing.T) {
	for want, src := range map[string]audio.Source{
		"3 channels": audio.NewMemory(impulse(1, 3, 100), audio.Rate),
		"silent":     audio.NewMemory(audio.NewBlock(2, 100), audio.Rate),
		"disk":       broken{audio.NewMemory(impulse(1, 2, 100), audio.Rate)},
	} {
		if _, err := NewImpulse(src); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
	nan := impulse(1, 2, 100)
	nan[0][3] = math.NaN()
	if _, err := NewImpulse(audio.NewMemory(nan, audio.Rate)); err == nil {
		t.Error("a broken response was accepted")
	}
	m, err := NewImpulse(audio.NewMemory(impulse(1, 1, 100), audio.Rate))
	if err != nil {
		t.Fatal(err)
	}
	x := audio.NewBlock(2, 3000)
	x[0][5], x[1][6] = math.NaN(), math.Inf(1)
	y := convolved(t, m, x)
	for i, v := range y[0] {
		if v != 0 || y[1][i] != 0 {
			t.Fatalf("broken samples sound: sample %d is %v", i, v)
		}
	}
}

func BenchmarkConvolver(b *testing.B) {
	m, err := NewImpulse(audio.NewMemory(impulse(1, 2, 3*audio.Rate), audio.Rate))
	if err != nil {
		b.Fatal(err)
	}
	c, block := NewConvolver(m), impulse(2, 2, Partition)
	out := audio.NewBlock(2, Partition)
	for b.Loop() {
		c.Process(out, block)
	}
	b.ReportMetric(float64(b.N)*Partition/audio.Rate/b.Elapsed().Seconds(), "x_real_time")
}
