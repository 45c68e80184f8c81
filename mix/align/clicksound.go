package align

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
	"ripieno/mix/tempo"
)

// clickSound is how the clicks of one file sound, and where they are.
type clickSound struct {
	rate   int
	at     []float64    // seconds of the file, of every beat that it holds but the cue's
	kind   []int        // of each, 1 on a downbeat
	sound  [2][]float64 // of each kind, from clickBefore before its beat; nil where unknown
	shape  [2][]float64 // of each, its body as it is where clicks are loud, see clickLow
	power  [2]float64   // of the shape of each
	late   float64      // seconds by which they come later than at says, at the first, and
	slope  float64      // by how much more every second
	body   int          // samples of the body, and
	before int          // before the beat
}

// learnClicks listens to the count-in of a file. It returns nil where too few clicks of it
// sound alike.
func learnClicks(src audio.Source, m *tempo.Map, offset, ppm float64) (*clickSound, error) {
	c := &clickSound{rate: src.Rate()}
	c.body, c.before = int(clickBody*float64(c.rate)), int(clickBefore*float64(c.rate))
	ratio, shortest, count := audio.PPM(ppm).Ratio(), math.Inf(1), 0
	for b := range m.Beats() {
		at := (b.Seconds - offset) / ratio
		if at < 2*clickBefore || b.Cue {
			continue // a clap is not to be touched
		}
		kind := 0
		if b.Downbeat {
			kind = 1
		}
		c.at, c.kind = append(c.at, at), append(c.kind, kind)
		shortest = math.Min(shortest, b.Length)
		if b.CountIn {
			count++
		}
	}
	if count < 2*clickFew {
		return nil, nil
	}
	length := int(math.Min(clickLength, 0.8*shortest) * float64(c.rate))
	x, err := readMono(src, int((c.at[count-1]+1)*float64(c.rate))+length)
	if err != nil {
		return nil, err
	}
	if !c.learn(x, count, length) {
		return nil, nil
	}
	return c, nil
}

// readMono reads up to so many frames of a source as one channel.
func readMono(src audio.Source, frames int) ([]float64, error) {
	var out, mono []float64
	for b, err := range audio.Blocks(src, 1<<14) {
		if err != nil {
			return nil, err
		}
		mono = mixdown(mono, b, b.Frames())
		if out = append(out, mono...); len(out) >= frames {
			break
		}
	}
	return out, nil
}

// learn finds the sound of either kind in x among the first count clicks, and their clock.
func (c *clickSound) learn(x []float64, count, length int) bool {
	y := newClickBand(c.rate).write(nil, x)
	reach := int(clickReach * float64(c.rate))
	var when, late []float64
	for kind := range c.sound {
		var at []int // samples at which a click of the kind should begin
		for k := range count {
			i := int(math.Round(c.at[k]*float64(c.rate))) - c.before
			if c.kind[k] == kind && i >= reach && i+length+reach < len(x) {
				at = append(at, i)
			}
		}
		if len(at) < clickFew {
			continue
		}
		shape, lags := c.alike(y, at, reach)
		if shape == nil {
			continue
		}
		c.shape[kind], c.sound[kind] = shape, medianSound(x, at, lags, length)
		fadeOut(c.sound[kind])
		for _, v := range shape {
			c.power[kind] += v * v
		}
		for i, lag := range lags {
			if !math.IsNaN(lag) {
				when, late = append(when, float64(at[i]+c.before)/float64(c.rate)), append(late, lag/float64(c.rate))
			}
		}
	}
	if len(when) < 2*clickFew {
		return false
	}
	l := fitLine(when, late, nil, 5e-5)
	c.late, c.slope = l.value(0), l.slope
	return true
}

