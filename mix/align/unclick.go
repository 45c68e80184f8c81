package align

import (
	"io"
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
	"ripieno/mix/tempo"
)

// A guide that leaks loudly from headphones hides the beginnings of the notes that it falls
// on. It is our own: its clicks come when the tempo map says and sound alike, whatever
// headphones, room and microphone make of them. So their sound is learned in the count-in,
// where nobody plays, and taken out of the whole file.

// Bounds of what is learned and taken out.
const (
	clickLoud    = 30.0   // dB under the file's loud moments from which clicks are taken out
	clickBefore  = 0.006  // seconds before its beat at which the sound of a click begins
	clickLength  = 0.30   // seconds that it lasts at most, room and all
	clickBody    = 0.012  // seconds of it that tell where and how loud it is
	clickFew     = 3      // clicks of a kind there must be
	clickAlike   = 0.5    // correlation from which one is like the others
	clickReach   = 0.003  // seconds from its place at which one is looked for while learning
	clickTrack   = 0.0003 // seconds from its place at which one is looked for afterwards
	clickLouder  = 1.6    // times as loud as usual that a click may be at most
	clickGains   = 0.15   // by which the loudness of clicks changes from one to the next
	clickFree    = 40.0   // independent samples of other sound in the body of a click
	clickSteady  = 0.25   // how much the newest click tells where the next will be, and
	clickSteered = 0.03   // how much it tells of the clock
)

// LoudLeak reports whether clicks of the guide leaked into a file so loudly that its notes
// are better heard without them.
func (p Placement) LoudLeak(f *Features) bool {
	return f != nil && !math.IsNaN(p.ClickOffset) && p.Method != NoMethod && p.ClickDB > f.LoudDB-clickLoud
}

// AnalyseWithoutClicks is [Analyse] of a sound out of which the clicks of the guide were
// taken, given where its clicks lie: a file whose clicks sound on the beats of m at offset,
// by a clock that runs so much faster. before are the features of the whole sound, whose
// clicks the result keeps as Leaked. open is called twice; it returns the sound from its
// beginning. Where too few clicks sound alike in the count-in the result is before.
func AnalyseWithoutClicks(open func() (audio.Source, error), m *tempo.Map, offset, ppm float64, before *Features) (*Features, error) {
	src, err := open()
	if err != nil {
		return nil, err
	}
	c, err := learnClicks(src, m, offset, ppm)
	if err := errorsOf(err, audio.Close(src)); err != nil {
		return nil, err
	}
	if c == nil {
		return before, nil
	}
	if src, err = open(); err != nil {
		return nil, err
	}
	f, err := Analyse(newUnclicked(src, c))
	if err := errorsOf(err, audio.Close(src)); err != nil {
		return nil, err
	}
	f.Channels = before.Channels
	f.Leaked = before.clicksAt(m, offset, ppm)
	return f, nil
}

// errorsOf returns the first error that is one.
func errorsOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// clicksAt are the events of the count-in that lie where clicks do.
func (f *Features) clicksAt(m *tempo.Map, offset, ppm float64) []Event {
	out := slices.Clone(f.Leaked)
	ratio := audio.PPM(ppm).Ratio()
	for b := range m.Beats() {
		if !b.CountIn {
			break
		}
		at := (b.Seconds - offset) / ratio
		for _, e := range f.Events {
			if math.Abs(e.Time-at) < clickScatter {
				out = append(out, e)
			}
		}
	}
	return out
}

