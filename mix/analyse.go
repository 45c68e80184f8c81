package mix

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// Analysis is what one pass over a recording says about its sound. Loudness
// and noise are those of the recording after Repair, as one strip plays it.
type Analysis struct {
	Rate, Channels int
	Frames         int64   // at Rate
	Seconds        float64 // Frames / Rate

	Repair     Repair         // what the channels need
	Integrated loudness.LUFS  // gated; −Inf: silence, or less than 0.4 s
	MaxShort   loudness.LUFS  // largest loudness of 3 s; −Inf before there are 3 s
	Range      loudness.LU    // between soft and loud places
	Peak       audio.Decibels // largest sample of any channel, dBFS
	TruePeak   audio.Decibels // dBTP

	// NoiseFloor is the loudness of the quietest twentieth of the recording.
	// NoiseKnown says that this is noise: far below the playing and even, as
	// a pause is. Otherwise the recording has no pauses, the floor is soft
	// playing, and nothing is known about its noise.
	NoiseFloor loudness.LUFS
	NoiseKnown bool

	Broken  int64   // samples that are NaN, infinite or absurdly large
	Clipped int64   // samples in runs of three or more at full scale
	DC      float64 // mean of the samples, full scale 1: the worst channel's
}

// What makes a floor noise: it lies at least noiseDepth under the loudness, and
// the quietest tenth of the recording is even, both by itself and against the
// way from there to the median, which a note that dies away is not. The figures
// were chosen on noise in windows of a tenth of a second and on decaying notes;
// they have no source.
const (
	noiseDepth  = 12.0
	noiseSpread = 4.0
	noiseShare  = 1.0 / 8
)

// Analyse reads s to its end. More than two channels are folded to two first,
// as a strip does it. An error of s is returned with what was measured so far.
func Analyse(s audio.Source) (Analysis, error) { return analyse(s, 0, math.MaxInt64, false) }

// AnalyseStrip does what [Analyse] does for a strip's recording, with its loudness and range
// measured only where guide frames of within sound, and the strip may sound:
// what a player does before and after the piece must not set the level. Channels,
// peaks and noise are those of the whole recording, whose pauses are often
// outside the piece. The true peak, which a mix does not need and which costs as
// much as the rest, is left out: NaN. An error is a [*StripError].
func AnalyseStrip(s Strip, within Span) (Analysis, error) {
	if err := s.check(); err != nil {
		return Analysis{}, err
	}
	src, err := s.Open()
	if err != nil {
		return Analysis{}, &StripError{s.Name, err}
	}
	within.From = max(within.From, s.From)
	if s.To != 0 {
		within.To = min(within.To, s.To)
	}
	frame := func(guide audio.Frames) int64 {
		return int64(math.Round((guide.Seconds() - s.Offset - s.Delay) / s.Drift.Ratio() * float64(src.Rate())))
	}
	a, err := analyse(src, frame(within.From), frame(within.To), true)
	if e := audio.Close(src); err == nil {
		err = e
	}
	if err != nil {
		err = &StripError{s.Name, err}
	}
	return a, err
}

// analyse measures loudness in frames [from, to) of the source, and the true
// peak unless plain.
func analyse(s audio.Source, from, to int64, plain bool) (Analysis, error) {
	if s.Channels() < 1 || s.Rate() < 1 {
		return Analysis{}, fmt.Errorf("mix: cannot analyse %d channels at %d Hz", s.Channels(), s.Rate())
	}
	p := newProbe(s)
	p.from, p.to, p.plain = from, to, plain
	for b, err := range audio.Blocks(s, 4096) {
		if err != nil {
			return p.analysis(), err
		}
		p.write(b)
	}
	return p.analysis(), nil
}

// What a stereo recording's sides may differ by (chosen on synthetic faults,
// no source): a dead side still carries the crosstalk and hiss of its
// amplifier; two copies of one sound differ by the rounding of a codec.
const (
	deadRatio = 1e-4  // −40 dB of energy between the sides
	copyRatio = 1e-3  // −30 dB of difference between copies
	nearLevel = 4.0   // 6 dB of energy between the sides of one sound
	opposed   = -0.95 // correlation of an inverted side
)

// repair decides from the energies of a whole recording.
func (e energies) repair() Repair {
	total := e.ll + e.rr
	switch {
	case total == 0:
		return Fold
	case e.rr < deadRatio*e.ll:
		return LeftOnly
	case e.ll < deadRatio*e.rr:
		return RightOnly
	case e.ll > nearLevel*e.rr || e.rr > nearLevel*e.ll:
		return AsRecorded
	case total-2*e.lr < copyRatio*total:
		return Fold
	case e.lr < opposed*math.Sqrt(e.ll*e.rr):
		return FoldInverted
	}
	return AsRecorded
}
