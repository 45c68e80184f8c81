package intake

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// sine returns a tone of an amplitude in dBFS.
func sine(hz, seconds, db float64) []float64 {
	x := make([]float64, int(seconds*testRate))
	a := math.Pow(10, db/20)
	for i := range x {
		x[i] = a * math.Sin(2*math.Pi*hz*float64(i)/testRate)
	}
	return x
}

func add(x, y []float64) []float64 {
	z := append([]float64{}, x...)
	for i := range z {
		z[i] += y[i%len(y)]
	}
	return z
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %g, want %g ± %g", what, got, want, tolerance)
	}
}

// EBU Tech 3341 anchor: 0 dBFS at 997 Hz in one channel is -3.01 LUFS (ITU-R
// BS.1770-4); a sine's effective value is 3.01 dB under its peak.
func TestListenLevels(t *testing.T) {
	s := listen(t, sine(997, 5, -20), sine(997, 5, -60))
	near(t, "loudness", s.LoudnessLUFS, -23.01, 0.02)
	near(t, "peak", s.Channels[0].PeakDB, -20, 0.01)
	near(t, "effective value", s.Channels[0].RMSDB, -23.01, 0.01)
	near(t, "peak of the other side", s.Channels[1].PeakDB, -60, 0.01)
	near(t, "length", s.Seconds, 5, 0)
	near(t, "correlation", s.Correlation, 1, 1e-9)
	x := sine(440, 2, -6)
	y := make([]float64, len(x))
	for i := range x {
		y[i] = -x[i]
	}
	near(t, "correlation of antiphase", listen(t, x, y).Correlation, -1, 1e-9)
	near(t, "correlation with silence", listen(t, x, make([]float64, len(x))).Correlation, 0, 0)
}

func TestListenNoise(t *testing.T) {
	s := listen(t, instruments[2].play(10, -50))
	near(t, "noise", s.NoiseDB, -50, 1)
	near(t, "rest", s.RestSeconds, 2, 0.1)
	// Digital silence, as gates and editors leave it, is not a noise floor.
	x := append(make([]float64, 5*testRate), instruments[2].play(10, -50)...)
	near(t, "noise after silence", listen(t, x).NoiseDB, -50, 1)
}

func TestListenHum(t *testing.T) {
	oboe := instruments[2].play(16, -75)
	for _, c := range []struct {
		name string
		x    []float64
		hz   int // 0: no finding
	}{
		{"none", oboe, 0},
		{"50", add(oboe, add(sine(50, 1, -52), sine(150, 1, -56))), 50},
		{"60", add(oboe, add(sine(60, 1, -52), sine(120, 1, -54))), 60},
		{"mains that wander", add(oboe, add(sine(49.85, 30, -50), sine(149.55, 30, -56))), 50},
		{"very soft", add(oboe, sine(50, 1, -80)), 0},
		{"a low note of the playing", add(oboe, append(make([]float64, 4*testRate), sine(98, 13, -20)...)), 0},
		{"hiss", instruments[2].play(16, -50), 0},
	} {
		s := listen(t, scale(c.x, 0.7))
		got := 0
		if level(judgeSound(s), Hum) == Ask {
			got = s.HumHz
		}
		if got != c.hz {
			t.Errorf("%s: found %d, want %d (%d Hz %.1f dB stands out %.1f dB)", c.name, got, c.hz, s.HumHz, s.HumDB,
				s.HumProminenceDB)
		}
	}
}

// Made-to-fault sounds and their near misses, measured and judged together.
func TestListenAndJudge(t *testing.T) {
	oboe := instruments[2].play(10, -80)
	silence := make([]float64, len(oboe))
	for _, c := range []struct {
		name  string
		s     Sound
		code  Code
		level Level // -1: not found
	}{
		{"soft", listen(t, scale(oboe, 0.02)), TooSoft, Ask},
		{"not soft yet", listen(t, scale(oboe, 0.06)), TooSoft, -1},
		{"tiny", listen(t, scale(oboe, 0.004)), TooSoft, Redo},
		{"silent", listen(t, silence), Silent, Redo},
		{"noise of 16 bits", listen(t, scale(add(silence, sine(1000, 1, -90)), 1)), Silent, Redo},
		{"one side dead", listen(t, oboe, silence), DeadSide, OK},
		{"one side softer", listen(t, oboe, scale(oboe, 0.2)), DeadSide, -1},
		{"antiphase", listen(t, oboe, scale(oboe, -1)), Antiphase, OK},
		{"mono on two sides", listen(t, oboe, oboe), Antiphase, -1},
		{"noisy", listen(t, instruments[2].play(10, -36)), Noisy, Ask},
		{"very noisy", listen(t, instruments[2].play(10, -22)), Noisy, Redo},
		{"quiet room", listen(t, instruments[2].play(10, -50)), Noisy, -1},
		{"no rest at all", listen(t, oboe[2*testRate:11*testRate]), Noisy, -1},
	} {
		if got := level(judgeSound(c.s), c.code); got != c.level {
			t.Errorf("%s: %v, want %v (%+v)", c.name, got, c.level, c.s)
		}
	}
}

