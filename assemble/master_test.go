package assemble

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// The delivered sound has the loudness asked for within 0.3 LU and keeps its
// ceiling, by ffmpeg's meter, in few encodings (EBU R 128 allows 0.5 LU).
func TestDeliveredLoudness(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	for seed, want := range []string{"{loudness: -16}", "{loudness: -23, true_peak: -3}",
		"{loudness: -12, true_peak: -1}"} {
		dir := t.TempDir()
		takes := "takes:\n"
		for i := range 3 {
			writeWAV(t, filepath.Join(dir, fmt.Sprintf("in/%d.wav", i)), programme(uint64(10*seed+i), 48000, 8), 48000,
				media.PCM24)
			takes += fmt.Sprintf("  - {name: t%d, audio: {file: in/%d.wav, offset: 0}}\n", i, i)
		}
		r := mixSound(t, dir, takes+"mix: "+want, 2, MixOptions{})
		h := ffmpegHears(t, tool, storedFile(t, dir, "film.m4a"))
		t.Logf("%s: %.2f LUFS, %.1f dBTP, %d encodings, limiter %.1f dB", want, h.integrated, h.peak, r.Master.Tries,
			r.Master.Reduction)
		if math.Abs(h.integrated-r.Master.Target) > 0.3 || h.peak > r.Master.Ceiling+0.05 {
			t.Errorf("%s: delivered %.2f LUFS and %.1f dBTP", want, h.integrated, h.peak)
		}
		if math.Abs(*r.Master.AAC-h.integrated) > 0.05 {
			t.Errorf("%s: %.2f LUFS by our own meter, %.2f by ffmpeg's", want, *r.Master.AAC, h.integrated)
		}
		if r.Master.Tries > 5 {
			t.Errorf("%s: %d encodings", want, r.Master.Tries)
		}
	}
}

// White noise is what an encoder overshoots on most (by several decibels). The
// ceiling holds all the same, in a bounded number of encodings, and if that
// costs loudness the result says so.
func TestCeilingHoldsOnNoise(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(8, 8))
	b := audio.NewBlock(2, 8*48000)
	for c := range b {
		for i := range b[c] {
			b[c][i] = 0.1 * rng.NormFloat64()
		}
	}
	writeWAV(t, filepath.Join(dir, "in/a.wav"), b, 48000, media.Float32)
	r := mixSound(t, dir, "takes:\n  - {name: a, audio: {file: in/a.wav, offset: 0}}\nmix: {loudness: -8, "+
		"true_peak: -1}", 2, MixOptions{})
	h := ffmpegHears(t, tool, storedFile(t, dir, "film.m4a"))
	t.Logf("%.2f LUFS, %.1f dBTP, %d encodings, %q", h.integrated, h.peak, r.Master.Tries, r.Notes)
	if h.peak > -1+0.05 || *r.Master.AACPeak > -1 {
		t.Errorf("delivered %.2f dBTP, by ffmpeg %.1f", *r.Master.AACPeak, h.peak)
	}
	if told := len(r.Notes) > 0; told != (math.Abs(h.integrated+8) > 0.3) {
		t.Errorf("%.2f LUFS and notes %q", h.integrated, r.Notes)
	}
	if r.Master.Tries > 8 {
		t.Errorf("%d encodings", r.Master.Tries)
	}
}
