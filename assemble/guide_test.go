package assemble

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/progress"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/loudness"
)

// guideManifest is a production without takes; what a test adds to it stands
// at the left margin.
const guideManifest = `version: 1
title: Test Round
tempo:
  count_in: {measures: %d}
  changes: [{measure: 1, meter: 4/4, bpm: %d}]
  measures: %d
`

// openGuide opens a production in a folder of its own.
func openGuide(t *testing.T, countIn, bpm, measures int, more string) *Production {
	t.Helper()
	findTool(t)
	return openTest(t, t.TempDir(), fmt.Sprintf(guideManifest, countIn, bpm, measures)+more)
}

func makeGuide(t *testing.T, p *Production, only ...string) GuideResult {
	t.Helper()
	r, err := p.Click(t.Context(), ClickOptions{Only: only})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	return r
}

// readWAV returns the first channel of a file of ours and its number of channels.
func readWAV(t *testing.T, path string) (wave []float64, channels int) {
	t.Helper()
	w, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	b, err := audio.ReadAll(w)
	if err != nil {
		t.Fatal(err)
	}
	if w.Rate() != audio.Rate {
		t.Fatalf("%s is at %d Hz", path, w.Rate())
	}
	return b[0], w.Channels()
}

// Where all clap when the manifest does not say: the downbeat of measure 5 of
// 8 and of measure 3 of 4 (common practice, no source).
func TestCueIsWhereEverybodyExpectsIt(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		countIn, measure int
		at               float64
	}{{8, 5, 4}, {4, 3, 2}} {
		r := makeGuide(t, openGuide(t, c.countIn, 240, 1, ""))
		if r.CountIn != c.countIn || r.CueMeasure != c.measure || r.CueBeat != 1 || r.CueAt == nil ||
			math.Abs(*r.CueAt-c.at) > 1e-9 || r.StartsAt != float64(c.countIn) {
			t.Errorf("count-in of %d: %+v", c.countIn, r.GuideFile)
		}
		// And it is there in the file: the loudest sample of high-passed
		// sound (first difference) near the cue is at the cue's sample.
		wave, _ := readWAV(t, r.WAV)
		at := int(c.at * audio.Rate)
		if wave[at] == 0 || math.Abs(wave[at-1]) > 1e-6 {
			t.Errorf("count-in of %d: samples %g and %g where the cue begins", c.countIn, wave[at-1], wave[at])
		}
		if cue, beat := roughness(wave[at:at+2400]), roughness(wave[at+12000:at+14400]); cue < 4*beat {
			t.Errorf("the cue (%.2f) does not sound unlike the beat after it (%.2f)", cue, beat)
		}
	}
}

// roughness returns the energy of the first difference against the energy: high for
// noise, low for wood.
func roughness(wave []float64) float64 {
	var d, e float64
	for i := 1; i < len(wave); i++ {
		d += (wave[i] - wave[i-1]) * (wave[i] - wave[i-1])
		e += wave[i] * wave[i]
	}
	return d / e
}

// frequencyNear returns the frequency of the strongest partial within half a
// semitone of hz: two spectra a little apart, and the phase that passed
// between them (the phase-vocoder estimate; Flanagan and Golden 1966).
func frequencyNear(wave []float64, hz float64) float64 {
	const n, hop = 1 << 17, 1 << 12
	fft := fourier.NewFFT(n)
	spectrum := func(from int) []complex128 {
		x := make([]float64, n)
		for i := range x {
			x[i] = wave[from+i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/n)) // Hann
		}
		return fft.Coefficients(nil, x)
	}
	a, b := spectrum(0), spectrum(hop)
	best := 0
	for k := int(hz / 1.03 * n / audio.Rate); float64(k) < hz*1.03*n/audio.Rate; k++ {
		if best == 0 || cmplx.Abs(a[k]) > cmplx.Abs(a[best]) {
			best = k
		}
	}
	expected := 2 * math.Pi * float64(best) * hop / n
	rest := math.Remainder(cmplx.Phase(b[best])-cmplx.Phase(a[best])-expected, 2*math.Pi)
	return (expected + rest) / (2 * math.Pi * hop) * audio.Rate
}

func cents(f, g float64) float64 { return 1200 * math.Log2(f/g) }

