package media

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"ripieno/mix/audio"
)

// Format is how [WriteWAV] stores samples.
type Format int

// The formats. Integer formats limit to full scale; they do not dither.
const (
	Float32 Format = iota
	PCM24
	PCM16
)

// WAVWriter writes a WAVE file as a stream. The header is finished by Close;
// until then the file reads as one of unknown length. Above 4 GiB it becomes
// RF64 (EBU Tech 3306), for which room is kept in every header.
type WAVWriter struct {
	w        io.WriteSeeker
	out      *bufio.Writer
	channels int
	rate     int
	sample   sampleFormat
	bytes    int64 // of samples so far
	raw      []byte
	begun    bool // the head is written
	closed   bool
	bext     *Broadcast // nil: none
	limit    int64      // largest size RIFF can state; a field for tests
}

// NewWAVWriter begins a WAVE file on w, whose position must be its start.
// channels is 1 to 64, rate in hertz.
func NewWAVWriter(w io.WriteSeeker, rate, channels int, f Format) (*WAVWriter, error) {
	if channels < 1 || channels > maxWAVChannels || rate < 1 || rate > 2*MaxRate {
		return nil, fmt.Errorf("media: a WAV of %d channels at %d Hz cannot be written", channels, rate)
	}
	sample, ok := map[Format]sampleFormat{Float32: float32bit, PCM24: pcm24, PCM16: pcm16}[f]
	if !ok {
		return nil, fmt.Errorf("media: unknown WAV format %d", f)
	}
	x := &WAVWriter{w: w, out: bufio.NewWriterSize(w, readBytes), channels: channels, rate: rate, sample: sample,
		limit: math.MaxUint32}
	return x, nil
}

// Describe makes the file a broadcast wave. It must come before the first
// Write; what b says may still change until Close, except the length of its
// coding history.
func (x *WAVWriter) Describe(b *Broadcast) { x.bext = b }

// begin writes the head before the first samples.
func (x *WAVWriter) begin() error {
	if x.begun {
		return nil
	}
	x.begun = true
	_, err := x.out.Write(x.header(false))
	return err
}

// header returns the file's head; finished fills in the sizes.
func (x *WAVWriter) header(finished bool) []byte {
	le := binary.LittleEndian
	frame := x.channels * x.sample.bytes()
	// 16-bit mono and stereo get the header of 1991, which every reader
	// knows; everything else must be WAVE_FORMAT_EXTENSIBLE (Microsoft,
	// "Multiple Channel Audio Data and WAVE Files") with a fact chunk.
	plain := x.sample == pcm16 && x.channels <= 2
	head := int64(12 + 36 + 24 + 8)
	if !plain {
		head = 12 + 36 + 48 + 12 + 8
	}
	var bext []byte
	if x.bext != nil {
		bext = x.bext.chunk()
		head += int64(len(bext))
	}
	total := head - 8 + x.bytes + x.bytes&1
	large := finished && total > x.limit
	size := func(n int64) uint32 { // what a 32-bit field says
		if !finished || large {
			return math.MaxUint32
		}
		return uint32(n)
	}
	h := make([]byte, 0, head)
	if large {
		h = append(h, "RF64"...)
	} else {
		h = append(h, "RIFF"...)
	}
	h = le.AppendUint32(h, size(total))
	h = append(h, "WAVE"...)
	if large {
		h = append(h, "ds64"...)
		h = le.AppendUint32(h, 28)
		h = le.AppendUint64(h, uint64(total))
		h = le.AppendUint64(h, uint64(x.bytes))
		h = le.AppendUint64(h, uint64(x.bytes/int64(frame)))
		h = le.AppendUint32(h, 0) // no table of further chunks
	} else {
		h = append(h, "JUNK"...)
		h = le.AppendUint32(h, 28)
		h = append(h, make([]byte, 28)...)
	}
	h = append(h, bext...)
	h = x.appendFormat(h, plain)
	if !plain {
		h = append(h, "fact"...)
		h = le.AppendUint32(h, 4)
		h = le.AppendUint32(h, size(x.bytes/int64(frame)))
	}
	h = append(h, "data"...)
	return le.AppendUint32(h, size(x.bytes))
}

// appendFormat appends the fmt chunk.
func (x *WAVWriter) appendFormat(h []byte, plain bool) []byte {
	le := binary.LittleEndian
	frame := x.channels * x.sample.bytes()
	bits := uint16(8 * x.sample.bytes())
	tag := uint16(tagPCM)
	if x.sample.float() {
		tag = tagFloat
	}
	h = append(h, "fmt "...)
	if plain {
		h = le.AppendUint32(h, 16)
		h = le.AppendUint16(h, tag)
	} else {
		h = le.AppendUint32(h, 40)
		h = le.AppendUint16(h, tagExtensible)
	}
	h = le.AppendUint16(h, uint16(x.channels))
	h = le.AppendUint32(h, uint32(x.rate))
	h = le.AppendUint32(h, uint32(x.rate*frame))
	h = le.AppendUint16(h, uint16(frame))
	h = le.AppendUint16(h, bits)
	if plain {
		return h
	}
	h = le.AppendUint16(h, 22)
	h = le.AppendUint16(h, bits)
	h = le.AppendUint32(h, speakers(x.channels))
	h = le.AppendUint16(h, tag)
	return append(h, subFormatTail[:]...)
}

