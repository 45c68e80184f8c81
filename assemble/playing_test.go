package assemble

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/playing"
)

// sampledScale writes a MIDI file (Standard MIDI Files 1.0: 500 ticks a second
// by the default tempo of 120) in which a General MIDI instrument plays notes of
// 0.8 s, a second apart, once for each bend: so many cents of the default range of ±2
// semitones. A second of silence lies before each bend but the first.
func sampledScale(t *testing.T, program byte, notes []byte, bends ...float64) string {
	t.Helper()
	track := []byte{0, 0xC0, program}
	rest := []byte{0}
	for _, cents := range bends {
		bend := 8192 + int(math.Round(cents/200*8192))
		track = append(append(track, rest...), 0xE0, byte(bend&127), byte(bend>>7))
		rest = []byte{0}
		for _, n := range notes {
			track = append(append(track, rest...), 0x90, n, 90, 0x83, 0x10, 0x80, n, 0) // 400 ticks of sound
			rest = []byte{100}
		}
		rest = []byte{0x84, 0x58} // 600 ticks
	}
	track = append(append(track, rest...), 0xFF, 0x2F, 0)
	var b bytes.Buffer
	b.WriteString("MThd")
	for _, v := range []any{uint32(6), uint16(0), uint16(1), uint16(250)} {
		if err := binary.Write(&b, binary.BigEndian, v); err != nil {
			t.Fatal(err)
		}
	}
	b.WriteString("MTrk")
	if err := binary.Write(&b, binary.BigEndian, uint32(len(track))); err != nil {
		t.Fatal(err)
	}
	b.Write(track)
	path := filepath.Join(t.TempDir(), "scale.mid")
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// The pitch of sampled instruments that fluidsynth plays from a sound font.
// Bent by 7.8514 cents (442 Hz), −23 and 60, the same notes lie by that much
// higher within 2 cents, note by note; of a sample with vibrato another stretch
// is heard, which may be 3. Those whose samples are in tune lie within 2 cents
// of the tempered scale on 440 Hz (ISO 16) themselves; the font's others are up to
// 35 cents from it.
func TestPitchOfSampledInstruments(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		program byte
		off     float64 // cents a note may lie from the scale
		notes   []byte
	}{
		"oboe": {68, 2, []byte{60, 64, 67, 71, 74, 79}}, "trumpet": {56, 2, []byte{58, 62, 65, 70, 74}}, "tuba": {58,
			2, []byte{33, 38, 41, 46, 50}},
		"guitar": {24, 2, []byte{45, 50, 55, 59, 64}}, "flute": {73, 50,
			[]byte{62, 69, 76, 81, 86, 91}}, "violin": {40, 50, []byte{57, 62, 69, 74, 81, 86}},
		"double bass": {43, 50, []byte{33, 38, 43, 48}},
	} {
		bends := []float64{0, 7.8514, -23, 60}
		all := sampledTones(t, sampledScale(t, c.program, c.notes, bends...), len(bends)*(len(c.notes)+1))
		plain := all[:len(c.notes)]
		for i, n := range plain {
			if off := 100 * (n - float64(c.notes[i])); !(math.Abs(off-1200*math.Round(off/1200)) <= c.off) {
				t.Errorf("%s: note %d is heard as %.3f", name, c.notes[i], n)
			}
		}
		most := 2.0
		if name == "violin" {
			most = 3
		}
		for k, cents := range bends[1:] {
			worst := 0.0
			for i, n := range all[(k+1)*(len(c.notes)+1):][:len(c.notes)] {
				worst = max(worst, math.Abs(100*(n-plain[i])-cents))
			}
			if !(worst <= most) {
				t.Errorf("%s bent by %g cents is heard up to %.2f cents off", name, cents, worst)
			}
		}
	}
}

// sampledTones returns the notes heard in each of so many seconds, NaN where there is none.
func sampledTones(t *testing.T, midi string, seconds int) []float64 {
	t.Helper()
	tones, err := playing.Listen(audio.NewMemory(audio.Block{synthesise(t, midi)}, audio.Rate))
	if err != nil {
		t.Fatal(err)
	}
	out, length := make([]float64, seconds), make([]float64, seconds)
	for i := range out {
		out[i] = math.NaN()
	}
	for _, s := range tones.Steady {
		if i := int(s.From); i < len(out) && s.To-s.From > length[i] {
			out[i], length[i] = s.Note, s.To-s.From
		}
	}
	return out
}
