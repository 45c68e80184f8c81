package media

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"ripieno/mix/audio"
)

// WAV streams a WAVE file (RIFF, or RF64 as in EBU Tech 3306) as an
// [audio.Source]: integer samples of 8 to 32 bits, divided by 2^(bits-1), and
// floating point of 32 or 64 bits. Values that are not finite read as 0. A
// header that was never finished (sizes 0 or 0xFFFFFFFF) and a file that ends
// early are read to the end of the file.
type WAV struct {
	r      io.ReaderAt
	closer io.Closer

	channels, rate int
	sample         sampleFormat
	start          int64 // byte where the samples begin
	frames         int64
	claimed        int64 // frames the header promises; -1 when it does not
	at             int64 // next frame to read
	buf            []byte
	err            error // final error of Read
}

// ErrNotWAV is the error for a file that is no WAVE file, or one whose header
// makes no sense.
var ErrNotWAV = errors.New("not a WAV file")

// ErrWAVFormat is the error for a WAVE file with compressed or unusual samples.
var ErrWAVFormat = errors.New("unsupported kind of WAV")

// OpenWAV opens the file at path. The caller closes it.
func OpenWAV(path string) (*WAV, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	st, err := f.Stat()
	if err == nil {
		var w *WAV
		if w, err = NewWAV(f, st.Size()); err == nil {
			w.closer = f
			return w, nil
		}
	}
	f.Close()
	return nil, fmt.Errorf("%s: %w", showPath(path), err)
}

// maxChunks bounds the search for the samples in a crafted file.
const maxChunks = 10_000

// NewWAV reads the header of a WAVE file of size bytes. The error is
// [ErrNotWAV] or [ErrWAVFormat] with the detail, or r's own.
func NewWAV(r io.ReaderAt, size int64) (*WAV, error) {
	h := header{r: r, size: size}
	head, err := h.bytes(0, 12)
	if err != nil {
		return nil, err
	}
	id := string(head[:4])
	if id != "RIFF" && id != "RF64" && id != "BW64" || string(head[8:]) != "WAVE" {
		return nil, ErrNotWAV
	}
	w := &WAV{r: r, claimed: -1}
	large := int64(-1) // size of the data by the ds64 chunk
	at := int64(12)
	for range maxChunks {
		c, err := h.bytes(at, 8)
		if err != nil {
			return nil, err
		}
		kind, length := string(c[:4]), int64(binary.LittleEndian.Uint32(c[4:]))
		body := at + 8
		switch {
		case kind == "ds64" && id != "RIFF":
			// The size of the whole file, then that of the data.
			d, err := h.bytes(body, 16)
			if err != nil {
				return nil, err
			}
			if n := binary.LittleEndian.Uint64(d[8:]); n <= math.MaxInt64 {
				large = int64(n)
			}
		case kind == "fmt " && length < 16:
			return nil, fmt.Errorf("%w: short fmt chunk", ErrNotWAV)
		case kind == "fmt ":
			f, err := h.bytes(body, min(length, 40))
			if err != nil {
				return nil, err
			}
			if err := w.setFormat(f); err != nil {
				return nil, err
			}
		case kind == "data" && w.rate == 0:
			return nil, fmt.Errorf("%w: no fmt chunk before the samples", ErrNotWAV)
		case kind == "data":
			if length == math.MaxUint32 && large >= 0 {
				length = large
			}
			w.setData(body, length, size)
			return w, nil
		}
		at = body + length + length&1 // chunks are padded to even length
	}
	return nil, fmt.Errorf("%w: no samples in it", ErrNotWAV)
}

// header reads pieces of a file's head.
type header struct {
	r    io.ReaderAt
	size int64
}

// bytes returns the n bytes at an offset; a file that ends before them is no WAVE
// file.
func (h header) bytes(at, n int64) ([]byte, error) {
	if at+n > h.size {
		return nil, fmt.Errorf("%w: its header ends too early", ErrNotWAV)
	}
	b := make([]byte, n)
	if _, err := h.r.ReadAt(b, at); err != nil {
		return nil, err
	}
	return b, nil
}

// Format tags and the tail of the extensible sub-format (Microsoft,
// "Multiple Channel Audio Data and WAVE Files").
const (
	tagPCM        = 1
	tagFloat      = 3
	tagExtensible = 0xFFFE
)

var subFormatTail = [14]byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71}