// speakers returns the channel mask: front centre, front left and right, or nothing
// said.
func speakers(channels int) uint32 {
	switch channels {
	case 1:
		return 0x4
	case 2:
		return 0x3
	}
	return 0
}

// Write appends all frames of b. A sample that is not finite is an error: it
// can only come from a fault in the program and must not reach a file.
func (x *WAVWriter) Write(b audio.Block) error {
	if x.closed {
		return errors.New("media: write to a finished WAV")
	}
	if err := x.begin(); err != nil {
		return err
	}
	if len(b) != x.channels {
		return fmt.Errorf("media: write %d channels to a WAV of %d", len(b), x.channels)
	}
	for c := range b {
		for i, v := range b[c] {
			if v-v != 0 { // NaN or infinite: anything else gives 0
				frame := x.bytes/int64(x.channels*x.sample.bytes()) + int64(i)
				return fmt.Errorf("media: sample %d of channel %d is not a number", frame, c)
			}
		}
	}
	const step = 4096
	for at := 0; at < b.Frames(); at += step {
		part := b.Slice(at, min(at+step, b.Frames()))
		x.raw = x.sample.encode(x.raw, part, part.Frames())
		n, err := x.out.Write(x.raw)
		x.bytes += int64(n)
		if err != nil {
			return err
		}
	}
	return nil
}

// Close pads the samples, writes the final header and leaves the underlying
// writer open. Calling it again does nothing.
func (x *WAVWriter) Close() error {
	if x.closed {
		return nil
	}
	x.closed = true
	if err := x.begin(); err != nil {
		return err
	}
	if x.bytes&1 == 1 {
		if err := x.out.WriteByte(0); err != nil {
			return err
		}
	}
	if err := x.out.Flush(); err != nil {
		return err
	}
	if _, err := x.w.Seek(0, io.SeekStart); err != nil {
		return err
	}
	if _, err := x.w.Write(x.header(true)); err != nil {
		return err
	}
	_, err := x.w.Seek(0, io.SeekEnd)
	return err
}

// WriteWAV writes src from where it stands to its end as a WAVE file on w and
// returns how many frames that were. It stops with ctx's error between blocks.
func WriteWAV(ctx context.Context, w io.WriteSeeker, src audio.Source, f Format) (audio.Frames, error) {
	return writeWAV(ctx, w, src, f, nil)
}

// writeWAV is WriteWAV with a description of the sound (EBU Tech 3285), nil for none.
func writeWAV(ctx context.Context, w io.WriteSeeker, src audio.Source, f Format, b *Broadcast) (audio.Frames, error) {
	x, err := NewWAVWriter(w, src.Rate(), src.Channels(), f)
	if err != nil {
		return 0, err
	}
	x.Describe(b)
	block := audio.NewBlock(src.Channels(), 1<<14)
	total := audio.Frames(0)
	for {
		if err := ctx.Err(); err != nil {
			return total, err
		}
		n, err := src.Read(block)
		if n > 0 {
			if err := x.Write(block.Slice(0, n)); err != nil {
				return total, err
			}
			total += audio.Frames(n)
		}
		switch {
		case err == io.EOF:
			return total, x.Close()
		case err != nil:
			return total, err
		case n == 0:
			return total, io.ErrNoProgress
		}
	}
}

// CreateWAV is [WriteWAV] to a new file at path, synchronised to the disk. An
// existing file is overwritten, and after an error a part of one may be left:
// the caller writes to a temporary name and renames.
func CreateWAV(ctx context.Context, path string, src audio.Source, f Format) (audio.Frames, error) {
	return CreateBroadcastWAV(ctx, path, src, f, nil)
}

// CreateBroadcastWAV is [CreateWAV] for a file that says where it belongs. b
// may be filled in while src is read, for loudness that is known only at the
// end, and may be nil.
func CreateBroadcastWAV(ctx context.Context, path string, src audio.Source, f Format, b *Broadcast) (audio.Frames,
	error) {
	file, err := os.Create(path)
	if err != nil {
		return 0, err
	}
	n, err := writeWAV(ctx, file, src, f, b)
	if err == nil {
		err = file.Sync()
	}
	return n, errors.Join(err, file.Close())
}
