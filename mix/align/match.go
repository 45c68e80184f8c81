package align

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// Match says how one device's recording lies against another's: a moment t of
// B is the moment OffsetSeconds + t·(1 + DriftPPM·1e-6) of A.
type Match struct {
	OffsetSeconds float64 // B's time zero on A's time line
	DriftPPM      float64 // B's clock against A's; 0 when it could not be told
	DriftErrPPM   float64 // standard error; +Inf when it could not be told
	Confidence    float64 // 0..1 that the two hold the same sound at this offset
	Spread        float64 // seconds, robust scatter of the windows about the line
	Windows       int     // stretches compared
	Agree         int     // of them, those that lie on the line
}

// Sure reports whether the match may be used without asking.
func (m Match) Sure() bool { return m.Confidence >= 0.95 }

// MatchVersion changes whenever [MatchDevices] or [MatchSteps] would give other numbers of the same
// sounds.
const MatchVersion = 2

// matchLimit bounds memory: of longer recordings only this many seconds are
// compared, about 150 MB for both together.
const matchLimit = 20 * 60

// MatchDevices finds how b lies against a when both recorded the same
// performance. Rates, channels, levels, starts and ends may all differ; the
// clocks may differ by up to 600 ppm. Recordings of different sounds give a
// low Confidence, not an error: errors come from the sources only. Both
// sources are read to their ends.
func MatchDevices(a, b audio.Source) (Match, error) {
	return compareDevices(a, b, matchDevices)
}

// compareDevices reads two recordings to their ends and returns what compare finds out
// about them. It fails with the first error of a source.
func compareDevices[T any](a, b audio.Source, compare func(a, b *device) T) (found T, err error) {
	da, err := readDevice(a)
	if err != nil {
		return found, err
	}
	db, err := readDevice(b)
	if err != nil {
		return found, err
	}
	return compare(da, db), nil
}

// device is one recording reduced to what matching needs.
type device struct {
	x      []float32 // mono at work hertz
	work   float64
	change [][]float64 // per band, how the level moves, every changeHop
	floor  []float64   // per band, quietest usual energy
	moved  []float64   // running sum over change, squared
}

// changeHop, in seconds, is the step at which the levels of two devices are compared for a
// coarse lag; what is left of it the fine search finds.
const changeHop = 0.008

func (d *device) seconds() float64 { return float64(len(d.x)) / d.work }

// readDevice reads src to its end and keeps of its first matchLimit seconds what matching
// needs. It fails with the source's error and for a rate or a number of channels that no
// recorder has.
func readDevice(src audio.Source) (*device, error) {
	if src.Rate() < 4000 || src.Rate() > 1_000_000 || src.Channels() < 1 {
		return nil, fmt.Errorf("align: cannot match %d channels at %d hertz", src.Channels(), src.Rate())
	}
	a := newAnalyser(src.Rate())
	d := &device{work: a.work}
	var mono []float64
	keep := func() {
		for _, v := range a.low {
			d.x = append(d.x, float32(v))
		}
	}
	for b, err := range audio.Blocks(src, 1<<14) {
		if err != nil {
			return nil, err
		}
		if d.seconds() < matchLimit {
			mono = mixdown(mono, b, b.Frames())
			a.low = a.dec.write(a.low[:0], mono)
			keep()
			a.measure(a.low)
		}
	}
	a.low = a.dec.flush(a.low[:0])
	keep()
	a.measure(a.low)
	for _, e := range a.energy {
		d.change = append(d.change, change(e))
		sum := make([]float64, len(e)+1)
		for i, v := range e {
			sum[i+1] = sum[i] + float64(v)
		}
		d.floor = append(d.floor, quiet(sum))
	}
	d.moved = make([]float64, len(d.change[0])+1)
	for i := range d.change[0] {
		d.moved[i+1] = d.moved[i]
		for _, c := range d.change {
			d.moved[i+1] += c[i] * c[i]
		}
	}
	return d, nil
}

// noise returns the energy of one bin of an n-point spectrum with a Hann window
// that the quietest parts of the recording have at a frequency.
func (d *device) noise(n int) func(hertz float64) float64 {
	density := make([]float64, len(d.floor)) // of one hertz
	for i, e := range d.floor {
		density[i] = e / (math.Min(bandEdges[i+1], 0.47*d.work) - bandEdges[i])
	}
	// Parseval: a bin holds density·(rate/n) of power, times n² for the
	// unscaled transform, halved for the two-sided spectrum, times 3/8 for
	// the window.
	scale := d.work * float64(n) * 0.5 * 0.375
	return func(hertz float64) float64 {
		i := 0
		for i+1 < len(density) && hertz > bandEdges[i+1] {
			i++
		}
		return density[i] * scale
	}
}