// sampleFormats are those that can be read, by tag and bits.
var sampleFormats = map[[2]uint16]sampleFormat{
	{tagPCM, 8}: pcm8, {tagPCM, 16}: pcm16, {tagPCM, 24}: pcm24, {tagPCM, 32}: pcm32,
	{tagFloat, 32}: float32bit, {tagFloat, 64}: float64bit,
}

// maxWAVChannels is above every multitrack recorder's.
const maxWAVChannels = 64

// setFormat reads the fmt chunk: its first 16 bytes and, when the sub-format is
// told there, 40.
func (w *WAV) setFormat(f []byte) error {
	le := binary.LittleEndian
	tag, channels, rate := le.Uint16(f), le.Uint16(f[2:]), le.Uint32(f[4:])
	align, bits := le.Uint16(f[12:]), le.Uint16(f[14:])
	if tag == tagExtensible && len(f) >= 40 && [14]byte(f[26:40]) == subFormatTail {
		tag = le.Uint16(f[24:])
	}
	sample, ok := sampleFormats[[2]uint16{tag, bits}]
	if !ok {
		return fmt.Errorf("%w: format %#x with %d bits", ErrWAVFormat, tag, bits)
	}
	w.sample = sample
	switch {
	case channels == 0 || channels > maxWAVChannels:
		return fmt.Errorf("%w: %d channels", ErrWAVFormat, channels)
	case rate == 0 || rate > 2*MaxRate:
		return fmt.Errorf("%w: sample rate %d", ErrWAVFormat, rate)
	case int(align) != int(channels)*w.sample.bytes():
		return fmt.Errorf("%w: %d bytes a frame for %d channels of %d bits", ErrWAVFormat, align, channels, bits)
	}
	w.channels, w.rate = int(channels), int(rate)
	return nil
}

// setData notes where the samples are. A length of 0 or 0xFFFFFFFF is what a
// recorder writes that could not go back to its header.
func (w *WAV) setData(start, length, size int64) {
	frame := int64(w.channels * w.sample.bytes())
	left := size - start
	w.start = start
	if length == 0 || length == math.MaxUint32 {
		w.frames = left / frame
		return
	}
	w.claimed = length / frame
	w.frames = min(length, left) / frame
}

// Channels implements [audio.Source].
func (w *WAV) Channels() int { return w.channels }

// Rate implements [audio.Source].
func (w *WAV) Rate() int { return w.rate }

// Frames returns how many frames the file holds, wherever reading stands.
func (w *WAV) Frames() audio.Frames { return audio.Frames(w.frames) }

// Truncated reports whether the header promises more frames than there are.
func (w *WAV) Truncated() bool { return w.claimed > w.frames }

// SeekFrame makes the next Read begin at frame n, which is limited to the
// file. It also clears an error of an earlier Read.
func (w *WAV) SeekFrame(n audio.Frames) {
	w.at = min(max(0, int64(n)), w.frames)
	w.err = nil
}

// Close closes the file opened by [OpenWAV]; otherwise it does nothing.
func (w *WAV) Close() error {
	if w.closer == nil {
		return nil
	}
	return w.closer.Close()
}

// readBytes is how much is fetched at once; about a tenth of a second.
const readBytes = 1 << 16

// Read implements [audio.Source].
func (w *WAV) Read(dst audio.Block) (int, error) {
	if len(dst) != w.channels {
		return 0, fmt.Errorf("media: read into %d channels from a WAV of %d", len(dst), w.channels)
	}
	if w.err != nil {
		return 0, w.err
	}
	done, want := 0, dst.Frames()
	frame := w.channels * w.sample.bytes()
	for done < want && w.at < w.frames {
		n := int(min(int64(want-done), w.frames-w.at, int64(max(1, readBytes/frame))))
		if cap(w.buf) < n*frame {
			w.buf = make([]byte, n*frame)
		}
		raw := w.buf[:n*frame]
		if _, err := w.r.ReadAt(raw, w.start+w.at*int64(frame)); err != nil {
			if err == io.EOF { // the file shrank under us
				err = io.ErrUnexpectedEOF
			}
			w.err = err
			if done > 0 {
				return done, nil
			}
			return 0, err
		}
		w.sample.decode(dst, done, raw)
		done += n
		w.at += int64(n)
	}
	if done == 0 && want > 0 {
		return 0, io.EOF
	}
	return done, nil
}