// The drone of the written file has the frequencies of the equal-tempered
// scale within 0.01 cent, for A440 (ISO 16) and A442; figures of the table
// f = pitch·2^((n−69)/12). Its fifth is 3:2 (701.9550 cents), or 700 cents.
func TestDroneInTheFile(t *testing.T) {
	t.Parallel()
	table := map[int]map[string]float64{
		440: {"C2": 65.4064, "C3": 130.8128, "G3": 195.9977, "E4": 329.6276},
		442: {"C2": 65.7037, "C3": 131.4074, "G3": 196.8886, "E4": 331.1259},
	}
	for pitch, notes := range table {
		p := openGuide(t, 0, 240, 16, fmt.Sprintf(`guide:
  pitch: %d
  levels: {click: off}
  drone: [{measure: 1, note: C2}, {measure: 5, note: C3, fifth: true}, {measure: 9, note: G3, fifth: equal}, {measure: 13, note: E4, fifth: just}]
`, pitch))
		wave, _ := readWAV(t, makeGuide(t, p).WAV)
		for i, note := range []string{"C2", "C3", "G3", "E4"} {
			part := wave[(4*i*audio.Rate)+audio.Rate/2:]
			got := frequencyNear(part, notes[note])
			if off := cents(got, notes[note]); math.Abs(off) > 0.01 {
				t.Errorf("%s at %d: %.5f Hz, %.4f cents from %.4f", note, pitch, got, off, notes[note])
			}
			midi, err := click.ParseNote(note)
			if err != nil || math.Abs(cents(got, click.Frequency(midi, float64(pitch)))) > 1e-4 {
				t.Errorf("%s at %d: %.7f Hz, formula %.7f", note, pitch, got, click.Frequency(midi, float64(pitch)))
			}
			want := map[string]float64{"C3": 701.9550, "G3": 700, "E4": 701.9550}[note]
			if want == 0 {
				continue
			}
			fifth := frequencyNear(part, 1.5*notes[note])
			if off := cents(fifth, got) - want; math.Abs(off) > 0.01 {
				t.Errorf("fifth above %s at %d is %.4f cents, want %.4f", note, pitch, cents(fifth, got), want)
			}
		}
	}
}

// measureWithFFmpeg returns what another meter than ours says of a file.
func measureWithFFmpeg(t *testing.T, p *Production, path string) (lufs, peak float64) {
	t.Helper()
	var log strings.Builder
	run(t, p.Tool(), ffmpeg.Command{Args: []string{"-v", "info", "-i", path, "-map", "0:a", "-af",
		"ebur128=peak=true:framelog=verbose", "-f", "null", "pipe:1"}, Log: &log})
	return ebur128(t, log.String())
}

// Loudness and true peak of the files as the result and the documentation
// state them, by ffmpeg's meter (ITU-R BS.1770-4), within 0.5 LU; the drone is
// −36 LUFS, and no file peaks above −3 dBTP, the MP3 included.
func TestStatedLevels(t *testing.T) {
	t.Parallel()
	p := openGuide(t, 1, 120, 5, `guide:
  drone: [{measure: count-in, note: G3, fifth: true}]
  variants:
    - {name: tone, levels: {click: off}}
    - {name: softer, levels: {click: off, drone: -6}}
    - {name: loud, levels: {click: 4, drone: -12}, subdivisions: written, count_tones: true}
`)
	r := makeGuide(t, p)
	for i, g := range append([]GuideFile{r.GuideFile}, r.Variants...) {
		lufs, peak := measureWithFFmpeg(t, p, g.WAV)
		if g.Loudness == nil || math.Abs(*g.Loudness-lufs) > 0.1 {
			t.Errorf("%s: the result says %v LUFS, ffmpeg %.1f", g.Name, *g.Loudness, lufs)
		}
		// ffmpeg's peak is rounded to 0.1 dB and reads up to 0.7 dB low.
		if g.TruePeak == nil || *g.TruePeak-peak > 0.7 || peak-*g.TruePeak > 0.15 || *g.TruePeak > -3 {
			t.Errorf("%s: the result says %.2f dBTP, ffmpeg %.1f", g.Name, *g.TruePeak, peak)
		}
		if _, mp3 := measureWithFFmpeg(t, p, g.MP3); mp3 > -3 {
			t.Errorf("%s: the MP3 peaks at %.1f dBTP", g.Name, mp3)
		}
		if want := []float64{0, click.DroneLUFS, click.DroneLUFS - 6, 0}[i]; want != 0 && math.Abs(lufs-want) > 0.5 {
			t.Errorf("%s: %.1f LUFS, stated %.1f", g.Name, lufs, want)
		}
	}
	// A click is stated by the momentary loudness that one alone reaches.
	alone := makeGuide(t, openGuide(t, 0, 40, 2, "guide: {levels: {click: 3}}\n"))
	wave, _ := readWAV(t, alone.WAV)
	m := loudness.NewMeter(1, audio.Rate)
	m.Write(audio.Block{wave[:audio.Rate]})
	if got := float64(m.MaxM()); math.Abs(got-(click.DownbeatLUFS+3)) > 0.5 {
		t.Errorf("a downbeat 3 dB louder has %.2f LUFS, stated %.1f", got, click.DownbeatLUFS+3)
	}
}

