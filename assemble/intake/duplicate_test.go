package intake

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// compare returns Compare, which nobody breaks off.
func compare(t testing.TB, all []Facts) map[string][]Finding {
	t.Helper()
	found, err := Compare(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// performed plays the same forty notes as anybody else with the part does, each
// performance with times and loudness of its own.
func performed(performance uint64) []float64 {
	part, rng := rand.New(rand.NewPCG(1, 6)), rand.New(rand.NewPCG(performance, 7))
	x := make([]float64, 22*testRate)
	for i := range x {
		x[i] = 0.0004 * rng.NormFloat64()
	}
	for k := range 40 {
		hz := 196 * math.Pow(2, float64(part.IntN(20))/12)
		loud := 0.25 * math.Pow(10, (6*part.Float64()+2*rng.NormFloat64()-6)/20)
		from := int((1 + 0.5*float64(k) + 0.015*rng.NormFloat64()) * testRate)
		for i := range min(testRate/2, len(x)-from) {
			t := float64(i) / testRate
			x[from+i] += loud * math.Sin(2*math.Pi*hz*t) * min(1, t*300) * math.Exp(-5*t)
		}
	}
	return x
}

func levelsOf(t *testing.T, src audio.Source) []uint8 {
	t.Helper()
	f, err := align.Analyse(src)
	if err != nil {
		t.Fatal(err)
	}
	return f.Level
}

// The same recording is known again after a lossy codec, at another level and
// trimmed where both were placed; another performance of the same part, by the
// same instrument in the same room, is not it.
func TestSameRecordingSavedAnew(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	x := performed(1)
	raw := filepath.Join(t.TempDir(), "raw.wav")
	if _, err := media.CreateWAV(context.Background(), raw, audio.NewMemory(audio.Block{x}, testRate),
		media.PCM16); err != nil {
		t.Fatal(err)
	}
	coded := func(name string, args ...string) []uint8 {
		path := ffmpegtest.Make(t, name, append([]string{"-i", raw}, args...)...)
		info, err := media.Probe(context.Background(), tool, path)
		if err != nil {
			t.Fatal(err)
		}
		decoded := filepath.Join(t.TempDir(), "decoded.wav")
		if err := media.DecodeAudio(context.Background(), tool, info, decoded); err != nil {
			t.Fatal(err)
		}
		w, err := media.OpenWAV(decoded)
		if err != nil {
			t.Fatal(err)
		}
		defer w.Close()
		return levelsOf(t, w)
	}
	one := levelsOf(t, audio.NewMemory(audio.Block{x}, testRate))
	at := func(offset float64) *Sync { return &Sync{Offset: offset, Sure: true, Confidence: 0.99} }
	for _, c := range []struct {
		name   string
		levels []uint8
		sync   *Sync
		same   bool
	}{
		{"AAC", coded("a.m4a", "-c:a", "aac", "-b:a", "64k"), nil, true},
		{"MP3, softer", coded("a.mp3", "-af", "volume=-9dB", "-b:a", "48k"), nil, true},
		{"trimmed and placed", coded("b.m4a", "-ss", "3.3", "-c:a", "aac"), at(5.3), true},
		{"trimmed and not placed", coded("c.m4a", "-ss", "3.3", "-c:a", "aac"), nil, false},
		{"another performance", levelsOf(t, audio.NewMemory(audio.Block{performed(2)}, testRate)), at(2), false},
		{"one note", levelsOf(t, audio.NewMemory(audio.Block{sine(440, 20, -20)}, testRate)), at(2), false},
	} {
		a, b := good(), good()
		a.Files, b.Files = a.Files[:1], b.Files[:1]
		b.Take, b.Files[0].Hash = "horn-2", "9"
		a.Files[0].Levels, a.Files[0].Sync = one, at(2)
		b.Files[0].Levels = c.levels
		if b.Files[0].Sync = c.sync; c.sync == nil {
			b.Files[0].Sync = &Sync{}
		}
		found := compare(t, []Facts{a, b})
		if same := len(found) == 2; same != c.same || !same && len(found) > 0 {
			t.Errorf("%s: %+v", c.name, found)
		} else if same && (found["horn-2"][0].Code != Duplicate ||
			!strings.Contains(found["horn-2"][0].What, "saved anew, as \"mara.mov\" of \"oboe-1\"")) {
			t.Errorf("%s: %+v", c.name, found)
		}
	}
}

// wander returns the loudness of some minutes of playing, nobody else's; every other
// one hardly varies, as loud and even playing does.
func wander(seed uint64, minutes int) []uint8 {
	rng := rand.New(rand.NewPCG(seed, 21))
	out := make([]uint8, minutes*60*100)
	v, goal, reach := 200.0, 200.0, 60.0
	if seed%2 == 0 {
		reach = 20
	}
	for i := range out {
		if i%37 == 0 {
			goal = 210 - reach*rng.Float64()
		}
		v += 0.1 * (goal - v)
		out[i] = uint8(v + rng.NormFloat64())
	}
	return out
}

// sent returns the files of so many takes, placed within a second of each other.
func sent(takes, minutes int) []Facts {
	all := make([]Facts, takes)
	for i := range all {
		all[i] = Facts{Take: fmt.Sprint("take-", i), Files: []File{{
			Name: fmt.Sprint(i, ".wav"), Hash: fmt.Sprint(i), Levels: wander(uint64(i), minutes),
			Sync: &Sync{Sure: true, Offset: float64(i%97) * 0.01},
		}}}
	}
	return all
}

// Of many takes of full length one that came twice, cut and softer, is found, and
// nearly all other pairs are told apart by a few moments: nobody reads whole
// files against each other.
func TestManyTakesAreComparedQuickly(t *testing.T) {
	all := sent(40, 10)
	again := &all[31].Files[0]
	again.Levels = nil
	for i, v := range all[4].Files[0].Levels[777:] {
		again.Levels = append(again.Levels, v-12+uint8(i%3))
	}
	again.Sync = &Sync{Sure: true, Offset: all[4].Files[0].Sync.Offset + 7.77}
	found := compare(t, all)
	if len(found) != 2 || len(found["take-4"]) != 1 || len(found["take-31"]) != 1 {
		t.Errorf("%+v", found)
	}
	lines := contours{}
	read, lags := 0, 0
	for i := range all {
		for k := i + 1; k < len(all); k++ {
			a, b := lines.of(&all[i].Files[0]), lines.of(&all[k].Files[0])
			for lag := -lagReach; lag <= lagReach; lag++ {
				lags++
				if !a.apart(b, lag) {
					read++
				}
			}
		}
	}
	if read*1000 > lags {
		t.Errorf("%d of %d comparisons read the whole files", read, lags)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Compare(ctx, all); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// Two hundred takes of ten minutes:
//
//	go test -run - -bench Compare ./assemble/intake
func BenchmarkCompare(b *testing.B) {
	all := sent(200, 10)
	for b.Loop() {
		compare(b, all)
	}
}
