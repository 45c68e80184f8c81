package intake

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
	"ripieno/mix/robust"
)

// Sound is what [Listen] measures. All levels are finite, [Floor] at least.
type Sound struct {
	Seconds  float64   `json:"seconds"`
	Rate     int       `json:"rate"` // hertz
	Channels []Channel `json:"channels"`
	// LoudnessLUFS is the integrated loudness of the loudest channel alone
	// (ITU-R BS.1770-4, gated), so that a dead side does not count.
	LoudnessLUFS float64 `json:"loudness_lufs"`
	// Levels of windows of 100 ms that are not digital silence: the loud
	// passages (95th percentile) and the quietest moments (5th), and how long
	// the longest rest near the latter is.
	LoudDB      float64 `json:"loud_db"`
	NoiseDB     float64 `json:"noise_db"`
	RestSeconds float64 `json:"rest_seconds"`
	// Correlation of the first two channels, -1 to 1; 0 for mono.
	Correlation float64 `json:"correlation"`
	// Hum of the mains in the quietest seconds: 50 or 60, its level, and how
	// far it stands out. HumHz is 0 when there is too little sound to tell.
	HumHz           int     `json:"hum_hz"`
	HumDB           float64 `json:"hum_db"`
	HumProminenceDB float64 `json:"hum_prominence_db"`
}

// Channel is what is measured of one channel.
type Channel struct {
	PeakDB float64 `json:"peak_db"` // highest sample
	RMSDB  float64 `json:"rms_db"`  // over the whole file
	// FlatPercent is the share of samples in runs of at least three that
	// repeat the file's extreme value.
	FlatPercent float64 `json:"flat_percent"`
	// RailDB is the level at which samples pile up most, RailPercent the
	// share of samples there, RailRatio their number over that of samples a
	// little lower.
	RailDB      float64 `json:"rail_db"`
	RailPercent float64 `json:"rail_percent"`
	RailRatio   float64 `json:"rail_ratio"`
}

// loudest returns the channel with the highest effective value.
func (s *Sound) loudest() Channel {
	if len(s.Channels) == 0 {
		return Channel{PeakDB: Floor, RMSDB: Floor}
	}
	return slices.MaxFunc(s.Channels, func(a, b Channel) int { return cmp.Compare(a.RMSDB, b.RMSDB) })
}

// Listen reads src to its end and measures it. Memory grows by four bytes for
// each tenth of a second. A source without frames gives silence, not an error;
// an error of src is returned as it is.
func Listen(src audio.Source) (Sound, error) {
	rate, channels := src.Rate(), src.Channels()
	if rate < 100 || channels < 1 {
		return Sound{}, fmt.Errorf("intake: a source of %d channels at %d Hz cannot be measured", channels, rate)
	}
	e := newEar(rate, channels)
	// One window is a tenth of a second; all measures advance by it.
	block := audio.NewBlock(channels, rate/10)
	for {
		n, err := src.Read(block)
		if n > 0 {
			e.hear(block.Slice(0, n))
		}
		if errors.Is(err, io.EOF) {
			return e.sound(), nil
		}
		if err != nil {
			return Sound{}, err
		}
		if n == 0 {
			return Sound{}, io.ErrNoProgress
		}
	}
}

// ear measures as it hears.
type ear struct {
	rate    int
	frames  int64
	windows []float32  // level of each full window in dB, of all channels together
	sides   [3]float64 // sums of L², R², LR
	ch      []channelEar
	hum     *humEar
	mono    []float64
}

// channelEar measures one channel.
type channelEar struct {
	sum   float64 // of squares
	top   extreme
	low   extreme
	tally tally
	k     loudness.Weighting
	y     []float64
	hops  [3]float64 // K-weighted energies of the last three windows
	heard int
	gate  loudness.Gate
}

// newEar returns an ear for one file. It hears in windows of a tenth of a second, so its
// memory does not grow with the file.
func newEar(rate, channels int) *ear {
	e := &ear{rate: rate, ch: make([]channelEar, channels), hum: newHumEar(rate), mono: make([]float64, rate/10)}
	for i := range e.ch {
		e.ch[i].tally = newTally(rate)
		e.ch[i].k = loudness.NewWeighting(rate)
		e.ch[i].y = make([]float64, rate/10)
	}
	return e
}

