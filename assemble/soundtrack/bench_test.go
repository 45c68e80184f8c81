//go:build unix

package soundtrack

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/blend"
	"ripieno/mix/mask"
	"ripieno/mix/tone"
)

var (
	mixSeconds = flag.Int("mixseconds", 30, "length of the recordings of BenchmarkMix")
	mixAlone   = flag.Bool("mixalone", false, "BenchmarkMix leaves out what ffmpeg needs for the same files")
)

const mixStrips = 50

// BenchmarkMix makes what the mix makes besides decoding and encoding, from
// files to files, of 50 strips with everything on: measuring, repair, drift,
// low cut, three bands, compressor, fades, balance, pan, a shared hall, loudness,
// limiter and dither; in runs of their own, denoise by hand and all that is done
// by default to takes by themselves, in every take, with the balance of an ensemble. ffmpeg then does
// amix, pan and alimiter on the same files, without any of the rest. Times are
// those of the processor, which other work on the machine does not spoil:
// x_real_time_2_cores is the length of the piece over half of them;
// x_by_the_clock is its length over the time that passed.
func BenchmarkMix(b *testing.B) {
	tool, err := ffmpeg.Find(b.Context())
	if err != nil && !*mixAlone {
		b.Skip(err)
	}
	dir := b.TempDir()
	strips := benchStrips(b, dir)
	for _, name := range []string{"everything", "everything+denoise", "everything+clean"} {
		b.Run(name, func(b *testing.B) {
			var ours, theirs, passed time.Duration
			for b.Loop() {
				from, start := cpuTime(syscall.RUSAGE_SELF), time.Now()
				benchMix(b, dir, strips, name)
				ours += cpuTime(syscall.RUSAGE_SELF) - from
				passed += time.Since(start)
				if *mixAlone {
					continue
				}
				b.StopTimer()
				from = cpuTime(syscall.RUSAGE_CHILDREN)
				ffmpegMix(b, tool, dir)
				theirs += cpuTime(syscall.RUSAGE_CHILDREN) - from
				b.StartTimer()
			}
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			n := float64(b.N)
			b.ReportMetric(float64(m.Sys)/1e6, "MB")
			b.ReportMetric(ours.Seconds()/n, "cpu_s")
			if !*mixAlone {
				b.ReportMetric(theirs.Seconds()/n, "ffmpeg_cpu_s")
				b.ReportMetric(ours.Seconds()/theirs.Seconds(), "cpu_of_ffmpeg")
			}
			b.ReportMetric(2*float64(*mixSeconds)*n/ours.Seconds(), "x_real_time_2_cores")
			b.ReportMetric(float64(*mixSeconds)*n/passed.Seconds(), "x_by_the_clock")
		})
	}
}

