package assemble

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

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

func writeWAV(t testing.TB, path string, b audio.Block, rate int, f media.Format) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(b, rate), f); err != nil {
		t.Fatal(err)
	}
}

// heard is what another meter finds.
type heard struct{ integrated, lra, peak float64 }

// ffmpegHears measures a file with ffmpeg's ebur128 filter. Loudness is read
// from its frames, in thousandths; the summary, which alone has the peak in
// decibels, is rounded to tenths.
func ffmpegHears(t *testing.T, tool *ffmpeg.Tool, path string) heard {
	t.Helper()
	var log, frames strings.Builder
	run(t, tool, ffmpeg.Command{
		Args: []string{"-v", "info", "-i", path, "-map", "0:a", "-af",
			"ebur128=peak=true:metadata=1:framelog=verbose,ametadata=print:file=-", "-f", "null", "/dev/null"},
		Log: &log, Stdout: &frames,
	})
	h := heard{integrated: math.NaN(), lra: math.NaN()}
	_, h.peak = ebur128(t, log.String())
	for line := range strings.SplitSeq(frames.String(), "\n") {
		fmt.Sscanf(line, "lavfi.r128.I=%f", &h.integrated)
		fmt.Sscanf(line, "lavfi.r128.LRA=%f", &h.lra)
	}
	return h
}

// The meter against two others on random programme: ffmpeg's ebur128 and
// libebur128. Tolerances are 0.05 LU for I, 0.2 LU for LRA and
// 0.1 dB for the true peak; ffmpeg's peak is printed in tenths, which adds 0.05.
func TestMeterAgainstOthers(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	other := buildReference(t, dir)
	for i, rate := range []int{44100, 48000, 96000} {
		path := filepath.Join(dir, fmt.Sprintf("%d.wav", i))
		writeWAV(t, path, programme(uint64(i+1), rate, 30), rate, media.Float32)
		src, err := media.OpenWAV(path)
		if err != nil {
			t.Fatal(err)
		}
		got, err := mix.Measure(src)
		if err != nil {
			t.Fatal(err)
		}
		src.Close()
		compare := func(who string, h heard, lra, more float64) {
			t.Logf("%d Hz: ours %.3f LUFS, %.2f LU, %.2f dBTP; %s %.3f, %.2f, %.2f", rate,
				got.Integrated, lra, float64(got.TruePeak), who, h.integrated, h.lra, h.peak)
			for _, c := range []struct {
				what             string
				ours, theirs, is float64
			}{
				{"I", float64(got.Integrated), h.integrated, 0.05}, {"LRA", lra, h.lra, 0.2},
				{"true peak", float64(got.TruePeak), h.peak, 0.1 + more},
			} {
				if !(math.Abs(c.ours-c.theirs) <= c.is) {
					t.Errorf("%d Hz: %s is %.3f, by %s %.3f", rate, c.what, c.ours, who, c.theirs)
				}
			}
		}
		compare("ffmpeg", ffmpegHears(t, tool, path), float64(got.Range), 0.05)
		if other != "" {
			compare("libebur128", referenceHears(t, other, path), rangeBySeconds(t, path), 0)
		}
	}
}

// rangeBySeconds returns the loudness range from a value each second, as libebur128
// takes it. Ours and ffmpeg's take ten; both grids are within Tech 3342.
func rangeBySeconds(t *testing.T, path string) float64 {
	t.Helper()
	wav, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	m, block := loudness.NewMeter(2, wav.Rate()), audio.NewBlock(2, wav.Rate())
	var g loudness.Gate
	for second := 1; ; second++ {
		if n, err := wav.Read(block); err != nil || n < wav.Rate() {
			return float64(g.Range())
		}
		m.Write(block)
		if second >= 3 {
			g.Add(m.ShortTerm().Energy())
		}
	}
}

// reference is a small program round libebur128; it reads interleaved doubles.
const reference = `#include <ebur128.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
int main(int argc, char **argv) {
  ebur128_state *s = ebur128_init(2, atoi(argv[1]), EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
  double buf[8192], i, r, l, p;
  size_t n;
  while ((n = fread(buf, 16, 4096, stdin)) > 0) ebur128_add_frames_double(s, buf, n);
  ebur128_loudness_global(s, &i);
  ebur128_loudness_range(s, &r);
  ebur128_true_peak(s, 0, &l);
  ebur128_true_peak(s, 1, &p);
  printf("%f %f %f\n", i, r, 20 * log10(l > p ? l : p));
  return 0;
}
`

// buildReference compiles the program where compiler and library are there,
// and returns "" where they are not; under CI they must be.
func buildReference(t *testing.T, dir string) string {
	t.Helper()
	left := func(why string) string {
		why += "; sh cmd/setup.sh --tests installs both"
		if os.Getenv("CI") != "" {
			t.Fatal(why)
		}
		t.Log(why)
		return ""
	}
	cc, err := exec.LookPath("cc")
	if err != nil {
		return left("no C compiler for libebur128")
	}
	c, program := filepath.Join(dir, "reference.c"), filepath.Join(dir, "reference")
	if err := os.WriteFile(c, []byte(reference), 0o666); err != nil {
		t.Fatal(err)
	}
	// Where Homebrew puts things; elsewhere the folders do no harm.
	brew := []string{"-I/opt/homebrew/include", "-L/opt/homebrew/lib", "-I/usr/local/include", "-L/usr/local/lib"}
	args := append(brew, "-O1", "-o", program, c, "-lebur128", "-lm")
	if out, err := exec.CommandContext(t.Context(), cc, args...).CombinedOutput(); err != nil {
		if strings.Contains(string(out), "ebur128") {
			return left("libebur128 is not there")
		}
		t.Fatalf("%v: %s", err, out)
	}
	return program
}

func referenceHears(t *testing.T, program, path string) heard {
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
	raw := make([]byte, 0, 16*b.Frames())
	for i := range b[0] {
		for c := range b {
			raw = binary.NativeEndian.AppendUint64(raw, math.Float64bits(b[c][i]))
		}
	}
	cmd := exec.CommandContext(t.Context(), program, fmt.Sprint(wav.Rate()))
	cmd.Stdin = bytes.NewReader(raw)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var h heard
	if _, err := fmt.Sscan(string(out), &h.integrated, &h.lra, &h.peak); err != nil {
		t.Fatal(err)
	}
	return h
}
