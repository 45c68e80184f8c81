package expand

import (
	"errors"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/tone"
)

// Piece is where the piece lies in a recording, in seconds of the recording.
type Piece struct{ From, To float64 }

// Phrase is a stretch of a recording in which it is played, seconds.
type Phrase struct{ From, To float64 }

// Playing is how a recording is played.
type Playing struct {
	Phrases []Phrase // in order; none: nothing was heard over the noise
	// Distance is how far the playing lies over the noise, A-weighted, in
	// decibels; NaN when nothing is played.
	Distance float64
	// Lows is the same of its lows alone, unweighted; see [tone.Evidence].
	Lows float64
	// Lowest is the lowest note that it holds, hertz, 260 for all that are higher; 0 where that
	// is not to be told. Rumble is how far the noise below that note lies under the playing,
	// unweighted, dB.
	Lowest, Rumble float64
	// Below is how far the noise below that note, or below 260 Hz where it is not to be told, lies under
	// the playing before the piece, dB: with direct current, which Rumble leaves out. NaN when
	// nothing is played.
	Below float64
	// TurnedUp is by how much the noise comes up behind the playing, dB, as it does in a phone that
	// controls its level; 0: that is not seen, or the noise is not known.
	TurnedUp float64
}

// Find reads src to its end and returns where it is played. What sounds before
// the piece or begins after it is no part of it, but what leads into its first
// note or is left of its last one is.
//
// Where the noise is not known, one phrase reaches from the first note to the last: a
// guess must not close a recording in which somebody plays softly. It fails with src.
func Find(src audio.Source, noise *denoise.Noise, piece Piece) (Playing, error) {
	t := newTrace(src)
	if err := t.follow(src, nil); err != nil {
		return Playing{}, err
	}
	return t.over(noise).playing(piece, noise.Known), nil
}

// Hear does what [denoise.Listen] and [Find] do, in one reading. Nobody plays before frame
// from of src.
func Hear(src audio.Source, from int64, piece Piece) (*denoise.Noise, Playing, error) {
	t, l := newTrace(src), denoise.NewListener(src.Rate(), from)
	if err := t.follow(src, l); err != nil {
		return nil, Playing{}, err
	}
	noise := l.Noise()
	return noise, t.over(noise).playing(piece, noise.Known), nil
}

// trace is what is kept of every frame of a recording: some 190 bytes every 21 ms.
type trace struct {
	rate   float64
	spec   *denoise.Spectrum
	bands  []int     // first lines, and the end of the last one
	weight []float64 // of every line
	power  []float64
	sounds []float32 // power of the bands, frame after frame
	quiet  float64   // weighted power of the noise under the playing
	idle   float64   // and where nobody plays

	excess []float32 // dB over the noise, of the band that stands out most
	level  []float32 // weighted, dB
	low    []float32 // power of the lows
	lows   [2]int    // first line of the lows, and the one behind the last
	under  float64   // power of the noise there, under the playing
	notes  lowLines
	rings  []ring // ringLines of every frame
	noise  *denoise.Noise
}

// newTrace prepares to follow src.
func newTrace(src audio.Source) *trace {
	t := &trace{rate: float64(src.Rate()), spec: denoise.NewSpectrum(), power: make([]float64, denoise.Lines),
		weight: aWeights(src.Rate())}
	t.bands = append(t.bands, 2)
	for from := 2; from < denoise.Lines; {
		to := from + max(6, from*2/5)
		if denoise.Lines-to < 6 {
			to = denoise.Lines
		}
		t.bands = append(t.bands, to)
		from = to
	}
	line := t.rate / denoise.Size
	t.lows = [2]int{int(math.Round(tone.LowFrom / line)), int(math.Round(tone.LowTo/line)) + 1}
	t.notes.count = 2 * int(math.Ceil(lowestTop/line))
	return t
}

// follow reads src to its end. Every other frame, which do not overlap, goes to noise as
// well; nil for nobody.
func (t *trace) follow(src audio.Source, noise *denoise.Listener) error {
	in := audio.NewBlock(src.Channels(), denoise.Size)
	for frame := 0; ; frame++ {
		for c := range in {
			copy(in[c], in[c][denoise.Hop:])
		}
		n, err := audio.ReadFull(src, in.Slice(denoise.Hop, denoise.Size))
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		in.Slice(denoise.Hop+n, denoise.Size).Clear()
		if n > 0 {
			t.add(in)
		}
		if n < denoise.Hop {
			return nil
		}
		if frame%2 == 1 && noise != nil {
			noise.Add(t.power)
		}
	}
}

// add takes the next frame of in, mean of its channels, and keeps its power in each band and its
// weighted level.
func (t *trace) add(in audio.Block) {
	clear(t.power)
	for _, x := range in {
		t.spec.AddPower(t.power, x)
	}
	n, level := float64(len(in)), 0.0
	for k := range t.power {
		t.power[k] /= n
	}
	for i := range t.bands[1:] {
		p := 0.0
		for k := t.bands[i]; k < t.bands[i+1]; k++ {
			p += t.power[k]
			level += t.power[k] * t.weight[k]
		}
		t.sounds = append(t.sounds, float32(p))
	}
	t.level = append(t.level, float32(10*math.Log10(level+1e-12)))
	low := 0.0
	for _, p := range t.power[t.lows[0]:t.lows[1]] {
		low += p
	}
	t.low = append(t.low, float32(low))
	t.notes.add(t.power)
	t.ringsOf(t.power)
}

// over holds what was followed against a noise.
func (t *trace) over(noise *denoise.Noise) *trace {
	t.noise = noise
	bands := len(t.bands) - 1
	bars, extra := make([]float64, bands), make([]float64, bands) // extra is by how much a band's power strays
	for i := range bars {
		from, to := t.bands[i], t.bands[i+1]
		n := float64(to - from)
		for _, v := range noise.Power[from:to] {
			bars[i] += v
		}
		bars[i] = math.Max(bars[i], 1e-12*n)
		extra[i] = 1 + 4/math.Sqrt(n)
	}
	for _, p := range noise.Under[t.lows[0]:t.lows[1]] {
		t.under += p
	}
	for k, w := range t.weight {
		t.quiet += noise.Under[k] * w
		t.idle += noise.Power[k] * w
	}
	last := make([]float32, bands)
	for at := 0; at < len(t.sounds); at += bands {
		most := 0.0
		now := t.sounds[at : at+bands]
		for i, p := range now {
			// Two frames together: half the straying.
			most = math.Max(most, float64(p+last[i])/2/bars[i]/extra[i])
		}
		last = now
		t.excess = append(t.excess, float32(10*math.Log10(most+1e-12)))
	}
	return t
}

// aWeights returns the power of A-weighting for every line (IEC 61672-1, its
// formula in annex E; without the 2 dB at 1 kHz, which play no part in ratios).
func aWeights(rate int) []float64 {
	w := make([]float64, denoise.Lines)
	for k := range w {
		f2 := math.Pow(float64(k)*float64(rate)/denoise.Size, 2)
		a := 12194 * 12194 * f2 * f2 / ((f2 + 20.6*20.6) * math.Sqrt((f2+107.7*107.7)*(f2+737.9*737.9)) *
			(f2 + 12194*12194))
		w[k] = a * a
	}
	return w
}