// cpuTime returns processor time.
func cpuTime(who int) time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(who, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// benchStrips returns recordings as a real production has them: phones at 48 kHz
// and recorders at 44.1 kHz, every fifth in stereo, all with drift. Ten files
// stand for fifty.
func benchStrips(b *testing.B, dir string) []mix.Strip {
	strips := make([]mix.Strip, mixStrips)
	for i := range strips {
		path := filepath.Join(dir, fmt.Sprintf("take-%d.wav", i))
		hz := 48000 - 3900*(i%2)
		if i < 10 {
			block := programme(uint64(i), hz, 10)
			if i%5 != 4 {
				block = block[:1]
			}
			again := &repeated{block: block, rate: hz, left: (*mixSeconds + 2) * hz}
			if _, err := media.CreateWAV(b.Context(), path, again, media.PCM16); err != nil {
				b.Fatal(err)
			}
		} else if err := os.Link(filepath.Join(dir, fmt.Sprintf("take-%d.wav", i%10)), path); err != nil {
			b.Fatal(err)
		}
		strips[i] = mix.Strip{
			Name: fmt.Sprint("take-", i), Open: func() (audio.Source, error) { return media.OpenWAV(path) },
			Offset: -1 - float64(i)*0.0137, Drift: audio.PPM(i*4 - 99), To: audio.Frames(*mixSeconds * audio.Rate),
			LowCut: 80,
			EQ: []mix.Band{{Shape: mix.LowShelf, Hz: 200, Gain: -2}, {Shape: mix.Bell, Hz: 900, Gain: 2, Q: 1},
				{Shape: mix.HighShelf, Hz: 7000, Gain: 1}},
			Compress: &mix.Compressor{Threshold: -24, Ratio: 2}, Pan: float64(i)/mixStrips*2 - 1,
		}
	}
	return strips
}

// repeated is a short sound over and over, so that making the recordings does
// not show in the memory.
type repeated struct {
	block          audio.Block
	rate, left, at int
}

func (r *repeated) Channels() int { return len(r.block) }
func (r *repeated) Rate() int     { return r.rate }

// Read implements [audio.Source].
func (r *repeated) Read(dst audio.Block) (int, error) {
	done := 0
	for done < dst.Frames() && r.left > 0 {
		n := min(dst.Frames()-done, r.left, r.block.Frames()-r.at)
		for c := range dst {
			copy(dst[c][done:done+n], r.block[c][r.at:])
		}
		r.left, r.at, done = r.left-n, (r.at+n)%r.block.Frames(), done+n
	}
	if done == 0 {
		return 0, io.EOF
	}
	return done, nil
}

// benchMix does what the tasks of the mix do.
func benchMix(b *testing.B, dir string, strips []mix.Strip, what string) {
	voices, levels := make([]mix.Strip, len(strips)), make([]*mask.Levels, len(strips))
	var group errgroup.Group
	group.SetLimit(2)
	for i, s := range strips {
		group.Go(func() error {
			out := filepath.Join(dir, fmt.Sprintf("voice-%d", i))
			if err := os.MkdirAll(out, 0o777); err != nil {
				return err
			}
			a, err := mix.AnalyseStrip(s, mix.Span{To: s.To})
			if err != nil {
				return err
			}
			s.Repair = a.Repair
			if s, err = benchClean(s, what); err != nil {
				return err
			}
			if err := writeVoice(context.Background(), s, out); err != nil {
				return err
			}
			if what == "everything+clean" {
				if levels[i], err = benchBands(filepath.Join(out, voiceWAV)); err != nil {
					return err
				}
			}
			s.Gain = mix.Balance([]mix.Strip{s}, []mix.Analysis{a}, nil)[0]
			voices[i] = mix.FromVoice(s, s.From-mix.DefaultFade, func() (audio.Source, error) {
				return media.OpenWAV(filepath.Join(out, voiceWAV))
			})
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		b.Fatal(err)
	}
	if what == "everything+clean" {
		benchBlend(voices, levels)
	}
	sum, err := mix.PreMaster(voices, mix.Options{Length: audio.Frames(*mixSeconds * audio.Rate), Room: 0.2,
		Workers: 2})
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(dir, sumWAV)
	measured, err := writeSum(b.Context(), sum, path)
	if err != nil {
		b.Fatal(err)
	}
	open := func() (audio.Source, error) { return media.OpenWAV(path) }
	r, err := mix.SearchGain(open, measured, -16, -1)
	if err != nil {
		b.Fatal(err)
	}
	src, err := open()
	if err != nil {
		b.Fatal(err)
	}
	about := &media.Broadcast{Description: "fifty strips"}
	if _, err := writeMaster(b.Context(), src, &r, audio.Frames(*mixSeconds*audio.Rate), filepath.Join(dir, masterWAV),
		about); err != nil {
		b.Fatal(err)
	}
	if i := float64(r.After.Integrated); math.Abs(i+16) > 0.3 {
		b.Fatalf("mastered to %.2f LUFS", i)
	}
}

// benchClean returns a strip with what is done to it by itself.
func benchClean(s mix.Strip, what string) (mix.Strip, error) {
	switch what {
	case "everything+denoise":
		noise, err := mix.LearnNoise(s)
		s.Denoise = &mix.Denoise{Noise: noise}
		return s, err
	case "everything+clean":
		const before = 2 // seconds of count-in
		if _, err := mix.HearRoom(s, before/2); err != nil {
			return s, err
		}
		piece := mix.Span{From: before * audio.Rate, To: s.To - audio.Rate}
		var err error
		if s.Hum, err = mix.FindHum(s, piece); err != nil {
			return s, err
		}
		h, err := mix.Hear(s, piece)
		s.Playing, s.Reduce = h.Curve(s), &mix.Reduce{Noise: &h.Noise, Depth: 12}
		s.EQ = slices.Concat(mix.ToneBands(tone.Usual.Correction), mix.RumbleBands(120), s.EQ)
		return s, err
	}
	return s, nil
}

// benchBands measures what says who is hidden.
func benchBands(voice string) (*mask.Levels, error) {
	wav, err := media.OpenWAV(voice)
	if err != nil {
		return nil, err
	}
	l, err := mask.Listen(wav)
	return l, errors.Join(err, wav.Close())
}

// benchBlend balances sixteen parts as an ensemble, in phrases of eight seconds.
func benchBlend(voices []mix.Strip, levels []*mask.Levels) {
	const parts, phrase = 16, 8
	strips, starts := make([]mask.Strip, len(voices)), make([]audio.Decibels, len(voices))
	for i, v := range voices {
		strips[i] = mask.Strip{Levels: levels[i], From: audio.FramesAt(v.Offset), Gain: v.Gain,
			Group: fmt.Sprint(i % parts)}
		starts[i] = audio.Decibels(i%parts)/2 - 4
	}
	var phrases []blend.Phrase
	for at := 0; at < *mixSeconds; at += phrase {
		p := blend.Phrase{From: audio.FramesAt(float64(at)), To: audio.FramesAt(float64(at + phrase))}
		for i := range voices {
			p.Roles = append(p.Roles, []blend.Role{blend.Melody, blend.Bass, blend.Fill}[min(i%parts, 2)])
		}
		phrases = append(phrases, p)
	}
	for i, b := range blend.Find(strips, starts, phrases) {
		voices[i].Gain += b.Register
		voices[i].Rides = rides(b.Moves)
	}
}

// ffmpegMix is the least that could be called a mix.
func ffmpegMix(b *testing.B, tool *ffmpeg.Tool, dir string) {
	args := []string{"-y"}
	var graph, all strings.Builder
	for i := range mixStrips {
		args = append(args, "-i", filepath.Join(dir, fmt.Sprintf("take-%d.wav", i)))
		x := float64(i) / mixStrips
		fmt.Fprintf(&graph, "[%d:a]aresample=48000,pan=stereo|c0=%.4f*c0|c1=%.4f*c0[s%d];", i, math.Sqrt(1-x),
			math.Sqrt(x), i)
		fmt.Fprintf(&all, "[s%d]", i)
	}
	fmt.Fprintf(&graph, "%samix=inputs=%d:normalize=0,alimiter=limit=0.89[out]", all.String(), mixStrips)
	args = append(args, "-filter_complex", graph.String(), "-map", "[out]", "-t", fmt.Sprint(*mixSeconds), "-c:a",
		"pcm_s24le", filepath.Join(dir, "ffmpeg.wav"))
	if err := tool.Run(b.Context(), ffmpeg.Command{Args: args}); err != nil {
		b.Fatal(err)
	}
}

// programme returns seeded stereo sound: notes and bursts of noise of random level,
// pitch, place and length, with pauses, as music has them.
func programme(seed uint64, rate int, seconds float64) audio.Block {
	rng := rand.New(rand.NewPCG(seed, 41))
	n := int(seconds * float64(rate))
	b := audio.NewBlock(2, n)
	// Noise falls off above 3 kHz, as that of instruments does. Meters differ
	// near half the sample rate, where fourfold oversampling reads up to
	// 0.7 dB too little (BS.1770-4 annex 2, attachment).
	soft := 1 - math.Exp(-2*math.Pi*3000/float64(rate))
	for at := 0; at < n; {
		length := int((0.1 + rng.Float64()*1.4) * float64(rate))
		level := math.Pow(10, -(6+40*rng.Float64()*rng.Float64())/20)
		hz, side := 55*math.Pow(2, 6*rng.Float64()), rng.Float64()
		noisy, low := rng.IntN(3) == 0, 0.0
		for i := at; i < min(n, at+length); i++ {
			t := float64(i-at) / float64(rate)
			v := math.Sin(2*math.Pi*hz*t) + 0.4*math.Sin(4*math.Pi*hz*t+1)
			if noisy {
				low += (2*rng.NormFloat64() - low) * soft
				v = low
			}
			v *= level * math.Min(1, t*80) * math.Exp(-2*t)
			b[0][i] += v * math.Sqrt(1-side)
			b[1][i] += v * math.Sqrt(side)
		}
		at += int((0.05 + rng.Float64()*0.9) * float64(rate))
	}
	return b
}