// hear takes at most a tenth of a second; only the last block is shorter.
func (e *ear) hear(b audio.Block) {
	n := b.Frames()
	full := n == len(e.mono)
	e.frames += int64(n)
	energy := 0.0
	mono := e.mono[:n]
	clear(mono)
	for c, x := range b {
		energy += e.ch[c].hear(x, full)
		for i, v := range x {
			mono[i] += v
		}
	}
	if len(b) >= 2 {
		l, r := b[0], b[1]
		for i := range l {
			e.sides[0] += l[i] * l[i]
			e.sides[1] += r[i] * r[i]
			e.sides[2] += l[i] * r[i]
		}
	}
	level := decibels(energy/float64(n*len(b)), 10)
	if full {
		e.windows = append(e.windows, float32(level))
	}
	e.hum.hear(mono, 1/float64(len(b)), level)
}

// hear measures one channel's part and returns its sum of squares.
func (c *channelEar) hear(x []float64, full bool) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
		c.top.add(v)
		c.low.add(-v)
	}
	c.tally.hear(x)
	c.sum += sum
	y := c.y[:len(x)]
	c.k.Apply(y, x)
	if full {
		// Blocks of 400 ms that advance by 100 ms (BS.1770-4 annex 1).
		z := 0.0
		for _, v := range y {
			z += v * v
		}
		z /= float64(len(y))
		if c.heard++; c.heard > 3 {
			c.gate.Add((c.hops[0] + c.hops[1] + c.hops[2] + z) / 4)
		}
		c.hops[0], c.hops[1], c.hops[2] = c.hops[1], c.hops[2], z
	}
	return sum
}

// sound returns what was measured, once everything was heard. A file without sound has Floor
// for every level.
func (e *ear) sound() Sound {
	s := Sound{
		Seconds: float64(e.frames) / float64(e.rate), Rate: e.rate,
		LoudnessLUFS: Floor, LoudDB: Floor, NoiseDB: Floor,
	}
	n := float64(max(1, e.frames))
	for i := range e.ch {
		c := &e.ch[i]
		m := Channel{
			PeakDB: decibels(max(c.top.value, c.low.value), 20), RMSDB: decibels(c.sum/n, 10),
			FlatPercent: 100 * float64(c.top.countClipped()+c.low.countClipped()) / n,
		}
		rail, share, ratio := c.tally.rail()
		m.RailDB, m.RailPercent, m.RailRatio = decibels(rail, 20), 100*share, ratio
		s.Channels = append(s.Channels, m)
		s.LoudnessLUFS = max(s.LoudnessLUFS, finite(float64(c.gate.Integrated())))
	}
	if d := math.Sqrt(e.sides[0] * e.sides[1]); d > 0 {
		s.Correlation = min(max(e.sides[2]/d, -1), 1)
	}
	s.levels(e.windows)
	s.HumHz, s.HumDB, s.HumProminenceDB = e.hum.result()
	return s
}

// levels finds the percentiles of the windows that are not digital silence,
// which editors and our own decoding put before late streams.
func (s *Sound) levels(windows []float32) {
	const silence = -100 // dB; 16-bit dither is at -93
	heard := slices.DeleteFunc(slices.Clone(windows), func(w float32) bool { return w <= silence })
	if len(heard) == 0 {
		return
	}
	s.LoudDB, s.NoiseDB = float64(robust.LowerQuantile(heard, 0.95)), float64(robust.LowerQuantile(heard, 0.05))
	run, longest := 0, 0
	for _, w := range windows {
		if w > silence && float64(w) < s.NoiseDB+restMargin {
			run++
			longest = max(longest, run)
		} else {
			run = 0
		}
	}
	s.RestSeconds = float64(longest) / 10
}

// restMargin in dB over the quietest moments: steady noise varies by less than
// 1 dB in windows of 100 ms, a room with rumble by more.
const restMargin = 2

// decibels returns factor·log10(v), at least Floor.
func decibels(v, factor float64) float64 {
	if !(v > 0) {
		return Floor
	}
	return finite(factor * math.Log10(v))
}

// finite limits a level to what can be written as JSON.
func finite(db float64) float64 {
	if math.IsNaN(db) {
		return Floor
	}
	return min(max(db, Floor), -Floor)
}