// The MP3 begins where the WAV begins: a player who uses it claps at the same
// time into it.
func TestMP3IsInTime(t *testing.T) {
	t.Parallel()
	p := openGuide(t, 2, 120, 4, "")
	r := makeGuide(t, p)
	decoded := filepath.Join(t.TempDir(), "mp3.wav")
	run(t, p.Tool(), ffmpeg.Command{Args: []string{"-v", "error", "-i", r.MP3, "-c:a", "pcm_s24le", decoded}})
	a, _ := readWAV(t, r.WAV)
	b, _ := readWAV(t, decoded)
	if d := len(b) - len(a); d < 0 || d > 2*1152 { // a frame of padding or two
		t.Errorf("%d samples in the MP3, %d in the WAV", len(b), len(a))
	}
	best, at := 0.0, 0
	for lag := -3000; lag <= 3000; lag++ {
		sum := 0.0
		for i := 3000; i < 3000+2*audio.Rate; i += 3 {
			sum += a[i] * b[i+lag]
		}
		if sum > best {
			best, at = sum, lag
		}
	}
	if at < -2 || at > 2 {
		t.Errorf("the MP3 is %d samples late", at)
	}
}

// fluidsynth's first sample above 5 % of the peak comes this much after the
// note, in seconds, with the sound font below (measured; spacing is exact).
var lateOnsets = map[bool]float64{false: 0.00427, true: 0.00169} // side stick; closed hi-hat on the cue

// soundFonts are where systems keep a General MIDI sound font.
var soundFonts = []string{"/usr/share/sounds/sf2/FluidR3_GM.sf2", "/usr/share/soundfonts/FluidR3_GM.sf2"}

