package align

import (
	"fmt"
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// Hops of the stored measurements, in seconds.
const (
	hop      = 0.002   // band energies, the onset strength
	fineHop  = 0.00025 // the envelope that times sharp events
	levelHop = 0.01    // Features.Level
)

// analysisLimit bounds memory: sound after this many seconds of a file is not
// measured. One second costs about 64 kB while a file is being analysed.
const analysisLimit = 45 * 60

// featuresVersion changes whenever Analyse would give other numbers, so that
// stored features can be told from current ones.
const featuresVersion = 27

const placingRules = 30 // see [Rules]

// Features is what placing needs to know of one file. It is small (about 3 kB
// a second), has exported fields only and survives gob and JSON unchanged
// apart from the rounding that JSON applies to nothing here.
//
// Times are seconds of the file, 0 at its first sample. Levels are dBFS of
// the mean square, never below -120.
type Features struct {
	Version  int     // of the measurement; compare with [Version]
	Rate     int     // hertz, of the file
	Channels int     //
	Duration float64 // seconds measured

	Events []Event // in order of time
	Leaked []Event // clicks of the guide that were taken out; see [AnalyseWithoutClicks]
	// ClickPPM is the file's clock against the guide's as those clicks tell it; it means
	// nothing where none were taken out.
	ClickPPM float64
	Level    []uint8 // loudness every 10 ms in half decibels above -120 dBFS; see [Features.LevelAt]

	Curves

	// Splices are moments at which the waveform jumps as at a cut, in order of time: their
	// Time, and as Strength by how many dB it does. What else an event has they have not.
	Splices []Event

	NoiseDB float64 // level that nine tenths of the file exceed
	LoudDB  float64 // level that one twentieth of the file exceeds
	Clipped float64 // share of samples within 0.1 dB of full scale, 0..1
}

// Version returns the measurement that [Analyse] makes now. Features of another
// version must be measured again.
func Version() int { return featuresVersion }

// Rules returns the version of the rules of [Place]: it changes whenever they may judge otherwise
// what was heard. It is at least [Version].
func Rules() int { return placingRules }

// Event is a moment at which sound sets in: a clap, a step, a note.
type Event struct {
	Time     float64 // seconds of the file
	Heard    float64 // seconds of the file, when the ear takes it to begin: not before Time
	Vague    float64 // seconds by which Heard may be off; 0 for a sharp sound
	Strength float64 // mean rise over the bands, dB; about 2 (doubtful) to 20
	Level    float64 // dBFS in the 60 ms after it
	Before   float64 // dBFS, the loudest 80 ms of the 800 ms before it
	After    float64 // dBFS, the loudest 80 ms from 320 to 960 ms after it
	Rise     float64 // seconds from the first sign to near its full level, at most 0.15
	Decay    float64 // seconds until it is 12 dB below its peak, at most 0.6
	Spread   float64 // share of the bands that rise by more than 9 dB: 1 is a bang, 0.3 a pure note
	Slow     bool    // found only by looking over long stretches: timed less well
	Pitch    bool    // found only by its new pitch: a slurred note
	Bright   float64 // share of the new energy above 1.3 kHz
}

// LevelAt returns the loudness at a moment in dBFS; -120 outside the file.
func (f *Features) LevelAt(seconds float64) float64 {
	i := int(math.Floor(seconds / levelHop))
	if i < 0 || i >= len(f.Level) {
		return -120
	}
	return float64(f.Level[i])/2 - 120
}

// Rates that [Analyse] takes, in hertz: below, no attack is left of a note.
const (
	MinRate = 4000
	MaxRate = 1_000_000
)

// Analyse reads src to its end in one pass and returns what placing needs.
// Any rate and any number of channels will do. A source of no frames gives
// features of duration 0. The only errors are those of the source and of an
// impossible rate or channel count. NaN and infinite samples count as silence.
func Analyse(src audio.Source) (*Features, error) {
	if src.Rate() < MinRate || src.Rate() > MaxRate || src.Channels() < 1 {
		return nil, fmt.Errorf("align: cannot analyse %d channels at %d hertz", src.Channels(), src.Rate())
	}
	a := newAnalyser(src.Rate())
	a.pitch = newPitchFlux(a.work)
	a.curves = newCurveFilter(a.work)
	a.splices = newSpliceFinder(a.rate)
	if s, ok := src.(interface{ Frames() audio.Frames }); ok {
		a.reserve(math.Min(float64(s.Frames())/float64(src.Rate()), analysisLimit))
	}
	var mono []float64
	for b, err := range audio.Blocks(src, 1<<14) {
		if err != nil {
			return nil, err
		}
		mono = mixdown(mono, b, b.Frames())
		a.clip(b, b.Frames())
		a.write(mono)
	}
	f := a.finish()
	f.Channels = src.Channels()
	return f, nil
}

// analyser turns a stream into band energies; finish turns those into events.
type analyser struct {
	rate    int
	work    float64
	dec     *decimator
	bands   []*band
	energy  [][]float32  // per band, every hop
	fine    []float32    // high-passed energy, every fineHop
	acc     []bin        // one per band, then one for fine
	pitch   *pitchFlux   // nil when not wanted
	curves  *curveFilter // the same
	splices *spliceFinder
	low     []float64
	one     []float64 // a filtered piece of low, and another
	two     []float64
	prev    float64
	frames  int64
	clipped int64
}

// bin sums squares between two multiples of a hop that need not be a whole
// number of samples.
type bin struct {
	sum   float64
	count int
	at    float64 // time of the next sample in hops
	step  float64 // hops per sample
	index int
}

// newAnalyser returns an analyser of band energies for sound at rate hertz. Bands that lie
// above what the work rate can hold are left out.
func newAnalyser(rate int) *analyser {
	a := &analyser{rate: rate, dec: newDecimator(rate)}
	a.work = a.dec.rate(rate)
	for i := range bandCount {
		if b := newBand(bandEdges[i], bandEdges[i+1], a.work); b != nil {
			a.bands = append(a.bands, b)
			a.acc = append(a.acc, bin{at: -b.lag / hop, step: 1 / (a.work * hop)})
		}
	}
	a.energy = make([][]float32, len(a.bands))
	a.acc = append(a.acc, bin{at: 0, step: 1 / (a.work * fineHop)})
	return a
}

// reserve makes room for what so many seconds come to, so that nothing grows.
func (a *analyser) reserve(seconds float64) {
	seconds += 0.1
	for i := range a.energy {
		a.energy[i] = make([]float32, 0, int(seconds/hop))
	}
	a.fine = make([]float32, 0, int(seconds/fineHop))
	for b := range a.curves.bands {
		a.curves.bands[b] = make([]float32, 0, int(seconds/CurveHop))
	}
}

// add puts samples in and appends to out the mean square of every hop that is
// complete.
func (b *bin) add(out []float32, x []float64) []float32 {
	at, sum, count := b.at, b.sum, b.count
	out = room(out, int(float64(len(x))*b.step)+2)
	for _, v := range x {
		now := at
		at += b.step
		if now < 0 {
			continue // the filter's delay reaches before the file
		}
		if i := int(now); i != b.index {
			for ; b.index < i; b.index++ {
				mean := 0.0
				if count > 0 {
					mean = sum / float64(count)
				}
				out = append(out, float32(mean))
				if b.index == i-1 {
					sum, count = 0, 0
				}
			}
		}
		sum += v * v
		count++
	}
	b.at, b.sum, b.count = at, sum, count
	return out
}

// room returns s with room for n more values. It doubles what it has: append grows long
// slices by a quarter, and so copies most of what it allocates four times.
func room[T any](s []T, n int) []T {
	if cap(s)-len(s) >= n {
		return s
	}
	return slices.Grow(s, max(n, len(s)))
}

// clip counts samples within 0.1 dB of full scale (0.9886): converters and codecs stop a
// little below 1, and what peaks there was cut off.
func (a *analyser) clip(b audio.Block, n int) {
	for _, ch := range b {
		for _, v := range ch[:n] {
			if v >= 0.9886 || v <= -0.9886 {
				a.clipped++
			}
		}
	}
}

// write takes one channel at the file's own rate. What lies behind analysisLimit is only
// counted: memory is bounded whatever a file claims.
func (a *analyser) write(mono []float64) {
	a.frames += int64(len(mono))
	if a.frames > int64(analysisLimit*a.rate) {
		return
	}
	if a.splices != nil {
		a.splices.write(mono)
	}
	a.low = a.dec.write(a.low[:0], mono)
	a.measure(a.low)
	if a.pitch != nil {
		a.pitch.write(a.low)
	}
	if a.curves != nil {
		a.curves.write(a.low)
	}
}

// measure takes samples at the work rate. Bands are filtered two at a time, since the
// processor has room for a second chain of products while the first waits for its own.
func (a *analyser) measure(x []float64) {
	for len(a.one) < len(x) {
		a.one, a.two = append(a.one, 0), append(a.two, 0)
	}
	one, two := a.one[:len(x)], a.two[:len(x)]
	for i := 0; i < len(a.bands); i += 2 {
		j := i + 1
		if j == len(a.bands) {
			filter(a.bands[i], &band{}, x, one, two)
		} else {
			filter(a.bands[i], a.bands[j], x, one, two)
			a.energy[j] = a.acc[j].add(a.energy[j], two)
		}
		a.energy[i] = a.acc[i].add(a.energy[i], one)
	}
	prev := a.prev
	for i, v := range x {
		// The first difference lifts the bright part of a sound, which sets
		// in first, over rumble and hum.
		one[i] = v - prev
		prev = v
	}
	a.prev = prev
	a.fine = a.acc[len(a.bands)].add(a.fine, one)
}

// finish returns what was heard. The analyser is used up.
func (a *analyser) finish() *Features {
	a.low = a.dec.flush(a.low[:0])
	a.measure(a.low)
	if a.curves != nil {
		a.curves.write(a.low)
	}
	// One more hop of silence pushes every delayed band to the same length.
	a.measure(make([]float64, int(a.work*0.03)))
	f := &Features{
		Version: featuresVersion, Rate: a.rate,
		Duration: math.Min(float64(a.frames)/float64(a.rate), analysisLimit),
	}
	n := int(f.Duration / hop)
	for i, e := range a.energy {
		a.energy[i] = e[:min(n, len(e))]
		n = min(n, len(a.energy[i]))
	}
	for i := range a.energy {
		a.energy[i] = a.energy[i][:n]
	}
	if a.frames > 0 {
		f.Clipped = float64(a.clipped) / float64(a.frames)
	}
	f.Level = levels(a.energy, n)
	f.NoiseDB, f.LoudDB = quantiles(f.Level)
	if a.splices != nil {
		f.Splices, a.splices = a.splices.finish(), nil
	}
	// One after the other, so that what one leaves is gone before the next begins.
	f.Curves, a.curves = a.curves.finish(), nil
	f.Events = findEvents(a.energy, a.fine, a.bands, a.pitch.flux)
	return f
}

// levels returns the loudness over the bands every levelHop.
func levels(energy [][]float32, n int) []uint8 {
	const per = 5 // hops in a levelHop
	out := make([]uint8, n/per)
	for i := range out {
		var sum float64
		for _, e := range energy {
			for _, v := range e[i*per : (i+1)*per] {
				sum += float64(v)
			}
		}
		db := 10 * math.Log10(sum/float64(per)+1e-12)
		out[i] = uint8(math.Round(2 * math.Max(0, math.Min(127, db+120))))
	}
	return out
}

// quantiles returns what a tenth of the levels stay below and what a twentieth exceed, in dB
// of full scale; -120 for both without a level. Levels are stored in halves of a decibel
// over -120 dB.
func quantiles(level []uint8) (noise, loud float64) {
	if len(level) == 0 {
		return -120, -120
	}
	db := func(q float64) float64 { return float64(robust.LowerQuantile(level, q))/2 - 120 }
	return db(0.1), db(0.95)
}
