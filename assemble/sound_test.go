package assemble

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// The production of these tests: 2 measures of 4/4 at 120 after a count-in of
// one, so measure 1 begins at guide time 2 and the film lasts from 1 to 7.
const soundManifest = `version: 1
title: Test Round
tempo:
  count_in: {measures: 1}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 2
release: yes
%s
picture: {lead_in: 1, tail: 1}
`

const soundFrom, soundTo = 1 * audio.Rate, 7 * audio.Rate

// openSound opens a production of audio takes. It may be opened again.
func openSound(t testing.TB, dir, more string, workers int) *Production {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), fmt.Appendf(nil, soundManifest, more),
		0o666); err != nil {
		t.Fatal(err)
	}
	return openWith(t, Settings{Dir: dir, Workers: workers})
}

// mixSound mixes and closes.
func mixSound(t testing.TB, dir, more string, workers int, o MixOptions) MixResult {
	t.Helper()
	p := openSound(t, dir, more, workers)
	defer p.Close()
	r, err := p.Mix(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// pinkNoise returns this package's stream of pink noise.
func pinkNoise(seed uint64, level float64, n int) []float64 {
	return audiotest.Pink(seed, 3, level, n)
}

// ensembleTakes writes takes of every kind and returns the manifest's lines:
// mono and stereo, other rates, drift, a dead side, everything a strip can do.
func ensembleTakes(t testing.TB, dir string) string {
	t.Helper()
	a, b, c := programme(1, 48000, 8), programme(2, 44100, 8), programme(3, 48000, 6)
	writeWAV(t, filepath.Join(dir, "in/a.wav"), a[:1], 48000, media.PCM24)
	writeWAV(t, filepath.Join(dir, "in/b.wav"), b, 44100, media.Float32)
	writeWAV(t, filepath.Join(dir, "in/c.wav"), audio.Block{c[0], make([]float64, len(c[0]))}, 48000, media.PCM16)
	return `sections: [{name: winds, target: -26}, {name: "low, strings", gain: -2}]
takes:
  - {name: oboe, part: Oboe, section: winds, audio: {file: in/a.wav, offset: -0.25, drift_ppm: 60}, compress: {threshold: -20, ratio: 2}, denoise: 6}
  - {name: harp, part: Harp, audio: {file: in/b.wav, offset: 0.3}, width: 0.5, eq: [{shape: bell, hz: 900, gain: -3}], send: -6, pan: 20}
  - {name: cello, part: Cello, section: "low, strings", audio: {file: in/c.wav, offset: 1.25, drift_ppm: -30}, mutes: [{from: m2, to: m2.3}], delay: 0.01, send: none}
  - {name: flute, part: Flute, section: winds, expected: true}
`
}

const ensembleMix = `mix: {loudness: -18, true_peak: -1.5, room: 0.2, hall: {decay: 1}, fade_in: 0.2, fade_out: 1, solo_lift: 3, pan_law: compromise, stage: [{section: winds, from: -60, to: -20}]}
shots: [{from: m2, to: m3, show: solo, take: oboe}]`

func readSound(t testing.TB, path string) audio.Block {
	t.Helper()
	wav, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	b, err := audio.ReadAll(wav)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// All stems of takes, and all of sections, are the sum before mastering, to
// the rounding of 32-bit float samples; they begin at guide time 0.
func TestStemsSumToThePreMaster(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	r := mixSound(t, dir, ensembleTakes(t, dir)+ensembleMix, 2, MixOptions{Stems: true})
	sum := readSound(t, storedFile(t, dir, "sum.wav"))
	if sum.Frames() != soundTo-soundFrom {
		t.Fatalf("a sum of %d frames", sum.Frames())
	}
	var files []string
	for _, kind := range []string{"takes", "sections"} {
		total := audio.NewBlock(2, soundTo)
		for _, s := range r.Stems {
			if (s.Take == "") != (kind == "sections") {
				continue
			}
			files = append(files, strings.TrimPrefix(s.File, filepath.Join(dir, "out", "stems")))
			b := readSound(t, s.File)
			if b.Frames() != soundTo {
				t.Fatalf("%s has %d frames, want %d", s.File, b.Frames(), soundTo)
			}
			for c := range b {
				for i, v := range b[c] {
					total[c][i] += v
				}
			}
		}
		loudest, worst := 0.0, 0.0
		for c := range total {
			for i, v := range total[c] {
				want := 0.0
				if i >= soundFrom {
					want = sum[c][i-soundFrom]
				}
				loudest, worst = math.Max(loudest, math.Abs(want)), math.Max(worst, math.Abs(v-want))
			}
		}
		if worst > 1e-6 || loudest < 0.01 {
			t.Errorf("%s differ from the sum by %.2g of a peak of %.2g", kind, worst, loudest)
		}
	}
	want := []string{"/takes/oboe.wav", "/takes/harp.wav", "/takes/cello.wav", "/sections/winds.wav",
		"/sections/low-strings.wav", "/sections/without-section.wav"}
	if !slices.Equal(files, want) {
		t.Errorf("stems are %q, want %q", files, want)
	}
	if tag := broadcastTags(t, r.Stems[0].File); tag["time_reference"] != "0" || tag["comment"] == "" {
		t.Errorf("the oboe's stem says %v", tag)
	}
}

// storedFile finds a file of the store by its name.
func storedFile(t testing.TB, dir, name string) string {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(dir, session.StoreFolder, "*", "*.d", name))
	if err != nil || len(list) != 1 {
		t.Fatalf("%d files %s in the store, %v", len(list), name, err)
	}
	return list[0]
}

// broadcastTags returns what ffprobe, which is not ours, reads of a broadcast wave.
func broadcastTags(t *testing.T, path string) map[string]string {
	t.Helper()
	out, err := findTool(t).Probe(t.Context(), []string{"-show_entries", "format_tags", "-of", "json", "-i",
		"file:" + path})
	if err != nil {
		t.Fatal(err)
	}
	var said struct {
		Format struct{ Tags map[string]string }
	}
	if err := json.Unmarshal(out, &said); err != nil {
		t.Fatal(err)
	}
	return said.Format.Tags
}

// The same bytes with one worker and with eight, and what a run says of itself.
func TestMixIsTheSameWithAnyWorkers(t *testing.T) {
	t.Parallel()
	findTool(t)
	var master, encoded []byte
	for _, workers := range []int{1, 8} {
		dir := t.TempDir()
		r := mixSound(t, dir, ensembleTakes(t, dir)+ensembleMix, workers, MixOptions{})
		m, err := os.ReadFile(r.WAV)
		if err != nil {
			t.Fatal(err)
		}
		e, err := os.ReadFile(storedFile(t, dir, "film.m4a"))
		if err != nil {
			t.Fatal(err)
		}
		if master == nil {
			master, encoded = m, e
			checkEnsemble(t, r)
			continue
		}
		if !bytes.Equal(master, m) || !bytes.Equal(encoded, e) {
			t.Errorf("%d workers give other bytes", workers)
		}
	}
}

// checkEnsemble looks at the result of the ensemble's mix.
func checkEnsemble(t *testing.T, r MixResult) {
	t.Helper()
	if r.TimeReference != soundFrom || broadcastTags(t, r.WAV)["time_reference"] != fmt.Sprint(soundFrom) {
		t.Errorf("time reference %d, ffprobe reads %v", r.TimeReference, broadcastTags(t, r.WAV))
	}
	oboe, harp, cello := r.Strips[0], r.Strips[1], r.Strips[2]
	// The stage has two seats for winds; the flute's is empty.
	if oboe.Pan != -60 || harp.Pan != 20 || harp.Width != 0.5 || *harp.Send != -6 || cello.Send != nil {
		t.Errorf("places %v %v, width %v, sends %v %v", oboe.Pan, harp.Pan, harp.Width, harp.Send, cello.Send)
	}
	if len(oboe.Lifts) != 1 || oboe.Lifts[0] != (MixLift{From: 4, To: 6, Gain: 3}) || harp.Lifts != nil {
		t.Errorf("the oboe is lifted %v, the harp %v", oboe.Lifts, harp.Lifts)
	}
	// A section of one strip has its target itself; -30 is what strips of
	// other sections come to, and -2 the gain of the low strings.
	for i, want := range []float64{-26, -30, -32} {
		if got := *r.Strips[i].Mixed; math.Abs(got-want) > 0.01 {
			t.Errorf("%s is at %.2f LUFS in the mix, want %.0f", r.Strips[i].Take, got, want)
		}
	}
	if !slices.Contains(cello.Notes, "left side only") {
		t.Errorf("the cello's dead side is not told: %q", cello.Notes)
	}
	if !r.Master.Reached || math.Abs(*r.Loudness+18) > 0.3 || math.Abs(*r.Master.AAC+18) > 0.3 ||
		*r.Master.AACPeak > -1.5 {
		t.Errorf("master %+v", r.Master)
	}
	if n := len(r.Curve.ShortTerm); n != 60 || r.Curve.Step != 0.1 || r.Curve.ShortTerm[n/2] == nil {
		t.Errorf("a curve of %d values", n)
	}
	f, err := os.Open(r.Levels)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if c, err := png.DecodeConfig(f); err != nil || c.Width != 1280 {
		t.Errorf("%+v, %v", c, err)
	}
}

// Nothing changed makes nothing; a gain makes no strip again, a filter one.
func TestMixCostsWhatChanged(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	takes := ensembleTakes(t, dir)
	count := func(takes string) int {
		return mixSound(t, dir, takes+ensembleMix, 2, MixOptions{Stems: true}).Tasks.Run
	}
	count(takes)
	if n := count(takes); n != 0 {
		t.Errorf("nothing changed and %d steps ran", n)
	}
	// Sum, master, one stem, the stem of its section.
	if n := count(strings.Replace(takes, "pan: 20", "pan: 20, gain: 3", 1)); n != 4 {
		t.Errorf("a gain changed and %d steps ran, want 4", n)
	}
	// And the voice, and how it excites the ear, which tells who is hidden.
	if n := count(strings.Replace(takes, "hz: 900, gain: -3", "hz: 900, gain: -9", 1)); n != 6 {
		t.Errorf("a filter changed and %d steps ran, want 6", n)
	}
}

// Equal pink noise recorded at very different levels comes out equally loud,
// also through filters (tolerance 0.5 LU).
func TestPinkNoiseIsBalanced(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	takes := "takes:\n"
	for i, level := range []float64{0.001, 0.01, 0.05, 0.2, 0.02} {
		name := fmt.Sprintf("n%d", i)
		b := audio.Block{pinkNoise(uint64(i), level, 8*48000)}
		if i == 4 {
			b = append(b, pinkNoise(9, level, 8*48000))
		}
		writeWAV(t, filepath.Join(dir, "in", name+".wav"), b, 48000, media.Float32)
		more := []string{"", ", low_cut: 200", ", eq: [{shape: high_shelf, hz: 2000, gain: 9}]", "", ""}[i]
		takes += fmt.Sprintf("  - {name: %s, pan: 0, audio: {file: in/%s.wav, offset: 0}%s}\n", name, name, more)
	}
	r := mixSound(t, dir, takes, 2, MixOptions{Stems: true})
	var loud []float64
	for _, s := range r.Stems[:5] {
		m, err := mix.Measure(audio.NewMemory(readSound(t, s.File), audio.Rate))
		if err != nil {
			t.Fatal(err)
		}
		loud = append(loud, float64(m.Integrated))
	}
	if spread := slices.Max(loud) - slices.Min(loud); spread > 0.5 {
		t.Errorf("strips are at %.2f LUFS, %.2f LU apart", loud, spread)
	}
}

// A recorded room is found, heard, and refused when it is no sound.
func TestRecordedRoom(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	takes := ensembleTakes(t, dir)
	rng := rand.New(rand.NewPCG(1, 1))
	hall := make([]float64, 24000)
	for i := range hall {
		hall[i] = rng.NormFloat64() * math.Exp(-float64(i)/4000)
	}
	writeWAV(t, filepath.Join(dir, "rooms/hall.wav"), audio.Block{hall}, 48000, media.Float32)
	dry := readSound(t, mixSound(t, dir, takes+"mix: {balance: manual}", 2, MixOptions{}).WAV)
	wet := readSound(t, mixSound(t, dir, takes+"mix: {balance: manual, room: 0.5, impulse: rooms/hall.wav}", 2,
		MixOptions{}).WAV)
	if dry.Frames() != wet.Frames() || slices.Equal(dry[0], wet[0]) {
		t.Error("the room is not heard")
	}
	writeWAV(t, filepath.Join(dir, "rooms/hall.wav"), audio.Block{make([]float64, 1000)}, 48000, media.Float32)
	p := openSound(t, dir, takes+"mix: {room: 0.5, impulse: rooms/hall.wav}", 2)
	if _, err := p.Mix(t.Context(), MixOptions{}); err == nil || !strings.Contains(err.Error(), "rooms/hall.wav") {
		t.Errorf("a silent room: %v", err)
	}
	p.Close()
	p = openSound(t, dir, takes+"mix: {room: 0.5, impulse: rooms/none.wav}", 2)
	if _, err := p.Mix(t.Context(), MixOptions{}); err == nil || !strings.Contains(err.Error(), "none.wav") {
		t.Errorf("a missing room: %v", err)
	}
}
