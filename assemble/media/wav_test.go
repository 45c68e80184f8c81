package media

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// seekBuffer is a file in memory.
type seekBuffer struct {
	b  []byte
	at int
}

func (s *seekBuffer) Write(p []byte) (int, error) {
	s.b = append(s.b[:s.at], append(p[:len(p):len(p)], s.b[min(len(s.b), s.at+len(p)):]...)...)
	s.at += len(p)
	return len(p), nil
}

func (s *seekBuffer) Seek(off int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
		s.at = int(off)
	case io.SeekEnd:
		s.at = len(s.b) + int(off)
	}
	return int64(s.at), nil
}

func noise(channels, frames int) audio.Block {
	rng := rand.New(rand.NewPCG(1, 2))
	b := audio.NewBlock(channels, frames)
	for c := range b {
		for i := range b[c] {
			b[c][i] = 2*rng.Float64() - 1
		}
	}
	return b
}

func wavOf(t testing.TB, b audio.Block, rate int, f Format) []byte {
	t.Helper()
	var s seekBuffer
	n, err := WriteWAV(context.Background(), &s, audio.NewMemory(b, rate), f)
	if err != nil || int(n) != b.Frames() {
		t.Fatalf("wrote %d frames, %v", n, err)
	}
	return s.b
}

func open(t testing.TB, data []byte) *WAV {
	t.Helper()
	w, err := NewWAV(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// What is written is read again to half a step of the format, and exactly for
// values the format has.
func TestWAVRoundTrip(t *testing.T) {
	for _, c := range []struct {
		format Format
		step   float64
	}{{Float32, 1.0 / (1 << 24)}, {PCM24, 1.0 / (1 << 23)}, {PCM16, 1.0 / (1 << 15)}} {
		for _, channels := range []int{1, 2, 3, 8} {
			b := noise(channels, 5001)
			first := wavOf(t, b, 44100, c.format)
			w := open(t, first)
			if w.Rate() != 44100 || w.Channels() != channels || w.Frames() != 5001 || w.Truncated() {
				t.Fatalf("format %d, %d channels: %d Hz, %d channels, %d frames", c.format, channels, w.Rate(),
					w.Channels(), w.Frames())
			}
			got, err := audio.ReadAll(w)
			if err != nil {
				t.Fatal(err)
			}
			for ch := range b {
				for i := range b[ch] {
					if d := math.Abs(got[ch][i] - b[ch][i]); d > c.step/2*1.0001 && b[ch][i] < 1-c.step {
						t.Fatalf("format %d channel %d sample %d: %g became %g", c.format, ch, i, b[ch][i], got[ch][i])
					}
				}
			}
			if again := wavOf(t, got, 44100, c.format); !bytes.Equal(first, again) {
				t.Errorf("format %d, %d channels: the second writing differs", c.format, channels)
			}
		}
	}
}

func TestWAVIsASource(t *testing.T) {
	data := wavOf(t, noise(3, 70_001), 48000, PCM24)
	audiotest.Source(t, func() audio.Source { return open(t, data) })
}

func TestPCMIsLimitedAndRounded(t *testing.T) {
	b := audio.Block{{2, -2, 1, -1, 0.4 / 32768, 0.5 / 32768, -0.5 / 32768, 0}}
	want := []float64{32767, -32768, 32767, -32768, 0, 1, -1, 0}
	got, err := audio.ReadAll(open(t, wavOf(t, b, 8000, PCM16)))
	if err != nil {
		t.Fatal(err)
	}
	for i := range want {
		if got[0][i]*32768 != want[i] {
			t.Errorf("%g became %g, want %g", b[0][i], got[0][i]*32768, want[i])
		}
	}
}

func TestWAVWriterRefuses(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := WriteWAV(context.Background(), &seekBuffer{}, audio.NewMemory(audio.Block{{0, v}}, 8000),
			PCM16); err == nil {
			t.Errorf("%g was written", v)
		}
	}
	for _, c := range []struct{ rate, channels int }{{0, 1}, {48000, 0}, {48000, 65}, {1 << 30, 2}} {
		if _, err := NewWAVWriter(&seekBuffer{}, c.rate, c.channels, PCM16); err == nil {
			t.Errorf("%+v was accepted", c)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := WriteWAV(ctx, &seekBuffer{}, audio.NewMemory(noise(1, 10), 8000), PCM16); !errors.Is(err,
		context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Above the limit of RIFF the file is RF64 with its sizes in ds64 (EBU Tech
// 3306). The limit is lowered so that no 4 GiB have to be written.
func TestRF64(t *testing.T) {
	var s seekBuffer
	x, err := NewWAVWriter(&s, 48000, 2, PCM24)
	if err != nil {
		t.Fatal(err)
	}
	x.limit = 1000
	b := noise(2, 301)
	if err := x.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
	le := binary.LittleEndian
	h := s.b
	if string(h[:4]) != "RF64" || le.Uint32(h[4:]) != math.MaxUint32 || string(h[12:16]) != "ds64" {
		t.Fatalf("the header begins % x", h[:20])
	}
	if riff, data, frames := le.Uint64(h[20:]), le.Uint64(h[28:]), le.Uint64(h[36:]); riff != uint64(len(h)-8) ||
		data != 301*6 || frames != 301 {
		t.Errorf("ds64 says %d, %d, %d for a file of %d", riff, data, frames, len(h))
	}
	got, err := audio.ReadAll(open(t, h))
	if err != nil || got.Frames() != 301 {
		t.Errorf("%d frames, %v", got.Frames(), err)
	}
	// Below the limit the same place holds a chunk that readers skip.
	if small := wavOf(t, b, 48000, PCM24); string(small[:4]) != "RIFF" || string(small[12:16]) != "JUNK" ||
		len(small) != len(h) {
		t.Errorf("the small file begins % x", small[:20])
	}
}

// wavBytes builds a file by hand: fmt chunk, other chunks, data with a claimed
// size.
func wavBytes(tag, channels, bits int, rate uint32, claim uint32, data []byte, before ...string) []byte {
	le := binary.LittleEndian
	h := []byte("RIFF\xff\xff\xff\xffWAVE")
	for _, chunk := range before {
		h = append(h, chunk...)
	}
	h = append(h, "fmt "...)
	h = le.AppendUint32(h, 16)
	h = le.AppendUint16(h, uint16(tag))
	h = le.AppendUint16(h, uint16(channels))
	h = le.AppendUint32(h, rate)
	h = le.AppendUint32(h, rate*uint32(channels*bits/8))
	h = le.AppendUint16(h, uint16(channels*bits/8))
	h = le.AppendUint16(h, uint16(bits))
	h = append(h, "data"...)
	h = le.AppendUint32(h, claim)
	return append(h, data...)
}

func TestWAVHeaders(t *testing.T) {
	sixteen := []byte{0, 0x40, 0, 0xc0, 0xff, 0x7f} // 0.5, -0.5, nearly 1
	for _, c := range []struct {
		name      string
		data      []byte
		frames    audio.Frames
		first     float64
		truncated bool
	}{
		{"size right", wavBytes(1, 1, 16, 8000, 6, sixteen), 3, 0.5, false},
		{"size never written", wavBytes(1, 1, 16, 8000, 0, sixteen), 3, 0.5, false},
		{"size unknown", wavBytes(1, 1, 16, 8000, math.MaxUint32, sixteen), 3, 0.5, false},
		{"size beyond the file", wavBytes(1, 1, 16, 8000, 600, sixteen), 3, 0.5, true},
		{"size smaller", wavBytes(1, 1, 16, 8000, 4, sixteen), 2, 0.5, false},
		{"half a frame at the end", wavBytes(1, 2, 16, 8000, 6, sixteen), 1, 0.5, false},
		{"odd chunk before", wavBytes(1, 1, 16, 8000, 6, sixteen, "LIST\x03\x00\x00\x00abc\x00"), 3, 0.5, false},
		{"8 bits", wavBytes(1, 1, 8, 8000, 2, []byte{192, 0}), 2, 0.5, false},
		{"24 bits", wavBytes(1, 1, 24, 8000, 3, []byte{0, 0, 0xc0}), 1, -0.5, false},
		{"32 bits", wavBytes(1, 1, 32, 8000, 4, []byte{0, 0, 0, 0x40}), 1, 0.5, false},
		{"float", wavBytes(3, 1, 32, 8000, 4, binary.LittleEndian.AppendUint32(nil, math.Float32bits(1.5))), 1, 1.5,
			false},
		{"float NaN", wavBytes(3, 1, 32, 8000, 4, binary.LittleEndian.AppendUint32(nil,
			math.Float32bits(float32(math.NaN())))), 1, 0, false},
		{"double", wavBytes(3, 1, 64, 8000, 8, binary.LittleEndian.AppendUint64(nil, math.Float64bits(-0.25))), 1,
			-0.25, false},
		{"double infinity", wavBytes(3, 1, 64, 8000, 8, binary.LittleEndian.AppendUint64(nil,
			math.Float64bits(math.Inf(1)))), 1, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := open(t, c.data)
			b, err := audio.ReadAll(w)
			if err != nil || w.Frames() != c.frames || b.Frames() != int(c.frames) || w.Truncated() != c.truncated {
				t.Fatalf("%d frames, %d read, truncated %v, %v", w.Frames(), b.Frames(), w.Truncated(), err)
			}
			if b[0][0] != c.first {
				t.Errorf("the first sample is %g, want %g", b[0][0], c.first)
			}
		})
	}
}

func TestWAVRefusals(t *testing.T) {
	good := wavBytes(1, 1, 16, 8000, 6, []byte{1, 2, 3, 4, 5, 6})
	for _, c := range []struct {
		name string
		data []byte
		want error
	}{
		{"empty", nil, ErrNotWAV},
		{"text", []byte("this is no sound at all, only words"), ErrNotWAV},
		{"header only", good[:12], ErrNotWAV},
		{"fmt cut", good[:20], ErrNotWAV},
		{"no data chunk", good[:36], ErrNotWAV},
		{"data before fmt", []byte("RIFF\x00\x00\x00\x00WAVEdata\x04\x00\x00\x00abcd"), ErrNotWAV},
		{"compressed", wavBytes(0x55, 2, 16, 44100, 4, []byte{1, 2, 3, 4}), ErrWAVFormat},
		{"12 bits", wavBytes(1, 1, 12, 8000, 4, []byte{1, 2, 3, 4}), ErrWAVFormat},
		{"no channels", wavBytes(1, 0, 16, 8000, 4, []byte{1, 2, 3, 4}), ErrWAVFormat},
		{"1000 channels", wavBytes(1, 1000, 16, 8000, 4, []byte{1, 2, 3, 4}), ErrWAVFormat},
		{"no rate", wavBytes(1, 1, 16, 0, 4, []byte{1, 2, 3, 4}), ErrWAVFormat},
	} {
		if _, err := NewWAV(bytes.NewReader(c.data), int64(len(c.data))); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := OpenWAV(filepath.Join(t.TempDir(), "none.wav")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing: %v", err)
	}
}

func TestWAVSeek(t *testing.T) {
	b := noise(2, 10_000)
	w := open(t, wavOf(t, b, 48000, Float32))
	dst := audio.NewBlock(2, 10)
	for _, at := range []audio.Frames{9000, 0, 5, -3, 20_000} {
		w.SeekFrame(at)
		n, err := w.Read(dst)
		if at >= 10_000 {
			if n != 0 || err != io.EOF {
				t.Errorf("beyond the end: %d, %v", n, err)
			}
			continue
		}
		if want := b[1][max(0, at)]; n != 10 || dst[1][0] != float64(float32(want)) {
			t.Errorf("at %d: %d frames beginning %g, want %g", at, n, dst[1][0], want)
		}
	}
}

// shrinking is a file that gets shorter while it is read.
type shrinking struct{ r *bytes.Reader }

func (s shrinking) ReadAt(p []byte, off int64) (int, error) {
	if off > 5000 {
		return 0, io.EOF
	}
	return s.r.ReadAt(p, off)
}

func TestWAVReadErrorIsFinal(t *testing.T) {
	data := wavOf(t, noise(1, 200_000), 48000, PCM16)
	w, err := NewWAV(shrinking{bytes.NewReader(data)}, int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	_, err = audio.ReadAll(w)
	if err != io.ErrUnexpectedEOF {
		t.Errorf("got %v", err)
	}
	if n, again := w.Read(audio.NewBlock(1, 10)); n != 0 || again != err {
		t.Errorf("the next read gives %d, %v", n, again)
	}
}

func FuzzWAV(f *testing.F) {
	f.Add(wavBytes(1, 2, 16, 48000, 8, []byte{1, 2, 3, 4, 5, 6, 7, 8}))
	f.Add(wavBytes(3, 1, 32, 44100, 0, []byte{0, 0, 0x80, 0x7f}))
	f.Add(wavBytes(1, 1, 24, 1, math.MaxUint32, []byte{1, 2, 3}, "LIST\xff\xff\xff\xff"))
	f.Add(wavOf(f, noise(3, 5), 8000, PCM24))
	f.Add([]byte("RF64\xff\xff\xff\xffWAVEds64\x10\x00\x00\x00\xff\xff\xff\xff\xff\xff\xff\x7f\xff\xff\xff\xff\xff\xff\xff\x7f"))
	f.Fuzz(func(t *testing.T, data []byte) {
		w, err := NewWAV(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			if !errors.Is(err, ErrNotWAV) && !errors.Is(err, ErrWAVFormat) {
				t.Fatalf("foreign error %v", err)
			}
			return
		}
		b, err := audio.ReadAll(w)
		if err != nil {
			t.Fatal(err)
		}
		if b.Frames() != int(w.Frames()) || len(data) < int(w.Frames())*w.Channels() {
			t.Fatalf("%d frames of %d in %d bytes", b.Frames(), w.Frames(), len(data))
		}
		for _, ch := range b {
			for _, v := range ch {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatal("a sample is not finite")
				}
			}
		}
	})
}

func BenchmarkWAVRead(b *testing.B) {
	data := wavOf(b, noise(2, 480_000), 48000, PCM24)
	block := audio.NewBlock(2, 1<<14)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		w := open(b, data)
		for {
			if _, err := w.Read(block); err != nil {
				break
			}
		}
	}
}