// clickSound is how the clicks of one file sound, and where they are.
type clickSound struct {
	rate   int
	at     []float64    // seconds of the file, of every beat that it holds but the cue's
	kind   []int        // of each, 1 on a downbeat
	sound  [2][]float64 // of each kind, from clickBefore before its beat; nil where unknown
	power  [2]float64   // of the body of each
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
	buf := audio.NewBlock(src.Channels(), 1<<14)
	for len(out) < frames {
		n, err := src.Read(buf)
		mono = mixdown(mono, buf, n)
		out = append(out, mono...)
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// learn finds the sound of either kind in x among the first count clicks, and their clock.
func (c *clickSound) learn(x []float64, count, length int) bool {
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
		sound, lags := c.alike(x, at, length, reach)
		if sound == nil {
			continue
		}
		c.sound[kind] = sound
		for _, v := range sound[:c.before+c.body] {
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

// alike returns the median sound of those clicks at some places of x that sound alike, and by
// how many samples each of them comes late; NaN for one that does not.
func (c *clickSound) alike(x []float64, at []int, length, reach int) (sound, lags []float64) {
	head := c.before + c.body
	ref := slices.Clone(x[at[0] : at[0]+head])
	best := math.Inf(-1)
	for _, i := range at { // the one that is likest to all others leads
		var sum float64
		for _, j := range at {
			_, r := bestLag(x, j, x[i:i+head], reach)
			sum += r
		}
		if sum > best {
			best = sum
			copy(ref, x[i:i+head])
		}
	}
	for range 2 {
		lags = lags[:0]
		var rows [][]float64
		for _, i := range at {
			lag, r := bestLag(x, i, ref, reach)
			if r < clickAlike {
				lags = append(lags, math.NaN())
				continue
			}
			lags = append(lags, lag)
			rows = append(rows, shifted(x, float64(i)+lag, length))
		}
		if len(rows) < clickFew {
			return nil, nil
		}
		sound = make([]float64, length)
		column := make([]float64, len(rows))
		for k := range sound {
			for r := range rows {
				column[r] = rows[r][k]
			}
			sound[k] = robust.Median(column)
		}
		copy(ref, sound[:head])
	}
	fadeOut(sound)
	return sound, lags
}

// fadeOut lets the last quarter of a sound die away.
func fadeOut(x []float64) {
	from := 3 * len(x) / 4
	for i := from; i < len(x); i++ {
		x[i] *= 0.5 + 0.5*math.Cos(math.Pi*float64(i-from)/float64(len(x)-from))
	}
}

// bestLag is by how many samples from at the stretch of x begins that is likest to ref, up to
// reach either way, and the correlation of the two. What is compared is how they move, so
// that no rumble counts.
func bestLag(x []float64, at int, ref []float64, reach int) (lag, r float64) {
	values := make([]float64, 2*reach+1)
	best := reach
	for j := range values {
		i := at + j - reach
		if i < 1 || i+len(ref) > len(x) {
			continue
		}
		var xy, xx, yy float64
		for k := 1; k < len(ref); k++ {
			a, b := x[i+k]-x[i+k-1], ref[k]-ref[k-1]
			xy, xx, yy = xy+a*b, xx+a*a, yy+b*b
		}
		values[j] = xy / (math.Sqrt(xx*yy) + 1e-20)
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
	w := [4]float64{-f * (f - 1) * (f - 2) / 6, (f + 1) * (f - 1) * (f - 2) / 2, -(f + 1) * f * (f - 2) / 2, (f + 1) * f * (f - 1) / 6}
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

// unclicked is a source without the clicks, in one channel.
type unclicked struct {
	src  audio.Source
	c    *clickSound
	in   audio.Block
	mono []float64
	buf  []float64 // read, from sample at on
	at   int
	next int     // the next click
	gain float64 // of the clicks of late
	done error
}

func newUnclicked(src audio.Source, c *clickSound) *unclicked {
	return &unclicked{src: src, c: c, in: audio.NewBlock(src.Channels(), 1<<14), gain: 1}
}

// Rate implements [audio.Source].
func (u *unclicked) Rate() int { return u.c.rate }

// Channels implements [audio.Source].
func (u *unclicked) Channels() int { return 1 }

// Read implements [audio.Source].
func (u *unclicked) Read(dst audio.Block) (int, error) {
	want := dst.Frames()
	ready := u.prepare(want)
	n := copy(dst[0], u.buf[:min(want, ready)])
	u.buf = u.buf[:copy(u.buf, u.buf[n:])]
	u.at += n
	if n == 0 {
		return 0, u.done
	}
	return n, nil
}

// prepare reads and cleans until so many samples are ready, or all are, and returns how many
// are.
func (u *unclicked) prepare(want int) int {
	for {
		ready := len(u.buf)
		for u.next < len(u.c.at) {
			begin := u.c.begin(u.next) - u.at
			margin := int(2 * clickTrack * float64(u.c.rate))
			end := begin + len(u.c.sound[u.c.kind[u.next]]) + margin
			if u.done == nil && end > len(u.buf) {
				ready = max(0, min(ready, begin-margin))
				break
			}
			u.clean(begin)
			u.next++
		}
		if ready >= want || u.done != nil {
			return ready
		}
		n, err := u.src.Read(u.in)
		u.mono = mixdown(u.mono, u.in, n)
		u.buf = append(u.buf, u.mono...)
		u.done = err
	}
}

// exact is the place between samples at which the sound of click k begins, and begin the
// sample nearest to it.
func (c *clickSound) exact(k int) float64 {
	return (c.at[k]+c.late+c.slope*c.at[k])*float64(c.rate) - float64(c.before)
}

func (c *clickSound) begin(k int) int { return int(math.Round(c.exact(k))) }

// clean takes the next click, which begins at sample i of the buffer, out of it, and lets it
// tell where the ones after it are and how loud.
func (u *unclicked) clean(i int) {
	c, k := u.c, u.next
	sound := c.sound[c.kind[k]]
	head := c.before + c.body
	reach := int(clickTrack * float64(c.rate))
	if sound == nil || i < reach+2 || i+head+reach+3 > len(u.buf) {
		return
	}
	lag, r := bestLag(u.buf, i, sound[:head], reach)
	known := math.Max(0, r) * math.Max(0, r)
	// Samples of the file, not of the buffer: how it is read changes no digit.
	exact := c.exact(k)
	at := exact + known*(float64(c.begin(k))+lag-exact)
	c.follow(k, known*(at-exact)/float64(c.rate))
	first := math.Floor(at)
	was := shifted(u.buf, at-first+float64(int(first)-u.at), head)
	var xy, xx float64
	for n, v := range was {
		xy, xx = xy+v*sound[n], xx+v*v
	}
	// What else sounds there tells how well the loudness of this one is known.
	power := c.power[c.kind[k]] + 1e-20
	gain := xy / power
	rest := math.Max(0, xx-gain*xy) / (clickFree * power)
	known = clickGains * clickGains / (clickGains*clickGains + rest)
	gain = u.gain + known*(math.Max(0, math.Min(clickLouder, gain))-u.gain)
	u.gain += 0.5 * (gain - u.gain)
	for n, v := range shifted(sound, first-at, len(sound)+1) {
		if j := int(first) - u.at + n; j >= 0 && j < len(u.buf) {
			u.buf[j] -= gain * v
		}
	}
}

// follow lets click k, which came later than expected by off seconds, say where those after
// it will come.
func (c *clickSound) follow(k int, off float64) {
	c.late += clickSteady * off
	if k == 0 {
		return
	}
	// The slope turns about this click, so that what was just corrected stays.
	turn := clickSteered * off / math.Max(1, c.at[k]-c.at[0])
	c.slope += turn
	c.late -= turn * c.at[k]
}
