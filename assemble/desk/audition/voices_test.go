package audition

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/assemble/graph"
)

// writeADTS writes a file of bare AAC whose frames hold nothing but their number, as many
// as a voice of some samples needs, and returns its path.
func writeADTS(t *testing.T, channels int, samples int64) string {
	t.Helper()
	frames := int((samples+graph.AACFrame-1)/graph.AACFrame) + 1
	var data []byte
	for k := range frames {
		const length = 7 + 4
		// ISO/IEC 13818-7, 6.2: sync, no check sum, low complexity, 48 kHz, channels, length.
		data = append(data, 0xff, 0xf1, 1<<6|3<<2, byte(channels)<<6, length>>3, length&7<<5|0x1f, 0xfc)
		data = binary.LittleEndian.AppendUint32(data, uint32(k))
	}
	path := filepath.Join(t.TempDir(), "v.aac")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// decoded returns what a decoder would give of a stream of such frames: every sample is
// its own number in the voice, and none where the frame before is missing.
func decoded(t *testing.T, stream []byte) []float64 {
	t.Helper()
	var out []float64
	last := -2
	for ; len(stream) > 0; stream = stream[11:] {
		k := int(binary.LittleEndian.Uint32(stream[7:]))
		for i := range graph.AACFrame {
			v := float64((k-1)*graph.AACFrame + i)
			if k != last+1 {
				v = math.NaN()
			}
			out = append(out, v)
		}
		last = k
	}
	return out
}

// piece takes a piece apart.
func piece(t *testing.T, data []byte) (pieceHead, [][]byte) {
	t.Helper()
	n := 4 + int(binary.LittleEndian.Uint32(data))
	var head pieceHead
	if err := json.Unmarshal(data[4:n], &head); err != nil {
		t.Fatal(err)
	}
	data = data[n:]
	var streams [][]byte
	for _, g := range head.Groups {
		streams = append(streams, data[:g.Bytes])
		data = data[g.Bytes:]
	}
	if len(data) != 0 {
		t.Errorf("%d bytes are of no group", len(data))
	}
	return head, streams
}

// Wherever a piece begins and ends, each voice that sounds there is in it to the sample,
// behind a frame that its decoder needs, and once.
func TestPiecesHoldEveryVoiceToTheSample(t *testing.T) {
	m := &Mixing{}
	for i := range 40 {
		frames, channels := int64(20000+1000*i), 1+i%7/6
		v, err := OpenVoice(writeADTS(t, channels, frames), int64(700*i)-9000, frames)
		if err != nil || v.Channels != channels {
			t.Fatalf("%+v, %v", v, err)
		}
		m.Strips = append(m.Strips, Strip{Sound: &v}, Strip{})
	}
	for _, span := range [][2]int64{{0, 24000}, {-9000, 1}, {-20000, 100000}, {1023, 1}, {1024, 1}, {1025, 3000},
		{5, 0},
		{30000, 48000}, {1 << 62, 5}, {math.MaxInt64, math.MaxInt64}, {math.MinInt64, -5}, {0, math.MaxInt64}} {
		data, err := m.Piece(span[0], span[1])
		if err != nil {
			t.Fatal(err)
		}
		head, streams := piece(t, data)
		heard := map[int]bool{}
		frames := max(0, min(span[1], MostVoiceFrames))
		for g, group := range head.Groups {
			out := decoded(t, streams[g])
			if len(out) != group.Frames || len(group.Parts) > groupVoices {
				t.Fatalf("%v: %d samples, said to be %d, of %d voices", span, len(out), group.Frames, len(group.Parts))
			}
			for _, p := range group.Parts {
				v, skip, at, length := m.Strips[p[0]].Sound, p[1], int64(p[2]), int64(p[3])
				begin := max(span[0], v.from)
				if v.Channels != group.Channels || heard[p[0]] || at != begin-span[0] ||
					length != min(span[0]+frames, v.from+v.Frames)-begin {
					t.Errorf("%v: strip %d of %d channels is %v", span, p[0], v.Channels, p)
				}
				heard[p[0]] = true
				for i := range int(length) {
					if want := float64(begin - v.from + int64(i)); out[skip+i] != want {
						t.Fatalf("%v: sample %d of strip %d is %v, want %v", span, i, p[0], out[skip+i], want)
					}
				}
			}
		}
		for i, s := range m.Strips {
			sounds := s.Sound != nil && s.Sound.from < span[0]+frames && s.Sound.from+s.Sound.Frames > span[0] &&
				frames > 0
			if heard[i] != sounds && (span[0] < 1<<61 || heard[i]) { // where no sum overflows
				t.Fatalf("%v: strip %d is in the piece: %v", span, i, heard[i])
			}
		}
	}
}

// Of a proxy that has gone, or is shorter than its voice, or none, nothing is served.
func TestProxiesThatAreNone(t *testing.T) {
	path := writeADTS(t, 1, 5000)
	v, err := OpenVoice(path, 0, 50000)
	if err != nil {
		t.Fatal(err)
	}
	m := &Mixing{Strips: []Strip{{Take: "oboe", Sound: &v}}}
	if _, err := m.Piece(0, 4000); err != nil {
		t.Error(err)
	}
	if _, err := m.Piece(0, 40000); err == nil {
		t.Error("samples behind the end of a proxy are served")
	}
	before := m.Identify()
	other := v
	other.from++
	if now := (&Mixing{Strips: []Strip{{Take: "oboe", Sound: &other}}}).Identify(); now == before {
		t.Error("a voice that lies elsewhere is the same")
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Piece(0, 4000); err == nil {
		t.Error("a proxy that has gone is served")
	}
	if _, err := OpenVoice(path, 0, 1); err == nil {
		t.Error("a proxy that has gone is opened")
	}
}

// The JSON of a strip that a page gets names no file.
func TestVoicesNameNoFile(t *testing.T) {
	v, err := OpenVoice(writeADTS(t, 2, 100), 3, 100)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var keys map[string]any
	if err := json.Unmarshal(data, &keys); err != nil {
		t.Fatal(err)
	}
	names := make([]string, 0, 3)
	for k := range keys {
		names = append(names, k)
	}
	if slices.Sort(names); !slices.Equal(names, []string{"channels", "frames", "id"}) {
		t.Errorf("a page gets %s", data)
	}
}
