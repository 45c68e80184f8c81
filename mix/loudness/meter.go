package loudness

import (
	"math"

	"ripieno/mix/audio"
)

// Windows are measured in steps of 10 ms. The standard asks for gating blocks
// every 100 ms and a display at 10 Hz or faster; the finer step makes the
// largest momentary and short-term loudness independent of when the sound
// begins (Tech 3341 cases 10 and 13).
const (
	stepsPerSecond = 100
	momentarySteps = 40  // 400 ms
	shortSteps     = 300 // 3 s
	hopSteps       = 10  // 100 ms between gating blocks: 75 % overlap
)

// Meter measures a programme as it is written to it. One Meter serves one
// goroutine.
type Meter struct {
	channels, rate int
	gains          []float64
	weightings     []Weighting
	peaks          *Peaks
	scratch        [2][]float64

	written  int64               // frames so far
	step     int64               // whole steps so far
	energy   [3]float64          // of the running step, by pairs of channels
	ring     [shortSteps]float64 // energy sums of the last steps
	lengths  [shortSteps]float64 // their frames
	from     int64               // first frame of the running step
	momentum float64             // mean energy of the last 400 ms, −1 before
	short    float64             // mean energy of the last 3 s, −1 before
	maxM     float64
	maxS     float64
	blocks   Gate
	ranges   Gate
}

// NewMeter measures channels in the order mono; L R; L R C; L R Ls Rs;
// L R C Ls Rs; L R C LFE Ls Rs, as BS.1770-4 table 3 weights them: 1 in front,
// 1.41 at the side, the LFE not at all. Channels past the sixth are not
// measured. A mono programme counts as one front channel.
//
// Values below 1 channel or outside 8 kHz to 384 kHz are brought to the
// nearest allowed value: a meter for such a programme shows nonsense but does
// not crash.
func NewMeter(channels, rate int) *Meter {
	channels, rate = max(channels, 1), min(max(rate, 8000), 384000)
	m := &Meter{channels: channels, rate: rate, gains: channelGains(channels), momentum: -1, short: -1}
	m.peaks = NewPeaks(channels, rate)
	for range channels {
		m.weightings = append(m.weightings, NewWeighting(rate))
	}
	longest := rate/stepsPerSecond + 1
	m.scratch = [2][]float64{make([]float64, longest), make([]float64, longest)}
	return m
}

// WithoutPeaks makes the meter measure loudness alone, which costs half as
// much. Call it before the first Write. It returns m.
func (m *Meter) WithoutPeaks() *Meter {
	m.peaks = nil
	return m
}

// channelGains returns the weights of BS.1770-4 table 3.
func channelGains(channels int) []float64 {
	const side = 1.41
	g := make([]float64, channels)
	layouts := [][]float64{{1}, {1, 1}, {1, 1, 1}, {1, 1, side, side}, {1, 1, 1, side, side}, {1, 1, 1, 0, side, side}}
	copy(g, layouts[min(channels, len(layouts))-1])
	return g
}

// oversampling returns 4 up to 48 kHz and keeps the inner rate at 192 kHz or above
// beyond it (BS.1770-4 annex 2).
func oversampling(rate int) int {
	switch {
	case rate >= 192000:
		return 1
	case rate >= 88200:
		return 2
	}
	return 4
}

// Write measures the next frames of the programme. b has as many channels as
// the meter; channels that are missing are silent, channels too many ignored.
func (m *Meter) Write(b audio.Block) {
	n := b.Frames()
	if m.peaks != nil {
		m.peaks.Write(b)
	}
	for at := 0; at < n; {
		end := m.boundary(m.step + 1)
		take := int(min(int64(n-at), end-m.written))
		m.weigh(b, at, at+take)
		at += take
		if m.written += int64(take); m.written == end {
			m.endStep()
		}
	}
}

// boundary returns the first frame of step k. It is rounded from the exact place,
// so steps of rates that 100 does not divide never drift.
func (m *Meter) boundary(k int64) int64 {
	return (k*int64(m.rate) + stepsPerSecond/2) / stepsPerSecond
}

