package mix

import (
	"fmt"
	"io"
	"math"
	"runtime"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/tone"
)

// loop is an endless recording made of a short one, so that the benchmark
// measures the mix and not the making of its sources.
type loop struct {
	b      audio.Block
	rate   int
	at     int
	frames int
}

func (l *loop) Channels() int { return len(l.b) }
func (l *loop) Rate() int     { return l.rate }
func (l *loop) Read(dst audio.Block) (int, error) {
	n := min(dst.Frames(), l.frames)
	if n == 0 {
		return 0, io.EOF
	}
	for done := 0; done < n; {
		k := 0
		for c := range dst {
			k = copy(dst[c][done:n], l.b[c][l.at:])
		}
		done += k
		l.at = (l.at + k) % l.b.Frames()
	}
	l.frames -= n
	return n, nil
}

// ensemble returns n strips as a real production has them: phones at 48 kHz and
// recorders at 44.1 kHz, every third in stereo, all with drift.
func ensemble(n int, seconds int, all bool) []Strip {
	strips := make([]Strip, n)
	for i := range strips {
		hz, channels := 48000, 1
		if i%2 == 1 {
			hz = 44100
		}
		if i%3 == 2 {
			channels = 2
		}
		b := make(audio.Block, channels)
		for c := range b {
			b[c] = tune(uint64(i*2+c), 0.2, 1e-4, 2*rate)
		}
		strips[i] = Strip{
			Name:   fmt.Sprint("take-", i),
			Open:   func() (audio.Source, error) { return &loop{b, hz, 0, (seconds + 2) * hz}, nil },
			Offset: -1 - float64(i)*0.0137, Drift: audio.PPM(i*4 - 100), Pan: float64(i)/float64(n)*2 - 1,
		}
		if all {
			strips[i].EQ = []Band{{LowShelf, 200, -2, 0}, {Bell, 900, 2, 1}, {HighShelf, 7000, 1, 0}}
			strips[i].Compress = &Compressor{Threshold: -24, Ratio: 2}
		}
	}
	return strips
}

// BenchmarkPreMaster mixes 50 strips. x_real_time is by the wall clock of this
// machine; x_per_core is what one processor does by its own time, which a busy
// machine does not spoil.
func BenchmarkPreMaster(b *testing.B) {
	for _, all := range []bool{false, true} {
		name := "default"
		if all {
			name = "all"
		}
		b.Run("50strips-"+name, func(b *testing.B) {
			const seconds = 10
			strips := ensemble(50, seconds, all)
			buf := audio.NewBlock(2, 4096)
			runtime.GC()
			start := cpuTime()
			for b.Loop() {
				src, err := PreMaster(strips, Options{Length: seconds * rate, Room: 0.2})
				if err != nil {
					b.Fatal(err)
				}
				for {
					if _, err := src.Read(buf); err == io.EOF {
						break
					} else if err != nil {
						b.Fatal(err)
					}
				}
			}
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.Sys)/1e6, "MB")
			b.ReportMetric(seconds*float64(b.N)/b.Elapsed().Seconds(), "x_real_time")
			b.ReportMetric(seconds*float64(b.N)/(cpuTime()-start).Seconds(), "x_per_core")
		})
	}
}

// BenchmarkClean hears a strip and computes its voice with everything that is
// done to takes by themselves, and without; x_per_core is by processor time.
func BenchmarkClean(b *testing.B) {
	const seconds = 60
	for _, name := range []string{"hear", "voice", "voice-cleaned"} {
		b.Run(name, func(b *testing.B) {
			s := ensemble(1, seconds, false)[0]
			s.From, s.To = 1, (seconds-2)*rate
			h, err := Hear(s, Span{5 * rate, (seconds - 5) * rate})
			if err != nil {
				b.Fatal(err)
			}
			if name == "voice-cleaned" {
				s.Playing, s.Reduce = h.Curve(s), &Reduce{&h.Noise, 12}
				s.EQ = ToneBands(tone.Usual.Correction)
			}
			buf, start := audio.NewBlock(1, 4096), cpuTime()
			for b.Loop() {
				if name == "hear" {
					if _, err := Hear(s, Span{5 * rate, (seconds - 5) * rate}); err != nil {
						b.Fatal(err)
					}
					continue
				}
				src, _, err := Voice(s)
				if err != nil {
					b.Fatal(err)
				}
				for err == nil {
					_, err = src.Read(buf)
				}
				if err != io.EOF {
					b.Fatal(err)
				}
			}
			b.ReportMetric(seconds*float64(b.N)/(cpuTime()-start).Seconds(), "x_per_core")
		})
	}
}

func BenchmarkAnalyse(b *testing.B) {
	for _, channels := range []int{1, 2} {
		b.Run(fmt.Sprintf("%dch", channels), func(b *testing.B) {
			block := audio.NewBlock(channels, 4*rate)
			for c := range block {
				copy(block[c], tune(uint64(c), 0.3, 1e-4, 4*rate))
			}
			for b.Loop() {
				if _, err := Analyse(&loop{block, rate, 0, 20 * rate}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(20*float64(b.N)/b.Elapsed().Seconds(), "x_real_time")
		})
	}
}

func BenchmarkMaster(b *testing.B) {
	block := audio.Block{tune(1, 0.8, 1e-3, 10*rate), tune(2, 0.8, 1e-3, 10*rate)}
	for b.Loop() {
		_, report, err := Master(func() (audio.Source, error) { return &loop{block, rate, 0, 30 * rate}, nil }, -14, -1)
		if err != nil || math.IsNaN(float64(report.Gain)) {
			b.Fatal(err)
		}
	}
	b.ReportMetric(30*float64(b.N)/b.Elapsed().Seconds(), "x_real_time")
}
