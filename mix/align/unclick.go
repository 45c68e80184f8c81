package align

import (
	"math"
	"slices"

	"ripieno/mix/audio"
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
	clickReach   = 0.005  // seconds from its place at which one is looked for while learning
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

// AnalyseWithoutClicks does what [Analyse] does, for a sound out of which the clicks of the guide
// were taken, given where its clicks lie: a file whose clicks sound on the beats of m at offset,
// by a clock that runs so much faster. before are the features of the whole sound, whose clicks
// the result keeps as Leaked. open is called twice; it returns the sound from its beginning.
// Where too few clicks sound alike in the count-in the result is before.
func AnalyseWithoutClicks(open func() (audio.Source, error), m *tempo.Map, offset, ppm float64,
	before *Features) (*Features, error) {
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
	f.Channels, f.Splices = before.Channels, before.Splices // what was taken out may leave some
	f.Leaked, f.ClickPPM = before.clicksAt(m, offset, ppm), ppm-1e6*c.slope
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

// clicksAt returns the events of the count-in that lie where clicks do.
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

// unclicked is a source without the clicks, in one channel.
type unclicked struct {
	src  audio.Source
	c    *clickSound
	in   audio.Block
	mono []float64
	buf  []float64 // read, from sample at on
	thin []float64 // the same between clickLow and clickHigh, clicks and all
	band *clickBand
	at   int
	next int     // the next click
	gain float64 // of the clicks of late
	done error
}

// newUnclicked returns src without the clicks that c knows. src is not closed by it.
func newUnclicked(src audio.Source, c *clickSound) *unclicked {
	return &unclicked{src: src, c: c, in: audio.NewBlock(src.Channels(), 1<<14), gain: 1,
		band: newClickBand(c.rate)}
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
	u.buf, u.thin = u.buf[:copy(u.buf, u.buf[n:])], u.thin[:copy(u.thin, u.thin[n:])]
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
		u.buf, u.thin = append(u.buf, u.mono...), u.band.write(u.thin, u.mono)
		u.done = err
	}
}

// exact returns the place between samples at which the sound of click k begins, and begin the
// sample nearest to it.
func (c *clickSound) exact(k int) float64 {
	return (c.at[k]+c.late+c.slope*c.at[k])*float64(c.rate) - float64(c.before)
}

func (c *clickSound) begin(k int) int { return int(math.Round(c.exact(k))) }

// clean takes the next click, which begins at sample i of the buffer, out of it, and lets it
// tell where the ones after it are and how loud.
func (u *unclicked) clean(i int) {
	c, k := u.c, u.next
	sound, shape := c.sound[c.kind[k]], c.shape[c.kind[k]]
	reach := int(clickTrack * float64(c.rate))
	if sound == nil || i < reach+2 || i+len(shape)+reach+3 > len(u.thin) {
		return
	}
	lag, r := bestLag(u.thin, i, shape, reach)
	known := math.Max(0, r) * math.Max(0, r)
	// Samples of the file, not of the buffer: how it is read changes no digit.
	exact := c.exact(k)
	at := exact + known*(float64(c.begin(k))+lag-exact)
	c.follow(k, known*(at-exact)/float64(c.rate))
	first := math.Floor(at)
	was := shifted(u.thin, at-first+float64(int(first)-u.at), len(shape))
	xy, xx := dot(was, shape), dot(was, was)
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
