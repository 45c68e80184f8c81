package assemble

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// A soft take is brought up as far as its noise allows, the print-out says why
// not further, and denoise lets it come up by as much as the noise goes down.
func TestNoiseHoldsASoftTakeBack(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(6, 6))
	notes := make([]float64, 8*48000)
	for i := range notes {
		second := float64(i) / 48000
		if second > 2 { // before it, the room alone
			notes[i] = 0.006 * math.Sin(2*math.Pi*440*second) * math.Exp(-4*math.Mod(second, 1))
		}
		notes[i] += 0.00012 * rng.NormFloat64()
	}
	writeWAV(t, filepath.Join(dir, "in/a.wav"), audio.Block{notes}, 48000, media.Float32)
	// Cleaning would bring such a take up: this is about takes as they are.
	line := "takes: [{name: a, clean: off, audio: {file: in/a.wav, offset: 0}%s}]\n"
	held := mixSound(t, dir, fmt.Sprintf(line, ""), 2, MixOptions{}).Strips[0]
	freed := mixSound(t, dir, fmt.Sprintf(line, ", denoise: 6"), 2, MixOptions{}).Strips[0]
	manual := mixSound(t, dir, fmt.Sprintf(line, "")+"mix: {balance: manual}", 2, MixOptions{}).Strips[0]
	if held.Noise == nil || math.Abs(*held.Noise+held.Gain+60) > 0.5 || *held.Mixed > -33 {
		t.Fatalf("noise %v, gain %.1f dB, %v LUFS in the mix", held.Noise, held.Gain, *held.Mixed)
	}
	want := fmt.Sprintf("kept %.1f dB softer, or its noise would be heard; denoise: or gain: brings it up",
		-30-*held.Mixed)
	if !slices.Contains(held.Notes, want) {
		t.Errorf("notes %q, want %q", held.Notes, want)
	}
	if up := freed.Gain - held.Gain; math.Abs(up-min(6, -30-*held.Mixed)) > 0.7 {
		t.Errorf("denoise by 6 dB brings it up by %.2f dB", up)
	}
	if manual.Gain != 0 || manual.Notes != nil {
		t.Errorf("by hand: gain %v, notes %q", manual.Gain, manual.Notes)
	}
}

// Silence, a third of a second, clipped sound and samples that are no numbers
// are told, and nothing that is not a number comes out, whatever else plays.
func TestDifficultTakes(t *testing.T) {
	t.Parallel()
	findTool(t)
	n := 8 * 48000
	loud := pinkNoise(1, 2, n)
	for i, v := range loud {
		loud[i] = min(max(v, -1), 1)
	}
	odd := pinkNoise(3, 0.05, n)
	odd[1000], odd[200_000], odd[200_001] = math.NaN(), math.Inf(1), 1e30
	files := map[string]audio.Block{"silent": {make([]float64, n)}, "short": {pinkNoise(2, 0.02, 14400)},
		"clipped": {loud}, "odd": {odd}}
	for name, broken := range map[string]bool{"silent": false, "short": false, "odd": false, "all": true} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			takes := "takes:\n"
			for file, b := range files {
				if file == name || broken {
					writeOdd(t, filepath.Join(dir, "in", file+".wav"), b)
				}
			}
			for _, file := range []string{"silent", "short", "clipped", "odd"} {
				if file == name || broken {
					takes += fmt.Sprintf("  - {name: %s, audio: {file: in/%s.wav, offset: 3}}\n", file, file)
				}
			}
			if broken {
				takes += "mix: {room: 0.1}"
			}
			r := mixSound(t, dir, takes, 2, MixOptions{})
			checkNumbers(t, r)
			for _, s := range r.Strips {
				want := map[string]string{"silent": "silent", "short": "only 0.3 s long", "clipped": "clipped",
					"odd": "broken samples silenced"}[s.Take]
				if !strings.Contains(strings.Join(s.Notes, ";"), want) {
					t.Errorf("%s: no finding %q in %q", s.Take, want, s.Notes)
				}
			}
			if (name != "silent") != r.Master.Reached {
				t.Errorf("reached %v: %q", r.Master.Reached, r.Notes)
			}
			if r.Master.AACPeak != nil && *r.Master.AACPeak > -1 {
				t.Errorf("true peak %.2f", *r.Master.AACPeak)
			}
		})
	}
}

// writeOdd writes a mono file of 32-bit float samples as they are: our own
// writer refuses what is not a number.
func writeOdd(t *testing.T, path string, b audio.Block) {
	t.Helper()
	tame := audio.Block{slices.Clone(b[0])}
	for i, v := range tame[0] {
		if !(math.Abs(v) < 1e10) {
			tame[0][i] = 0
		}
	}
	writeWAV(t, path, tame, 48000, media.Float32)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first := len(raw) - 4*len(b[0])
	for i, v := range b[0] {
		binary.LittleEndian.PutUint32(raw[first+4*i:], math.Float32bits(float32(v)))
	}
	if err := os.WriteFile(path, raw, 0o666); err != nil {
		t.Fatal(err)
	}
}

// checkNumbers looks for what is not a number in a result and its sound. JSON
// refuses them too.
func checkNumbers(t *testing.T, r MixResult) {
	t.Helper()
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
	for c, ch := range readSound(t, r.WAV) {
		for i, v := range ch {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("sample %d of channel %d is %v", i, c, v)
			}
		}
	}
}