func TestListenEdges(t *testing.T) {
	empty := listen(t, []float64{})
	if empty.Seconds != 0 || len(empty.Channels) != 1 || empty.LoudnessLUFS != Floor ||
		empty.Channels[0].PeakDB != Floor {
		t.Errorf("%+v", empty)
	}
	// A tenth of a second, and broken samples, give finite numbers.
	for _, x := range [][]float64{{0.5}, sine(100, 0.1, 0), {math.NaN(), math.Inf(1), 0.1}} {
		s := listen(t, x)
		for _, v := range []float64{s.LoudnessLUFS, s.LoudDB, s.NoiseDB, s.HumDB, s.HumProminenceDB, s.Correlation,
			s.Channels[0].PeakDB, s.Channels[0].RMSDB, s.Channels[0].RailDB, s.Channels[0].RailRatio} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%v gives %+v", x[:1], s)
			}
		}
	}
	broken := errors.New("the file broke")
	if _, err := Listen(failing{broken}); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	if _, err := Listen(audio.NewMemory(audio.Block{{0}}, 8)); err == nil {
		t.Error("8 Hz was accepted")
	}
}

// failing is a source that breaks at once.
type failing struct{ err error }

func (failing) Channels() int                   { return 1 }
func (failing) Rate() int                       { return 8000 }
func (f failing) Read(audio.Block) (int, error) { return 0, f.err }

// Differential: ffmpeg's astats and ebur128 on the same file.
func TestRealListenAgainstFFmpeg(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	path := filepath.Join(t.TempDir(), "x.wav")
	for _, gain := range []float64{0.5, 3} {
		againstFFmpeg(t, tool, path, scale(instruments[3].play(10, -50), gain), gain > 1)
	}
}

func againstFFmpeg(t *testing.T, tool *ffmpeg.Tool, path string, x []float64, clipped bool) {
	t.Helper()
	if _, err := media.CreateWAV(context.Background(), path, audio.NewMemory(audio.Block{x}, testRate),
		media.Float32); err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	err := tool.Run(context.Background(), ffmpeg.Command{
		Args: []string{"-loglevel", "info", "-i", path, "-af", "astats,ebur128", "-f", "null", "-"}, Log: &log,
	})
	if err != nil {
		t.Fatal(err)
	}
	says := func(pattern string) float64 {
		m := regexp.MustCompile(pattern).FindAllStringSubmatch(log.String(), -1)
		if m == nil {
			t.Fatalf("ffmpeg does not say %s in %s", pattern, log.String())
		}
		v, err := strconv.ParseFloat(m[len(m)-1][1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	s := listen(t, x)
	near(t, "peak", s.Channels[0].PeakDB, says(`Peak level dB: (\S+)`), 0.01)
	near(t, "effective value", s.Channels[0].RMSDB, says(`RMS level dB: (\S+)`), 0.01)
	near(t, "loudness", s.LoudnessLUFS, says(`I:\s+(\S+) LUFS`), 0.11)
	// Its trough is the softest moment of an average that forgets, over 50 ms;
	// ours has a twentieth of all windows of 100 ms below it.
	if trough := says(`RMS trough dB: (\S+)`); s.NoiseDB < trough || s.NoiseDB > trough+3 {
		t.Errorf("the noise is at %.1f dB, ffmpeg's trough at %.1f", s.NoiseDB, trough)
	}
	// It counts all samples at the extremes, we those of three and more in a row.
	flat, all := s.Channels[0].FlatPercent, 100*says(`Peak count: (\S+)`)/float64(len(x))
	if flat > all+1e-9 || clipped && flat < 0.8*all || !clipped && flat != 0 {
		t.Errorf("%.4f %% of the samples are flat at the extremes, of %.4f %% there", flat, all)
	}
}

func TestExtreme(t *testing.T) {
	for _, c := range []struct {
		x    []float64
		flat int64
	}{
		{[]float64{0, 0, 0, 0}, 0},
		{[]float64{1, 1, 0}, 0},
		{[]float64{1, 1, 1, 0}, 3},
		{[]float64{1, 1, 1, 1, 0, 1, 1, 1, -1, 1, 1}, 7},
		{[]float64{.5, .5, .5, 1, 0, .5, .5, .5}, 0}, // the plateau is below the extreme
		{[]float64{-1, -1, -1}, 0},
	} {
		var e extreme
		for _, v := range c.x {
			e.add(v)
		}
		if e.flat != c.flat {
			t.Errorf("%v: %d flat samples, want %d", c.x, e.flat, c.flat)
		}
	}
}

func TestRailOfNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 5*testRate)
	for i := range x {
		x[i] = 0.2 * rng.NormFloat64()
	}
	if c := listen(t, x).Channels[0]; c.RailRatio > 0.3 {
		t.Errorf("normal noise: %+v", c)
	}
	if c := listen(t, scale(x, 5)).Channels[0]; c.RailRatio < 2 || math.Abs(c.RailDB) > 0.7 {
		t.Errorf("clipped noise: %+v", c)
	}
}

func BenchmarkListen(b *testing.B) {
	x := instruments[2].play(27, -60) // with its rests half a minute
	b.ReportAllocs()
	for b.Loop() {
		listen(b, x, x)
	}
	b.ReportMetric(float64(b.N)*float64(len(x))/testRate/b.Elapsed().Seconds(), "s/s")
}