// change returns the rate at which a band's level moves, limited and with unit
// variance, so that neither one bang nor a loud band decides.
func change(e []float32) []float64 {
	const per = 4 // hops in a changeHop
	n := len(e) / per
	if n < 2 {
		return nil
	}
	level := make([]float64, n)
	for i := range level {
		var s float64
		for _, v := range e[i*per : (i+1)*per] {
			s += float64(v)
		}
		level[i] = 10 * math.Log10(s/per+1e-11)
	}
	out := make([]float64, n)
	var power float64
	for i := 2; i < n; i++ {
		out[i] = math.Max(-12, math.Min(12, level[i]-level[i-2]))
		power += out[i] * out[i]
	}
	if power > 0 {
		g := 1 / math.Sqrt(power/float64(n))
		for i := range out {
			out[i] *= g
		}
	}
	return out
}

// matchDevices tries the likeliest lags one after the other and ends with the first that
// leaves no doubt. Where none is sure, the windows of each guess are pooled, which costs
// several times as much and hears what single windows do not.
func matchDevices(a, b *device) Match {
	best := Match{DriftErrPPM: math.Inf(1)}
	guesses := coarse(a, b)
	for _, c := range guesses {
		m := fine(a, b, c)
		if m.Confidence > best.Confidence || (m.Confidence == best.Confidence && m.Agree > best.Agree) {
			best = m
		}
		if best.Confidence > 0.99 {
			break
		}
	}
	if best.Sure() {
		return best
	}
	for _, c := range guesses {
		if m := pool(a, b, c); m.Confidence > best.Confidence {
			best = m
		}
	}
	return best
}

// guess is a coarse lag and how well it fits.
type guess struct {
	seconds, ppm, height float64
}

