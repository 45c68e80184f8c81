package media

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/mix/audio"
)

// The places of EBU Tech 3285 version 2, table 1: time reference at byte 338
// of the chunk's data, version at 346, loudness from 412, 602 bytes before the
// coding history. An hour at 48 kHz is 172,800,000 samples.
func TestBroadcastChunk(t *testing.T) {
	b := &Broadcast{
		Description: "Größe", Originator: "ripieno, and a name that is too " +
			"long for it", Reference: "oboe", TimeReference: 172_800_000,
		Loudness: &BroadcastLoudness{Integrated: -16.04, Range: 5.5, TruePeak: -1.004, MaxMomentary: math.Inf(-1),
			MaxShort: -12.3},
		History: []string{CodingLine(PCM24, 2, "ripieno")},
	}
	c := b.chunk()
	le := binary.LittleEndian
	if string(c[:4]) != "bext" || int(le.Uint32(c[4:])) != bextBytes+len("A=PCM,F=48000,W=24,M=stereo,T=ripieno\r\n") {
		t.Fatalf("chunk %q of %d bytes", c[:4], le.Uint32(c[4:]))
	}
	if len(c)%2 != 0 {
		t.Error("the chunk is not padded")
	}
	d := c[8:]
	if got := string(bytes.TrimRight(d[:256], "\x00")); got != "Gr??e" {
		t.Errorf("description %q", got)
	}
	if got := string(d[256:288]); got != "ripieno, and a name that is too " {
		t.Errorf("originator %q", got)
	}
	if got := le.Uint64(d[338:]); got != 172_800_000 {
		t.Errorf("time reference %d", got)
	}
	if got := le.Uint16(d[346:]); got != 2 {
		t.Errorf("version %d", got)
	}
	for i, want := range []int16{-1604, 550, -100, 0x7FFF, -1230} {
		if got := int16(le.Uint16(d[412+2*i:])); got != want {
			t.Errorf("level %d is %d, want %d", i, got, want)
		}
	}
	if got := string(d[602 : 602+5]); got != "A=PCM" {
		t.Errorf("history begins %q", got)
	}
}

func TestTimeReference(t *testing.T) {
	for f, want := range map[audio.Frames]uint64{0: 0, 172_800_000: 172_800_000, -1: 24*172_800_000 - 1,
		24 * 172_800_000: 0} {
		if got := TimeReference(f); got != want {
			t.Errorf("frame %d is at %d, want %d", f, got, want)
		}
	}
}

// A broadcast wave is read back by ffprobe, by this package, and as RF64.
func TestBroadcastWAV(t *testing.T) {
	b := &Broadcast{Description: "oboe-1", Originator: "ripieno", TimeReference: 48_000_123,
		History: []string{CodingLine(Float32, 1, "ripieno")}}
	block := noise(1, 2000)
	path := filepath.Join(t.TempDir(), "a.wav")
	if _, err := CreateBroadcastWAV(t.Context(), path, audio.NewMemory(block, audio.Rate), Float32, b); err != nil {
		t.Fatal(err)
	}
	w, err := OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	got, err := audio.ReadAll(w)
	if err != nil || got.Frames() != 2000 || got[0][1999] != float64(float32(block[0][1999])) {
		t.Errorf("%d frames read back, %v", got.Frames(), err)
	}
	tool := ffmpegtest.Tool(t)
	out, err := tool.Probe(t.Context(), []string{"-show_entries", "format_tags", "-of", "json", "-i", "file:" + path})
	if err != nil {
		t.Fatal(err)
	}
	var said struct {
		Format struct{ Tags map[string]string }
	}
	if err := json.Unmarshal(out, &said); err != nil {
		t.Fatal(err)
	}
	tags := said.Format.Tags
	if tags["time_reference"] != "48000123" || tags["comment"] != "oboe-1" || tags["encoded_by"] != "ripieno" {
		t.Errorf("ffprobe reads %v", tags)
	}
	var s seekBuffer
	x, err := NewWAVWriter(&s, audio.Rate, 1, Float32)
	if err != nil {
		t.Fatal(err)
	}
	x.limit = 1000
	x.Describe(b)
	if err := x.Write(block); err != nil {
		t.Fatal(err)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
	if string(s.b[:4]) != "RF64" || !bytes.Contains(s.b[:200], []byte("bext")) ||
		bytes.Index(s.b, []byte("ds64")) != 12 {
		t.Errorf("the head of RF64 is %q", s.b[:64])
	}
	large, err := NewWAV(bytes.NewReader(s.b), int64(len(s.b)))
	if err != nil {
		t.Fatal(err)
	}
	if again, err := audio.ReadAll(large); err != nil || again.Frames() != 2000 {
		t.Errorf("%d frames from RF64, %v", again.Frames(), err)
	}
}

// A file that was cut off before its end still has its samples.
func TestBroadcastUnfinished(t *testing.T) {
	var s seekBuffer
	x, err := NewWAVWriter(&s, audio.Rate, 1, PCM16)
	if err != nil {
		t.Fatal(err)
	}
	x.Describe(&Broadcast{Description: "cut"})
	if err := x.Write(noise(1, 100)); err != nil {
		t.Fatal(err)
	}
	if err := x.out.Flush(); err != nil {
		t.Fatal(err)
	}
	w, err := NewWAV(bytes.NewReader(s.b), int64(len(s.b)))
	if err != nil || w.Frames() != 100 {
		t.Errorf("%v, %v", w, err)
	}
}