// synthesiser returns fluidsynth, which knows nothing of us, and its sound font.
func synthesiser(t *testing.T) (program, font string) {
	t.Helper()
	program, err := exec.LookPath("fluidsynth")
	for _, f := range soundFonts {
		if _, err := os.Stat(f); err == nil {
			font = f
		}
	}
	if err != nil || font == "" {
		why := "fluidsynth or its sound font is not there; sh cmd/setup.sh --tests installs both"
		if os.Getenv("CI") != "" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	return program, font
}

// synthesise renders a MIDI file with fluidsynth.
func synthesise(t *testing.T, midi string) []float64 {
	t.Helper()
	program, font := synthesiser(t)
	path := filepath.Join(t.TempDir(), "midi.wav")
	out, err := exec.CommandContext(t.Context(), program, "-ni", "-g", "1", "-R", "0", "-C", "0", "-r", "48000", "-o",
		"synth.dynamic-sample-loading=1", "-T", "wav", "-F", path, font, midi).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	wave, _ := readWAV(t, path)
	return wave
}

// The written MIDI file, played by fluidsynth, has its onsets where the tempo
// map says: with a pick-up, cut time, compound and additive meters, a ramp and
// a hold. fluidsynth begins notes on blocks of 64 samples (1.33 ms) and counts
// whole milliseconds anew at each change of tempo, of which a ramp has many; up
// to there 2 ms are allowed, and from there 5.
func TestMIDIIsWhereTheTempoMapSays(t *testing.T) {
	t.Parallel()
	findTool(t)
	p := openTest(t, t.TempDir(), `version: 1
title: Test Round
tempo:
  count_in: {measures: 4}
  pick_up: 1
  changes:
    - {measure: 1, meter: 2/2, bpm: 75}
    - {measure: 4, meter: 6/8, bpm: 60}
    - {measure: 6, ramp_to: 90, until: 10}
    - {measure: 10, meter: 3+2/8, beat: eighth, bpm: 190}
  measures: 14
  holds: [{at: m5.2, seconds: 1.25}]
`)
	r := makeGuide(t, p)
	wave := synthesise(t, r.MIDI)
	n, worst, sum := 0, 0.0, 0.0
	for b := range p.Manifest().Tempo.Beats() {
		from, to := int((b.Seconds-0.010)*audio.Rate), int((b.Seconds+0.060)*audio.Rate)
		from = max(from, 0)
		peak := 0.0
		for _, v := range wave[from:to] {
			peak = max(peak, math.Abs(v))
		}
		at := from
		for math.Abs(wave[at]) < 0.05*peak {
			at++
		}
		off := float64(at)/audio.Rate - b.Seconds - lateOnsets[b.Cue]
		worst, sum, n = max(worst, math.Abs(off)), sum+off, n+1
		allowed := 0.005
		if b.CountIn || b.Measure < 6 {
			allowed = 0.002
		}
		if math.Abs(off) > allowed {
			t.Errorf("measure %d beat %d (%.4f s) sounds %.2f ms off", b.Measure, b.Number, b.Seconds, off*1000)
		}
	}
	if mean := sum / float64(n); n < 35 || math.Abs(mean) > 0.001 {
		t.Errorf("%d beats, on average %.2f ms off", n, mean*1000)
	}
	t.Logf("%d beats, mean %.2f ms, worst %.2f ms", n, sum/float64(n)*1000, worst*1000)
}

// Too loud a wish is refused where it was written, before any file is made.
func TestTooLoud(t *testing.T) {
	t.Parallel()
	p := openGuide(t, 1, 240, 1, "guide:\n  variants:\n    - {name: loud, levels: {click: 12}}\n")
	_, err := p.Click(t.Context(), ClickOptions{})
	var f *fault.Fault
	if !errors.As(err, &f) || !strings.HasSuffix(f.Where, "production.yaml:9:28") || f.Kind != fault.Manifest ||
		f.Hint == "" {
		t.Errorf("%v", fault.Format(err))
	}
	if files, _ := filepath.Glob(filepath.Join(p.Settings().Out, "*")); len(files) > 0 {
		t.Errorf("made %q", files)
	}
}

// A hold longer than MIDI can tell leaves no MIDI file, and no old one either.
func TestNoMIDIForAVeryLongHold(t *testing.T) {
	t.Parallel()
	p := openGuide(t, 2, 240, 2, "")
	r := makeGuide(t, p)
	if _, err := os.Stat(r.MIDI); err != nil || len(r.Notes) > 0 {
		t.Fatalf("%v %q", err, r.Notes)
	}
	long := strings.Replace(fmt.Sprintf(guideManifest, 2, 240, 2), "  measures: 2\n",
		"  measures: 2\n  holds: [{at: m1.2, seconds: 60}]\n", 1)
	p.Close()
	p = openTest(t, p.Manifest().Dir, long)
	again := makeGuide(t, p)
	if _, err := os.Stat(r.MIDI); !errors.Is(err, os.ErrNotExist) || again.MIDI != "" || len(again.Notes) != 1 {
		t.Errorf("%v %q %q", err, again.MIDI, again.Notes)
	}
}

// BenchmarkClick makes all files of a guide of ten minutes.
func BenchmarkClick(b *testing.B) {
	if _, err := ffmpeg.Find(b.Context()); err != nil {
		b.Skip(err)
	}
	dir := b.TempDir()
	text := fmt.Sprintf(guideManifest, 8, 96, 232) + "guide: {drone: [{measure: 1, note: D3, fifth: true}]}\n"
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		b.Fatal(err)
	}
	p, err := Open(b.Context(), Settings{Dir: dir, Report: progress.New(nil, progress.Quiet)})
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	for b.Loop() {
		if _, err := p.Click(b.Context(), ClickOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
