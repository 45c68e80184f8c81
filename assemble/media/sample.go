package media

import (
	"encoding/binary"
	"math"
	"slices"

	"ripieno/mix/audio"
)

// sampleFormat is how one sample lies in a WAVE file; all little endian.
type sampleFormat int

const (
	pcm8 sampleFormat = iota // unsigned, 128 is silence
	pcm16
	pcm24
	pcm32
	float32bit
	float64bit
)

// bytes returns how many bytes a sample takes.
func (s sampleFormat) bytes() int {
	return [...]int{1, 2, 3, 4, 4, 8}[s]
}

// float reports whether samples are floating-point numbers.
func (s sampleFormat) float() bool { return s == float32bit || s == float64bit }

// decode spreads the interleaved frames of raw over dst from frame at on.
func (s sampleFormat) decode(dst audio.Block, at int, raw []byte) {
	step := s.bytes()
	frame := step * len(dst)
	n := len(raw) / frame
	le := binary.LittleEndian
	for c := range dst {
		out := dst[c][at : at+n]
		in := raw[c*step:]
		switch s {
		case pcm8:
			for i := range out {
				out[i] = (float64(in[i*frame]) - 128) / (1 << 7)
			}
		case pcm16:
			for i := range out {
				out[i] = float64(int16(le.Uint16(in[i*frame:]))) / (1 << 15)
			}
		case pcm24:
			for i := range out {
				b := in[i*frame : i*frame+3]
				out[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) / (1 << 23)
			}
		case pcm32:
			for i := range out {
				out[i] = float64(int32(le.Uint32(in[i*frame:]))) / (1 << 31)
			}
		case float32bit:
			for i := range out {
				out[i] = finite(float64(math.Float32frombits(le.Uint32(in[i*frame:]))))
			}
		case float64bit:
			for i := range out {
				out[i] = finite(math.Float64frombits(le.Uint64(in[i*frame:])))
			}
		}
	}
}

// finite returns v, or 0 for NaN and the infinities: one broken sample must not
// silence a whole mix.
func finite(v float64) float64 {
	if v-v != 0 { // NaN minus itself and infinity minus itself are NaN
		return 0
	}
	return v
}

// encode writes the first n frames of src, interleaved, over raw, which grows
// when it must, and returns them. Integers are rounded to the nearest, ties
// away from zero, and limited to their range.
func (s sampleFormat) encode(raw []byte, src audio.Block, n int) []byte {
	step := s.bytes()
	frame := step * len(src)
	raw = slices.Grow(raw[:0], n*frame)[:n*frame]
	le := binary.LittleEndian
	for c := range src {
		x := src[c][:n]
		for i, v := range x {
			out := raw[i*frame+c*step:]
			switch s {
			case pcm16:
				le.PutUint16(out, uint16(int16(quantise(v, 1<<15))))
			case pcm24:
				q := uint32(int32(quantise(v, 1<<23)))
				out[0], out[1], out[2] = byte(q), byte(q>>8), byte(q>>16)
			case float32bit:
				le.PutUint32(out, math.Float32bits(float32(v)))
			}
		}
	}
	return raw
}

// quantise returns v as an integer where 1.0 is full; the positive end is one less,
// as two's complement has it.
func quantise(v, full float64) float64 {
	return math.Round(min(max(v*full, -full), full-1))
}
