package assemble

import (
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix"
	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
)

// sampledTake is a take of a sampled instrument whose notes and whose noise are known.
type sampledTake struct {
	dry    []float64 // at sampledRate
	onsets []float64 // seconds, 10 dB below a note's peak
}

// Where the notes of a sampled take lie: two phrases with a rest, behind a count-in.
const (
	sampledFrom, sampledTo = 6.0, 17.0 // seconds
	sampledNote            = 0.6
)

// playSampled plays fourteen notes from MIDI note lowest on, in two phrases.
func playSampled(t *testing.T, program byte, lowest int) sampledTake {
	t.Helper()
	synth, font := synthesiser(t)
	var notes []simulate.Event
	for k := range 14 {
		at := sampledFrom + sampledNote*float64(k)
		if k >= 7 {
			at += 2.5
		}
		notes = append(notes, simulate.Event{At: at, Length: 0.95 * sampledNote, MIDI: lowest + k*5%13, Loud: 0.5})
	}
	name := filepath.Join(t.TempDir(), "take")
	if err := os.WriteFile(name+".mid", midiFile(program, notes), 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), synth, "-ni", "-g", "0.6", "-R", "0", "-C", "0", "-r", "22050",
		"-o", "synth.dynamic-sample-loading=1", "-T", "wav", "-F", name+".wav", font, name+".mid").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	w, err := media.OpenWAV(name + ".wav")
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	b, err := audio.ReadAll(w)
	if err != nil {
		t.Fatal(err)
	}
	take := sampledTake{dry: append(b[0], make([]float64, 3*sampledRate)...)}
	for _, n := range notes {
		from := int(n.At * sampledRate)
		level := levels(take.dry[from:from+int(sampledNote*sampledRate)], sampledRate/200)
		peak := slices.Max(level)
		first := slices.IndexFunc(level, func(db float64) bool { return db >= peak-10 })
		take.onsets = append(take.onsets, n.At+float64(first)/200)
	}
	return take
}

// levels returns the level of every n samples of x, dB.
func levels(x []float64, n int) []float64 {
	var out []float64
	for ; len(x) >= n; x = x[n:] {
		sum := 1e-20
		for _, v := range x[:n] {
			sum += v * v / float64(n)
		}
		out = append(out, 10*math.Log10(sum))
	}
	return out
}

// inRoom returns the take as a strip, with the noise of a room so far under its loudest second: as
// much in every octave, which rumbles as rooms do.
func (s sampledTake) inRoom(under float64) mix.Strip {
	rng, x := rand.New(rand.NewPCG(9, uint64(under))), slices.Clone(s.dry)
	gain := math.Pow(10, (slices.Max(levels(s.dry, sampledRate))-under)/20)
	var rows [12]float64 // each drawn anew half as often as the one before: Voss's noise
	for i := range x {
		sum := 0.0
		for k := range rows {
			if i%(1<<k) == 0 {
				rows[k] = rng.NormFloat64()
			}
			sum += rows[k]
		}
		if under < 100 {
			x[i] += gain * sum / math.Sqrt(float64(len(rows)))
		}
	}
	return mix.Strip{Name: "take", From: 1, To: audio.FramesAt(float64(len(x)) / sampledRate),
		Open: func() (audio.Source, error) { return audio.NewMemory(audio.Block{x}, sampledRate), nil }}
}

// voiceOf returns the voice of a strip from guide time 0 on.
func voiceOf(t *testing.T, s mix.Strip) []float64 {
	t.Helper()
	src, from, err := mix.Voice(s)
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	return b[0][-from:]
}

// Sampled instruments in noise, against their notes alone: no onset is softer by more than a
// decibel in its first 30 ms, no tail of the last note is cut above −50 dB, and where a note
// sounds the gain stands still. Without noise every sample is what it was.
func TestCleaningSampledInstruments(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		program byte
		lowest  int
	}{{"cello", 42, 38}, {"clarinet", 71, 55}, {"tuba", 58, 31}, {"glockenspiel", 9, 80}, {"flute", 73, 65}} {
		take := playSampled(t, c.program, c.lowest)
		alone := take.inRoom(200)
		dry := voiceOf(t, alone)
		for _, under := range []float64{200, 34, 24, 14} {
			s, cleaned := take.inRoom(under), mix.Strip{}
			h, err := mix.Hear(s, mix.Span{From: audio.FramesAt(sampledFrom), To: audio.FramesAt(sampledTo)})
			if err != nil {
				t.Fatal(err)
			}
			cleaned = s
			cleaned.Playing, cleaned.EQ = h.Curve(s), mix.RumbleBands(h.RumbleHz())
			if d := h.Depth(); d > 0 {
				cleaned.Reduce = &mix.Reduce{Noise: &h.Noise, Depth: d}
			}
			if under == 14 && (h.Depth() == 0 || c.lowest > 50 && h.RumbleHz() == 0) {
				t.Errorf("%s: noise %v dB under it is left: %.1f dB, cut at %v Hz", c.name, under, h.Depth(), h.RumbleHz())
			}
			got := voiceOf(t, cleaned)
			if under == 200 {
				expectSame(t, c.name, got, dry)
			}
			if h.Depth() > 0 {
				reduced := s
				reduced.Reduce = cleaned.Reduce
				expectDepth(t, c.name, h, voiceOf(t, reduced), voiceOf(t, s), dry)
			}
			expectOnsets(t, c.name, take.onsets, got, dry, under)
			expectStill(t, c.name, h, s, dry, take.onsets)
		}
	}
}

// expectSame checks that from the first note to the last tail every sample is the same.
func expectSame(t *testing.T, name string, got, want []float64) {
	t.Helper()
	for i := int((sampledFrom - 0.01) * audio.Rate); i < int(sampledTo*audio.Rate); i++ {
		if got[i] != want[i] && math.Abs(want[i]) > 1e-4 {
			t.Errorf("%s without noise: sample %d is %v and was %v", name, i, got[i], want[i])
			return
		}
	}
}

// expectOnsets checks the first 30 ms of every note that stands 10 dB over the noise there.
func expectOnsets(t *testing.T, name string, onsets, got, dry []float64, under float64) {
	t.Helper()
	const window = 30 * audio.Rate / 1000
	loudest := slices.Max(levels(dry, audio.Rate))
	for _, on := range onsets {
		i := int(on * audio.Rate)
		want, is := levels(dry[i:i+window], window)[0], levels(got[i:i+window], window)[0]
		if want > loudest-under+10 && want-is > 1 {
			t.Errorf("%s, noise %v dB under it: the onset at %.2f s is softer by %.2f dB", name, under, on, want-is)
		}
	}
}

// expectStill checks that the gain stays where the notes sound, to 50 dB under the loudest.
func expectStill(t *testing.T, name string, h mix.Heard, s mix.Strip, dry, onsets []float64) {
	t.Helper()
	const step = audio.Rate / 100
	open, level := h.Curve(s), levels(dry, step)
	loudest := slices.Max(level)
	for k := int(onsets[0] * 100); k < len(level)-1; k++ {
		at := audio.Frames(k * step)
		if level[k] < loudest-50 {
			continue
		}
		if g := open.DB(at + step - 1); g < -1 {
			t.Errorf("%s: at %.2f s, %.0f dB under the loudest, the gain is %.1f dB", name, float64(k)/100,
				loudest-level[k], g)
			return
		}
	}
}
