package audio

import "math"

// mono makes one channel of several.
type mono struct {
	src Source
	buf Block
}

// NewMono returns a source of one channel that is the sum of those of src, each with 0.6
// times the weight of the one before it: so a dead side or opposite phases leave something
// in it. Samples that are not finite are silent.
func NewMono(src Source) Source { return &mono{src: src} }

// Channels implements Source.
func (m *mono) Channels() int { return 1 }

// Rate implements Source.
func (m *mono) Rate() int { return m.src.Rate() }

// Read implements Source.
func (m *mono) Read(dst Block) (int, error) {
	if m.buf.Frames() < dst.Frames() {
		m.buf = NewBlock(m.src.Channels(), dst.Frames())
	}
	n, err := m.src.Read(m.buf.Slice(0, dst.Frames()))
	clear(dst[0])
	weight := 1.0
	for _, channel := range m.buf {
		for i, v := range channel[:n] {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				dst[0][i] += weight * v
			}
		}
		weight *= 0.6
	}
	return n, err
}
