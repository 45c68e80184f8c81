package mix

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
)

// Compressor narrows the dynamics of one strip: what is above Threshold rises
// only 1/Ratio as fast. Levels are those of the peaks of the louder channel;
// both channels of a stereo take get one gain.
type Compressor struct {
	Threshold audio.Decibels // dBFS
	Ratio     float64        // at least 1
	Knee      audio.Decibels // width of the bend round the threshold; 0: 6 dB
	Attack    float64        // seconds; 0: 10 ms
	Release   float64        // seconds; 0: 150 ms
	MakeUp    audio.Decibels // added to the output
}

// check refuses settings out of range; a compressor that is not there is fine.
func (c *Compressor) check() error {
	switch {
	case c == nil:
		return nil
	case !(c.Ratio >= 1 && c.Ratio <= 1000):
		return fmt.Errorf("compressor ratio of %v: must be at least 1", c.Ratio)
	case !(c.Threshold >= -100 && c.Threshold <= 100), !(c.Knee >= 0 && c.Knee <= 60),
		!(c.MakeUp >= -60 && c.MakeUp <= 60):
		return fmt.Errorf("compressor threshold %v, knee %v, make-up %v dB: out of range", float64(c.Threshold),
			float64(c.Knee), float64(c.MakeUp))
	case !(c.Attack >= 0 && c.Attack <= 10), !(c.Release >= 0 && c.Release <= 10):
		return fmt.Errorf("compressor attack %v s, release %v s: must lie between 0 and 10", c.Attack, c.Release)
	}
	return nil
}

// squeezer is a running compressor. The detector follows the peaks in the
// linear domain; the curve is read once every few samples, which is what makes
// it cheap, and the gain moves to it in a straight line.
type squeezer struct {
	Compressor
	attack, release float64
	level           float64
	gain            float64        // at the end of the last run,
	made            audio.Decibels // and what that is in decibels
}

// squeezeRun is how many samples share one reading of the curve: two thirds of
// a millisecond. It divides the block of the mix.
const squeezeRun = 32

// newSqueezer prepares a compressor, with defaults for what is 0.
func newSqueezer(c Compressor) *squeezer {
	if c.Knee == 0 {
		c.Knee = 6
	}
	if c.Attack == 0 {
		c.Attack = 0.010
	}
	if c.Release == 0 {
		c.Release = 0.150
	}
	step := func(seconds float64) float64 { return 1 - math.Exp(-1/(seconds*audio.Rate)) }
	return &squeezer{Compressor: c, attack: step(c.Attack), release: step(c.Release), gain: c.MakeUp.Gain(),
		made: c.MakeUp}
}

// apply compresses the block in place. All blocks but the last are whole runs
// long.
func (q *squeezer) apply(b audio.Block) {
	for at := 0; at < b.Frames(); at += squeezeRun {
		run := b.Slice(at, min(at+squeezeRun, b.Frames()))
		q.follow(run)
		q.level = settle(q.level)
		goal := q.gain
		if made := q.curve(audio.DecibelsOf(q.level)) + q.MakeUp; made != q.made { // soft moments make the same
			q.made, goal = made, made.Gain()
		}
		slope := (goal - q.gain) / squeezeRun
		for c := range run {
			g := q.gain
			for i := range run[c] {
				g += slope
				run[c][i] *= g
			}
		}
		q.gain = goal
	}
}

// follow moves the detector over one run.
func (q *squeezer) follow(run audio.Block) {
	level, other := q.level, run[len(run)-1]
	for i, v := range run[0] {
		peak := math.Abs(v)
		if w := math.Abs(other[i]); w > peak {
			peak = w
		}
		step := q.release
		if peak > level {
			step = q.attack
		}
		level += (peak - level) * step
	}
	q.level = level
}

// curve returns the change of level for an input level, with a parabola round the
// threshold (Giannoulis, Massberg and Reiss 2012, "Digital dynamic range
// compressor design", equation 4).
func (q *squeezer) curve(level audio.Decibels) audio.Decibels {
	over, knee := float64(level-q.Threshold), float64(q.Knee)
	slope := 1/q.Ratio - 1
	switch {
	case 2*over <= -knee:
		return 0
	case 2*over >= knee:
		return audio.Decibels(slope * over)
	}
	return audio.Decibels(slope * (over + knee/2) * (over + knee/2) / (2 * knee))
}