// coarse gives the likeliest lags of b, best first, from how the levels of
// the bands move. It tries several clock ratios, since 600 ppm smear a lag by
// 180 ms within five minutes.
func coarse(a, b *device) []guess {
	bands := min(len(a.change), len(b.change))
	if bands == 0 || len(a.change[0]) < 50 || len(b.change[0]) < 50 {
		return nil
	}
	n := 1
	for n < len(a.change[0])+len(b.change[0])+64 {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	spectra := make([][]complex128, bands)
	pad := make([]float64, n)
	for i := range spectra {
		clear(pad[copy(pad, a.change[i]):])
		spectra[i] = fft.Coefficients(nil, pad)
	}
	steps := 2
	if math.Min(a.seconds(), b.seconds()) < 60 {
		steps = 0 // too short for drift to matter here
	}
	var all []guess
	cor, other := make([]float64, n), make([]complex128, n/2+1)
	for k := -steps; k <= steps; k++ {
		ppm := 250 * float64(k)
		sum := make([]complex128, n/2+1)
		for i := range spectra {
			clear(pad[stretch(pad, b.change[i], audio.PPM(ppm).Ratio()):])
			fft.Coefficients(other, pad)
			for j, c := range other {
				sum[j] += spectra[i][j] * complex(real(c), -imag(c))
			}
		}
		fft.Sequence(cor, sum)
		all = append(all, tops(cor, len(a.change[0])+32, ppm)...)
	}
	slices.SortStableFunc(all, func(p, q guess) int { return cmp.Compare(q.height, p.height) })
	return all[:min(4, len(all))]
}

// tops takes the four highest peaks out of a circular correlation, in which
// lags above most stand for negative ones.
func tops(cor []float64, most int, ppm float64) []guess {
	var out []guess
	n := len(cor)
	for range 4 {
		at := 0
		for i, v := range cor {
			if v > cor[at] {
				at = i
			}
		}
		lag := at
		if lag > most {
			lag -= n
		}
		out = append(out, guess{float64(lag) * changeHop, ppm, cor[at]})
		for i := at - 12; i <= at+12; i++ {
			cor[(i+n)%n] = 0
		}
	}
	return out
}

// stretch writes src as it would be on a clock ratio times slower and returns
// how much it wrote.
func stretch(dst, src []float64, ratio float64) int {
	n := min(len(dst), int(float64(len(src)-1)*ratio))
	for i := range n {
		x := float64(i) / ratio
		k := int(x)
		f := x - float64(k)
		dst[i] = src[k]*(1-f) + src[k+1]*f
	}
	return n
}

// fine refines a coarse lag by windowed correlation: first with a wide reach,
// then with b bent onto the first line. The last pass looks far again, so that
// windows which agree within half a millisecond do not agree by chance.
func fine(a, b *device, c guess) Match {
	size := windowSize(a, b)
	l := line{at: c.seconds, slope: c.ppm * 1e-6}
	none := Match{DriftErrPPM: math.Inf(1)}
	var m Match
	for _, pass := range []struct {
		reach, tolerance, slope float64
		count                   int
	}{{farReach, 0.003, 350e-6, 32}, {0.008, 0.001, 150e-6, fineCount}, {farReach, closest, 80e-6, fineCount}} {
		x, y, total := windows(a, b, l, size, pass.reach, pass.count)
		x, y = consensus(x, y, pass.tolerance, pass.slope)
		if len(x) < 4 {
			none.Windows = total
			return none
		}
		fit := fitLine(x, y, nil, 2e-5)
		if slices.Max(x)-slices.Min(x) < 8 {
			fit = line{at: robust.Median(slices.Clone(y)), sigma: fit.sigma, slopeErr: math.Inf(1)}
		}
		if math.Abs(l.slope+fit.slope) > 700e-6 {
			return none
		}
		l = line{at: l.at + fit.at, slope: l.slope + fit.slope, slopeErr: fit.slopeErr}
		m = Match{
			OffsetSeconds: l.at, DriftPPM: l.slope * 1e6, DriftErrPPM: fit.slopeErr * 1e6,
			Spread: fit.sigma, Windows: total, Agree: len(x),
		}
	}
	m.Confidence = agreement(m)
	if c, ok := byPhases(a, b, l, size, closest); ok && m.Sure() && !math.IsInf(m.DriftErrPPM, 1) {
		m.OffsetSeconds += c.at
		m.DriftPPM += c.slope * 1e6
	}
	m.level(a, b)
	return m
}

// Of the comparison of stretches: how far a lag is looked for, in seconds, how many there are,
// how near the last line they lie that agree, in seconds, and how far, in scatters, the peak of
// a correlation stands out that is believed.
const (
	farReach   = 0.1
	fineCount  = 64
	closest    = 0.0005
	windowPeak = 3.5
)

// windowSize returns how many samples of a are compared at a time: about a second, less of
// short recordings.
func windowSize(a, b *device) int {
	size := 1 << 14
	for size > 1<<12 && float64(size)/a.work > math.Min(a.seconds(), b.seconds())/4 {
		size /= 2
	}
	return size
}

// level keeps the middle of the overlap in place and claims no drift where the
// recordings are too short to tell the clocks apart.
func (m *Match) level(a, b *device) {
	if m.DriftErrPPM <= 10 {
		return
	}
	from, to := math.Max(0, m.OffsetSeconds), math.Min(a.seconds(), m.OffsetSeconds+b.seconds())
	m.OffsetSeconds += ((from+to)/2 - m.OffsetSeconds) * m.DriftPPM * 1e-6
	m.DriftPPM, m.DriftErrPPM = 0, math.Inf(1)
}

// consensus keeps the points that lie within tolerance of the line through
// two of them that has the most such points; steeper lines than slope do not
// count.
func consensus(x, y []float64, tolerance, slope float64) (kx, ky []float64) {
	best, bestAt, bestSlope := 0, 0.0, 0.0
	count := func(at, s float64) {
		n := 0
		for i := range x {
			if math.Abs(y[i]-at-s*x[i]) < tolerance {
				n++
			}
		}
		if n > best {
			best, bestAt, bestSlope = n, at, s
		}
	}
	for i := range x {
		count(y[i], 0)
		for j := range i {
			if dx := x[i] - x[j]; math.Abs(dx) > 5 {
				if s := (y[i] - y[j]) / dx; math.Abs(s) <= slope {
					count(y[i]-s*x[i], s)
				}
			}
		}
	}
	for i := range x {
		if math.Abs(y[i]-bestAt-bestSlope*x[i]) < tolerance {
			kx, ky = append(kx, x[i]), append(ky, y[i])
		}
	}
	return kx, ky
}

// agreement turns how many windows lie on one line into a confidence. In the
// last pass a window of unrelated sound lies on a given line once in two
// hundred times, but the line was chosen: among 60 pairs of different simulated
// players, most of them in the same piece, at most 5 of 64 windows agreed.
func agreement(m Match) float64 {
	return 1 - math.Exp(-math.Max(0, float64(m.Agree)-5))
}
