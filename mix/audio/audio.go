// Package audio holds the types that every audio room shares: sample counts,
// decibels, blocks of samples and the contract for things that stream them.
//
// Samples are float64, planar, full scale ±1.0. The mix runs at [Rate]; other
// rates exist only between a file and the resampler. The package does no
// processing and touches no files.
package audio

import (
	"fmt"
	"io"
	"math"
)

// Rate is the sample rate of the mix in hertz. Guide time in the mix is a
// whole number of samples at this rate.
const Rate = 48000

// Frames counts sample frames (one sample of every channel), never bytes and
// never single samples.
type Frames int64

// FramesAt returns the frame nearest to seconds at [Rate]; halves round away
// from zero.
func FramesAt(seconds float64) Frames { return Frames(math.Round(seconds * Rate)) }

// Seconds returns the duration of f frames at [Rate].
func (f Frames) Seconds() float64 { return float64(f) / Rate }

// Decibels is an amplitude ratio on a logarithmic scale, 20·log10(gain);
// −Inf is silence.
type Decibels float64

// Gain returns the linear amplitude factor, 10^(d/20): 0 for −Inf.
func (d Decibels) Gain() float64 { return math.Pow(10, float64(d)/20) }

// DecibelsOf returns the inverse of [Decibels.Gain] for the magnitude of gain;
// zero gives −Inf and NaN stays NaN.
func DecibelsOf(gain float64) Decibels { return Decibels(20 * math.Log10(math.Abs(gain))) }

// PPM is a relative clock speed in parts per million. A file with drift d has
// guide = offset + t·(1 + d·1e-6).
type PPM float64

// Ratio returns 1 + p·1e-6, the guide seconds that pass in one second of the file.
func (p PPM) Ratio() float64 { return 1 + float64(p)*1e-6 }

// Block is a run of sample frames: Block[c][i] is sample i of channel c. All
// channels have the same length.
type Block [][]float64

// NewBlock returns a silent block.
func NewBlock(channels, frames int) Block {
	flat := make([]float64, channels*frames)
	b := make(Block, channels)
	for c := range b {
		b[c] = flat[c*frames : (c+1)*frames : (c+1)*frames]
	}
	return b
}

// Frames returns the block's length; 0 for a block without channels.
func (b Block) Frames() int {
	if len(b) == 0 {
		return 0
	}
	return len(b[0])
}

// Slice returns the part [from, to) of b and shares its memory.
func (b Block) Slice(from, to int) Block {
	s := make(Block, len(b))
	for c := range b {
		s[c] = b[c][from:to]
	}
	return s
}

// Clear makes b silent.
func (b Block) Clear() {
	for _, ch := range b {
		clear(ch)
	}
}

// Source streams audio from its own frame 0 to its end.
type Source interface {
	// Channels is the number of channels, at least 1, constant.
	Channels() int
	// Rate is the sample rate in hertz, constant.
	Rate() int
	// Read fills dst, which has Channels channels, and returns how many
	// frames it wrote. It returns less than dst.Frames() only at the end or
	// on an error; once no frame is left it returns 0, io.EOF. A call that
	// returns frames returns a nil error. An error other than io.EOF is
	// final: the frames read before stay valid and every later call returns
	// the same error.
	Read(dst Block) (int, error)
}

// Close closes src if it can be closed, as one that reads a file can. It returns what
// closing says.
func Close(src Source) error {
	if c, ok := src.(io.Closer); ok {
		return c.Close()
	}
	return nil
}

// Memory is a Source that reads a block held in memory.
type Memory struct {
	block Block
	rate  int
	at    int
}

// NewMemory returns a Source over b at rate hertz. It does not copy b.
func NewMemory(b Block, rate int) *Memory { return &Memory{block: b, rate: rate} }

// Channels implements [Source].
func (m *Memory) Channels() int { return len(m.block) }

// Rate implements [Source].
func (m *Memory) Rate() int { return m.rate }

// Frames returns how many there are in all.
func (m *Memory) Frames() Frames { return Frames(m.block.Frames()) }

// Read implements [Source].
func (m *Memory) Read(dst Block) (int, error) {
	if len(dst) != len(m.block) {
		return 0, fmt.Errorf("audio: read into %d channels from a source of %d", len(dst), len(m.block))
	}
	n := min(dst.Frames(), m.block.Frames()-m.at)
	if n <= 0 {
		if dst.Frames() == 0 {
			return 0, nil
		}
		return 0, io.EOF
	}
	for c := range dst {
		copy(dst[c][:n], m.block[c][m.at:m.at+n])
	}
	m.at += n
	return n, nil
}

// ReadFull reads until dst is full or src ends, and returns how many frames were read.
// The error is that of src, io.EOF at its end too, or io.ErrNoProgress from a source
// that gives neither frames nor an error.
func ReadFull(src Source, dst Block) (int, error) {
	done := 0
	for done < dst.Frames() {
		n, err := src.Read(dst.Slice(done, dst.Frames()))
		done += n
		if err != nil {
			return done, err
		}
		if n == 0 {
			return done, io.ErrNoProgress
		}
	}
	return done, nil
}

// ReadAll reads src to its end. It is meant for short sources and tests: it holds
// everything in memory. It fails with src, and what was read until then is lost.
func ReadAll(src Source) (Block, error) {
	const step = 1 << 14
	out := make(Block, src.Channels())
	for b, err := range Blocks(src, step) {
		if err != nil {
			return out, err
		}
		for c := range out {
			out[c] = append(out[c], b[c]...)
		}
	}
	return out, nil
}
