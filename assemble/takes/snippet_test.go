package takes

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// A snippet is from before the clap into the piece, or from where a file that has
// neither begins; never longer than is listened to with patience, never before the
// guide. Two measures of count-in of 4/4 at 120 last 4 s; the clap is on beat 1 of the
// second, at 2 s.
func TestSpansOfSnippets(t *testing.T) {
	const head = "  count_in: {measures: 2, cue: {measure: 2, beat: 1}}\n  changes: [{measure: 1, meter: " +
		"4/4, bpm: 120}]\n"
	m := parseTempo(t, head+"  measures: 8\n")
	long := parseTempo(t,
		"  count_in: {measures: 8, cue: {measure: 1, beat: 1}}\n  changes: [{measure: 1, meter: 4/4, "+
			"bpm: 60}]\n  measures: 8\n")
	none := parseTempo(t, "  count_in: {measures: 0}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 8\n")
	if m.Cue() != 2 || m.Start() != 4 || long.Cue() != 0 || long.Start() != 32 || !math.IsNaN(none.Cue()) {
		t.Fatal("the guides are others than this test takes them for")
	}
	for _, c := range []struct {
		what     string
		offset   float64
		from, to float64
	}{
		{"from the guide's beginning", 0, 0.5, 9},
		{"from before the guide", -30, 0.5, 9},
		{"begins between", 1, 1, 9},
		{"begins after the clap", 2.5, 2.5, 9},
		{"begins in the piece", 5, 5, 10},
		{"begins late in the piece", 15, 15, 20},
	} {
		from, to := snippetSpan(m, audio.Clock{Offset: c.offset})
		if math.Abs(from-c.from) > 1e-9 || math.Abs(to-c.to) > 1e-9 {
			t.Errorf("%s: %v to %v, want %v to %v", c.what, from, to, c.from, c.to)
		}
	}
	if from, to := snippetSpan(long, audio.Clock{}); from != 0 || to != snippetMost {
		t.Errorf("of a long count-in: %v to %v", from, to)
	}
	if from, to := snippetSpan(none, audio.Clock{}); from != 0 || to != 5 {
		t.Errorf("without a count-in: %v to %v", from, to)
	}
}

// Loudness is raised to a peak by 40 dB at the most, so that hiss stays hiss, and what
// is silent stays silent.
func TestRaising(t *testing.T) {
	for _, c := range []struct{ in, want []float64 }{
		{nil, nil},
		{[]float64{0, 0}, []float64{0, 0}},
		{[]float64{0.5, -1}, []float64{0.125, -0.25}},
		{[]float64{-0.01, 0.005}, []float64{-0.25, 0.125}},
		{[]float64{1e-4, 0}, []float64{1e-2, 0}},
	} {
		x := slices.Clone(c.in)
		raise(x, 0.25)
		for i, v := range x {
			if math.Abs(v-c.want[i]) > 1e-12 {
				t.Errorf("%v becomes %v, want %v", c.in, x, c.want)
			}
		}
	}
}

// The mean of all channels is read from a frame on, with silence where the source ends.
func TestReadingMono(t *testing.T) {
	ramp := make([]float64, 40_000)
	for i := range ramp {
		ramp[i] = float64(i)
	}
	src := func() audio.Source { return audio.NewMemory(audio.Block{ramp, make([]float64, len(ramp))}, 8000) }
	for _, c := range [][2]int{{0, 10}, {5, 10}, {39_990, 20}, {50_000, 3}, {16_000, 17_000}, {0, 0}} {
		got, err := readMono(src(), c[0], c[1])
		if err != nil || len(got) != c[1] {
			t.Fatalf("%v: %d frames, %v", c, len(got), err)
		}
		for i, v := range got {
			want := 0.0
			if k := c[0] + i; k < len(ramp) {
				want = float64(k) / 2
			}
			if v != want {
				t.Fatalf("%v: frame %d is %v, want %v", c, i, v, want)
			}
		}
	}
	broken := errors.New("cut off")
	if _, err := readMono(&audiotest.Failing{Source: src(), Left: 100, Err: broken}, 0, 1000); !errors.Is(err, broken) {
		t.Errorf("a source that fails: %v", err)
	}
}

