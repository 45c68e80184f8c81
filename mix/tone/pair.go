package tone

import (
	"errors"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// Levels is how loud a recording is, while it is played, where phones have a colour of
// their own and in between: mean power over its noise, NaN where the noise is as loud.
type Levels struct{ Low, Middle, Presence float64 }

// The bands that are compared, hertz. The middle is where a phone is as good as a
// microphone.
var levelBands = [3][2]float64{{45, 85}, {350, 1400}, {2600, 4000}}

// overNoise is how far a band must stand over its noise to be compared, as a ratio of
// powers: 6 dB.
const overNoise = 4.0

// Measure reads src to its end and returns its levels where it is played, which wanted
// says for seconds of it. It fails with src.
func Measure(src audio.Source, noise *denoise.Noise, wanted func(seconds float64) bool) (Levels, error) {
	spec, power := denoise.NewSpectrum(), make([]float64, denoise.Lines)
	in, frames := audio.NewBlock(src.Channels(), denoise.Size), 0
	for at := 0; ; at += denoise.Size {
		n, err := audio.ReadFull(src, in)
		if err != nil && !errors.Is(err, io.EOF) {
			return Levels{}, err
		}
		if n < denoise.Size {
			break
		}
		if wanted((float64(at) + denoise.Size/2) / float64(src.Rate())) {
			for _, x := range in {
				spec.AddPower(power, x)
			}
			frames += len(in)
		}
	}
	line := float64(src.Rate()) / denoise.Size
	var out [3]float64
	for b, band := range levelBands {
		sound, still := 0.0, 0.0
		for k := int(math.Round(band[0] / line)); k <= int(math.Round(band[1]/line)); k++ {
			sound += power[k] / float64(max(frames, 1))
			still += noise.Under[k]
		}
		if out[b] = sound - still; !(sound > overNoise*still) || frames == 0 {
			out[b] = math.NaN()
		}
	}
	return Levels{out[0], out[1], out[2]}, nil
}

// Pair is what one player's phone adds to what their microphone hears, dB against the
// middle; NaN: not to be told.
type Pair struct{ Low, Presence float64 }

// Against compares a phone with a microphone that heard the same.
func Against(phone, microphone Levels) Pair {
	middle := phone.Middle / microphone.Middle
	return Pair{Low: 10 * math.Log10(phone.Low/microphone.Low/middle),
		Presence: 10 * math.Log10(phone.Presence/microphone.Presence/middle)}
}

// Phones is the correction that the phones of a production need.
type Phones struct {
	Correction
	Pairs int // players who recorded with both
}

// Usual is what phones need of which nothing is known.
var Usual = Phones{Correction: Correction{Low: lowGain, Presence: presence}}

// Learn returns what the phones of a production need, by those that can be compared;
// the usual phone counts as one of them.
func Learn(pairs []Pair) Phones {
	p := Phones{Pairs: len(pairs)}
	mean := func(usual, least, most float64, of func(Pair) float64) float64 {
		sum, n := usual, 1.0
		for _, x := range pairs {
			if v := -of(x); !math.IsNaN(v) {
				sum, n = sum+min(max(v, least), most), n+1
			}
		}
		return math.Round(2*sum/n) / 2
	}
	p.Low = mean(lowGain, 0, Most, func(x Pair) float64 { return x.Low })
	p.Presence = mean(presence, -Most, 0, func(x Pair) float64 { return x.Presence })
	return p
}