// weigh adds the weighted energy of frames [from, to) to the running step.
// Every pair of channels is summed sample by sample from the step's start, so
// the result does not depend on how the programme is cut into writes.
func (m *Meter) weigh(b audio.Block, from, to int) {
	n := to - from
	c := 0
	for ; c+1 < min(len(b), m.channels, 6); c += 2 {
		y, z := m.scratch[0][:n], m.scratch[1][:n]
		applyPair(&m.weightings[c], &m.weightings[c+1], y, z, b[c][from:to], b[c+1][from:to])
		g, h := m.gains[c], m.gains[c+1]
		e := m.energy[c/2]
		for i, v := range y {
			w := z[i]
			e += g*v*v + h*w*w
		}
		m.energy[c/2] = e
	}
	for ; c < min(len(b), m.channels, 6); c++ {
		y := m.scratch[0][:n]
		m.weightings[c].Apply(y, b[c][from:to])
		e := m.energy[c/2]
		for _, v := range y {
			e += m.gains[c] * v * v
		}
		m.energy[c/2] = e
	}
}

// endStep closes a step of 10 ms and updates every window that ends with it.
func (m *Meter) endStep() {
	slot := m.step % shortSteps
	m.ring[slot] = m.energy[0] + m.energy[1] + m.energy[2]
	m.lengths[slot] = float64(m.written - m.from)
	m.energy, m.from = [3]float64{}, m.written
	m.step++
	for c := range m.weightings {
		m.weightings[c].Settle()
	}
	if m.step >= momentarySteps {
		m.momentum = m.window(momentarySteps)
		m.maxM = max(m.maxM, m.momentum)
	}
	if m.step >= shortSteps {
		m.short = m.window(shortSteps)
		m.maxS = max(m.maxS, m.short)
	}
	if m.step%hopSteps != 0 {
		return
	}
	if m.step >= momentarySteps {
		m.blocks.Add(m.momentum)
	}
	if m.step >= shortSteps {
		m.ranges.Add(m.short)
	}
}

// window returns the mean energy of the last steps. It is summed afresh each time:
// a running sum would drift by rounding.
func (m *Meter) window(steps int64) float64 {
	var sum, frames float64
	for k := m.step - steps; k < m.step; k++ {
		sum += m.ring[k%shortSteps]
		frames += m.lengths[k%shortSteps]
	}
	return sum / frames
}

// Momentary returns the loudness of the last 400 ms; −Inf before there are 400 ms.
func (m *Meter) Momentary() LUFS { return OfEnergy(max(m.momentum, 0)) }

// ShortTerm returns the loudness of the last 3 s; −Inf before there are 3 s.
func (m *Meter) ShortTerm() LUFS { return OfEnergy(max(m.short, 0)) }

// MaxM returns the largest momentary loudness so far; −Inf before there is one.
func (m *Meter) MaxM() LUFS { return OfEnergy(m.maxM) }

// MaxS returns the largest short-term loudness so far; −Inf before there is one.
func (m *Meter) MaxS() LUFS { return OfEnergy(m.maxS) }

// Integrated returns the gated loudness of everything written; −Inf when no block
// of 400 ms passed the gates.
func (m *Meter) Integrated() LUFS { return m.blocks.Integrated() }

// Range returns the loudness range so far; 0 before there are 3 s.
func (m *Meter) Range() LU { return m.ranges.Range() }

// TruePeak returns the highest true peak of any channel, in dBTP; −Inf in silence
// and NaN after WithoutPeaks.
func (m *Meter) TruePeak() audio.Decibels {
	if m.peaks == nil {
		return audio.Decibels(math.NaN())
	}
	return m.peaks.True()
}

// Frames returns how many frames were written.
func (m *Meter) Frames() int64 { return m.written }

// Seconds returns how much was written.
func (m *Meter) Seconds() float64 { return float64(m.written) / float64(m.rate) }