// The left ear has the guide, the right the recording as it would lie there: a bang in
// the file at the second where the clap belongs is heard with the clap.
func TestSnippetsAreHeard(t *testing.T) {
	m := parseTempo(t,
		"  count_in: {measures: 2, cue: {measure: 2, beat: 1}}\n  changes: [{measure: 1, meter: 4/4, "+
			"bpm: 120}]\n  measures: 2\n")
	const offset = -3.0 // the clap, at guide time 2, is at 5 s of the file
	dir := t.TempDir()
	x := make([]float64, 8000*12)
	x[5*8000] = 0.01
	from, to := filepath.Join(dir, "take.wav"), filepath.Join(dir, "snippet.wav")
	if _, err := media.CreateWAV(t.Context(), from, audio.NewMemory(audio.Block{x}, 8000), media.Float32); err != nil {
		t.Fatal(err)
	}
	if err := writeSnippet(t.Context(), from, m, audio.Clock{Offset: offset}, 1.5, 3, to); err != nil {
		t.Fatal(err)
	}
	wav, err := media.OpenWAV(to)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	b, err := audio.ReadAll(wav)
	if err != nil || len(b) != 2 || wav.Rate() != audio.Rate || b.Frames() != 72_000 {
		t.Fatalf("%d channels of %d frames at %d, %v", len(b), b.Frames(), wav.Rate(), err)
	}
	loudest := func(ch []float64) (at int, peak float64) {
		for i, v := range ch {
			if math.Abs(v) > peak {
				at, peak = i, math.Abs(v)
			}
		}
		return at, peak
	}
	for side, ch := range b {
		if _, peak := loudest(ch); math.Abs(peak-snippetPeak) > 0.01 {
			t.Errorf("side %d peaks at %v", side, peak)
		}
	}
	if at, _ := loudest(b[1]); at != 24_000 { // half a second in: guide time 2
		t.Errorf("the bang is at frame %d", at)
	}
	click := slices.IndexFunc(b[0][20_000:], func(v float64) bool { return math.Abs(v) > 0.01 }) + 20_000
	if click < 24_000 || click > 24_100 {
		t.Errorf("the guide's beat is at frame %d", click)
	}
	if err := writeSnippet(t.Context(), dir+"/gone.wav", m, audio.Clock{}, 0, 1, to); err == nil {
		t.Error("a sound that is not there is heard")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := writeSnippet(ended, from, m, audio.Clock{}, 0, 1, filepath.Join(dir, "b.wav")); !errors.Is(err,
		context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Only what may be a snippet is ever taken away.
func TestNamesOfSnippets(t *testing.T) {
	for file, want := range map[string]bool{"oboe-audio-1.wav": true, "x.wav": true, "oboe.mp3": false,
		"deep/oboe.wav": false, "": false, "wav": false} {
		if got := isSnippet(file); got != want {
			t.Errorf("%q is a snippet: %v", file, got)
		}
	}
}

// Pages of an earlier, longer picture go, one after the other, and nothing else does.
func TestPagesThatAreNotDrawnAnyMore(t *testing.T) {
	s := opened(t, "version: 1\ntitle: x\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: "+
		"4}\ntakes: []\n")
	var names []string
	for k := range 4 {
		names = append(names, syncPage(k))
	}
	if fmt.Sprint(names) != "[sync.png sync-2.png sync-3.png sync-4.png]" || FirstPage != "sync.png" {
		t.Fatalf("pages are called %q", names)
	}
	dir := s.Settings().Out
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, name := range append(slices.Clone(names), "sync-6.png", "final.mp4") {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := dropPages(s, 2); err != nil {
		t.Fatal(err)
	}
	var left []string
	list, err := os.ReadDir(dir)
	for _, e := range list {
		left = append(left, e.Name())
	}
	if want := []string{"final.mp4", "sync-2.png", "sync-6.png", "sync.png"}; err != nil || !slices.Equal(left, want) {
		t.Errorf("left are %q, %v", left, err)
	}
	if err := errors.Join(os.Remove(filepath.Join(dir, "sync.png")), os.Mkdir(filepath.Join(dir, "sync.png"), 0o777),
		os.WriteFile(filepath.Join(dir, "sync.png", "x"), nil, 0o666)); err != nil {
		t.Fatal(err)
	}
	if err := dropPages(s, 0); err == nil {
		t.Error("a folder that cannot be removed is no error")
	}
}