// alike returns the median shape of those clicks at some places of y that are alike, and by
// how many samples each of them comes late; NaN for one that is not.
func (c *clickSound) alike(y []float64, at []int, reach int) (shape, lags []float64) {
	head := c.before + c.body
	best := math.Inf(-1)
	for _, i := range at { // the one that is likest to all others leads
		var sum float64
		for _, j := range at {
			_, r := bestLag(y, j, y[i:i+head], reach)
			sum += r
		}
		if sum > best {
			best, shape = sum, y[i:i+head]
		}
	}
	for range 2 {
		lags = lags[:0]
		found := 0
		for _, i := range at {
			lag, r := bestLag(y, i, shape, reach)
			if r < clickAlike {
				lag = math.NaN()
			} else {
				found++
			}
			lags = append(lags, lag)
		}
		if found < clickFew {
			return nil, nil
		}
		shape = medianSound(y, at, lags, head)
	}
	return shape, lags
}

// medianSound returns the median of the stretches of x that begin so many samples after some
// places; those whose lag is NaN are left out.
func medianSound(x []float64, at []int, lags []float64, length int) []float64 {
	var rows [][]float64
	for k, i := range at {
		if !math.IsNaN(lags[k]) {
			rows = append(rows, shifted(x, float64(i)+lags[k], length))
		}
	}
	out, column := make([]float64, length), make([]float64, len(rows))
	for k := range out {
		for r := range rows {
			column[r] = rows[r][k]
		}
		out[k] = robust.Median(column)
	}
	return out
}

// clickLow and clickHigh are between which frequencies in hertz clicks are compared: there
// guides click and headphones leak, over rumble and under hiss.
const (
	clickLow  = 900
	clickHigh = 5000
)

// clickBand lets through what lies between them.
type clickBand struct{ pass, idle *band }

func newClickBand(rate int) *clickBand {
	return &clickBand{newBand(clickLow, clickHigh, float64(rate)), &band{}}
}

// write appends to out what of x lies between clickLow and clickHigh.
func (b *clickBand) write(out, x []float64) []float64 {
	if b.pass == nil {
		return append(out, x...) // a file that holds nothing above
	}
	n := len(out)
	out = append(out, x...)
	filter(b.pass, b.idle, x, out[n:], make([]float64, len(x)))
	return out
}

// fadeOut lets the last quarter of a sound die away.
func fadeOut(x []float64) {
	from := 3 * len(x) / 4
	for i := from; i < len(x); i++ {
		x[i] *= 0.5 + 0.5*math.Cos(math.Pi*float64(i-from)/float64(len(x)-from))
	}
}

// bestLag returns by how many samples from at the stretch of x begins that is likest to ref, up
// to reach either way, and the correlation of the two, -1 to 1.
func bestLag(x []float64, at int, ref []float64, reach int) (lag, r float64) {
	values := make([]float64, 2*reach+1)
	best, yy := reach, 1e-20
	for _, v := range ref {
		yy += v * v
	}
	for j := range values {
		i := at + j - reach
		if i < 0 || i+len(ref) > len(x) {
			continue
		}
		var xx float64
		for _, v := range x[i : i+len(ref)] {
			xx += v * v
		}
		values[j] = dot(x[i:i+len(ref)], ref) / (math.Sqrt(xx*yy) + 1e-20)
		if values[j] > values[best] {
			best = j
		}
	}
	lag = float64(best - reach)
	if best > 0 && best < len(values)-1 {
		lag += parabola(values[best-1], values[best], values[best+1])
	}
	return lag, values[best]
}

// shifted returns n samples of x from a place between samples on, along the cubic through
// the four that are nearest.
func shifted(x []float64, from float64, n int) []float64 {
	i, f := int(math.Floor(from)), from-math.Floor(from)
	w := [4]float64{-f * (f - 1) * (f - 2) / 6, (f + 1) * (f - 1) * (f - 2) / 2,
		-(f + 1) * f * (f - 2) / 2, (f + 1) * f * (f - 1) / 6}
	out := make([]float64, n)
	for k := range out {
		for j, v := range w {
			if at := i + k + j - 1; at >= 0 && at < len(x) {
				out[k] += v * x[at]
			}
		}
	}
	return out
}
