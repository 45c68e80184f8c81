package mix

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"ripieno/mix/audio"
	"ripieno/mix/limit"
	"ripieno/mix/loudness"
)

// Measured is what a meter says about a whole programme.
type Measured struct {
	Integrated loudness.LUFS  // −Inf: silence, or less than 0.4 s
	TruePeak   audio.Decibels // dBTP
	Range      loudness.LU
	MaxShort   loudness.LUFS
	Seconds    float64
}

// MasterReport tells what Master did.
type MasterReport struct {
	Before, After Measured
	Target        loudness.LUFS
	Ceiling       audio.Decibels
	Gain          audio.Decibels // before the limiter
	Most          audio.Decibels // the most that Gain may be
	Inner         audio.Decibels // the limiter's own ceiling: Ceiling, or a little under it
	Reduction     audio.Decibels // deepest cut of the limiter, 0 or negative
	Limited       float64        // share of the time cut by more than 0.1 dB
	Reached       bool           // After.Integrated is within Tolerance of Target
	Reason        string         // why not, in a few words
	Passes        int            // how many times the programme was read
}

// SearchVersion is the version of how the gain is searched. It belongs in the key of
// whatever is mastered by it.
const SearchVersion = 2

const (
	// Tolerance is how near the target the loudness has to come.
	Tolerance = loudness.LU(0.1)
	// MostMakeUp is the most a soft programme is brought up: beyond it one
	// amplifies noise. The choice is ours.
	MostMakeUp = audio.Decibels(36)
	// MostPush is how far the gain may go beyond what the programme would
	// need without a limiter. Where limiting costs more loudness than that,
	// the programme is flattened rather than made louder. The choice is ours.
	MostPush = audio.Decibels(6)

	mostPasses = 8

	// besideStep is how much louder gains are that are tried at the same time as the
	// first one where the limiter will cut: what it costs shows how much more is needed,
	// and nobody waits for a pass after the other (the choice is ours).
	besideStep = audio.Decibels(1.5)
)

// Master finds the gain with which the programme, after its true peaks are
// limited to ceiling, has the target loudness, and returns the programme
// mastered so. open starts the programme from its beginning; it is called three
// or four times, by up to three goroutines at once, so give it something that is quick to read,
// such as a file the PreMaster was written to. A source that is an io.Closer is closed after each
// pass; the result is one too.
//
// A target that cannot be reached is not an error: the report says so and why,
// and the result is as near as is reasonable. A programme without loudness
// keeps its level. target and ceiling must be finite.
func Master(open func() (audio.Source, error), target loudness.LUFS,
	ceiling audio.Decibels) (audio.Source, MasterReport, error) {
	m := &master{open: open, report: MasterReport{Target: target, Ceiling: ceiling}}
	if err := m.check(); err != nil {
		return nil, m.report, err
	}
	before, _, err := m.pass(nil)
	if err != nil {
		return nil, m.report, err
	}
	report, err := SearchGain(open, before, target, ceiling)
	report.Passes++
	if err != nil {
		return nil, report, err
	}
	src, err := open()
	if err != nil {
		return nil, report, err
	}
	return Finish(src, report), report, nil
}

// SearchGain returns the search of [Master] for a programme that was measured
// before: it reads the programme once for every gain it tries, most often once
// or twice, and leaves the mastering to [Finish].
func SearchGain(open func() (audio.Source, error), before Measured, target loudness.LUFS,
	ceiling audio.Decibels) (MasterReport, error) {
	m := &master{open: open, report: MasterReport{Target: target, Ceiling: ceiling, Inner: ceiling, Before: before}}
	err := m.check()
	if err == nil {
		err = m.search()
	}
	return m.report, err
}

// Finish returns src with the report's Gain, limited to its Inner ceiling. The
// result is an [io.Closer] that closes src.
func Finish(src audio.Source, r MasterReport) *Finished {
	return &Finished{Source: limit.NewSource(&amplified{src, r.Gain.Gain()}, r.Inner), under: src}
}

// check refuses targets that are no levels.
func (m *master) check() error {
	target, ceiling := m.report.Target, m.report.Ceiling
	if !(math.Abs(float64(target)) <= 200) || !(math.Abs(float64(ceiling)) <= 200) {
		return fmt.Errorf("mix: cannot master to %v LUFS under %v dBTP", float64(target), float64(ceiling))
	}
	return nil
}

// master is a search for the gain.
type master struct {
	open   func() (audio.Source, error)
	report MasterReport
}

// tried is a gain and what the programme is like with it.
type tried struct {
	gain    audio.Decibels
	got     Measured
	limiter *limit.Source
}

// pass reads the programme once and measures it: mastered with a gain, or as
// it is.
func (m *master) pass(gain *audio.Decibels) (Measured, *limit.Source, error) {
	src, err := m.open()
	if err != nil {
		return Measured{}, nil, err
	}
	programme, limiter := src, (*limit.Source)(nil)
	if gain != nil {
		finished := Finish(src, MasterReport{Gain: *gain, Inner: m.report.Inner})
		programme, limiter = finished, finished.Source
	}
	got, err := Measure(programme)
	if e := audio.Close(src); err == nil {
		err = e
	}
	return got, limiter, err
}

// search finds the gain by the secant method. Loudness after the limiter rises
// with the gain, by at most as much, so steps never overshoot for long.
func (m *master) search() error {
	r := &m.report
	gain, most, reason := audio.Decibels(0), audio.Decibels(0),
		"the programme has no loudness: it is silent or shorter than 0.4 s"
	if silent := math.IsInf(float64(r.Before.Integrated), 0); !silent {
		gain = audio.Decibels(r.Target - r.Before.Integrated)
		most = gain + MostPush
		reason = fmt.Sprintf("the peaks under the ceiling leave no room: %v dB more of gain do not bring it up",
			float64(MostPush))
		if most > MostMakeUp {
			most = MostMakeUp
			reason = fmt.Sprintf("the programme is too soft: %v dB of gain are the most", float64(MostMakeUp))
		}
		gain = min(gain, most)
	}
	r.Most = most
	gains := []audio.Decibels{gain}
	if r.Before.TruePeak+gain > r.Ceiling {
		gains = append(gains, gain+besideStep, gain+2*besideStep)
	}
	var known []tried // nearest to the target first
	for try := 0; ; try++ {
		now, err := m.try(gains)
		if err != nil {
			return err
		}
		known = append(now, known...)
		m.sort(known)
		m.note(known[0])
		miss := float64(r.Target - r.After.Integrated)
		over := r.After.TruePeak - r.Ceiling
		r.Reached = math.Abs(miss) <= float64(Tolerance)/2
		if over > 0 && try < mostPasses {
			r.Inner -= over + 0.01
			gains, known = []audio.Decibels{r.Gain}, nil
			continue
		}
		stuck := math.IsInf(miss, 0) || (r.Gain >= most && miss > 0)
		if r.Reached || stuck || try >= mostPasses {
			break
		}
		gains = []audio.Decibels{min(r.Gain+step(r.Target, known), most)}
	}
	// The search aims at half the tolerance; the whole of it still counts.
	r.Reached = math.Abs(float64(r.Target-r.After.Integrated)) <= float64(Tolerance)
	if !r.Reached {
		r.Reason = reason
	}
	return nil
}

// try masters with some gains at the same time, as far as they are allowed.
func (m *master) try(gains []audio.Decibels) ([]tried, error) {
	for len(gains) > 1 && gains[len(gains)-1] > m.report.Most {
		gains = gains[:len(gains)-1]
	}
	list, wrong := make([]tried, len(gains)), make([]error, len(gains))
	var trying sync.WaitGroup
	for i, gain := range gains {
		list[i].gain = gain
		trying.Go(func() { list[i].got, list[i].limiter, wrong[i] = m.pass(&gain) })
	}
	trying.Wait()
	m.report.Passes += len(gains)
	return list, cmp.Or(wrong...)
}

// sort puts what comes nearest to the target first.
func (m *master) sort(list []tried) {
	slices.SortStableFunc(list, func(a, b tried) int {
		return cmp.Compare(math.Abs(float64(m.report.Target-a.got.Integrated)),
			math.Abs(float64(m.report.Target-b.got.Integrated)))
	})
}

// note makes a result that of the search.
func (m *master) note(t tried) {
	r := &m.report
	r.Gain, r.After = t.gain, t.got
	r.Reduction = t.limiter.Reduction()
	r.Limited = 0
	if t.got.Seconds > 0 {
		r.Limited = float64(t.limiter.Lowered()) / (t.got.Seconds * float64(t.limiter.Rate()))
	}
}

// step returns by how much the first gain of a list has to change for the target: by a
// parabola through the first three, a line through the first two, or as if nothing were
// limited. Loudness rises with the gain, by at most as much; where it hardly does, no step
// is longer than five times what is missing.
func step(target loudness.LUFS, known []tried) audio.Decibels {
	at := func(i int) (gain, off float64) {
		return float64(known[i].gain - known[0].gain), float64(known[i].got.Integrated - target)
	}
	_, a := at(0)
	fits := func(s float64) bool { return s*a < 0 && math.Abs(s) >= math.Abs(a) && math.Abs(s) <= 5*math.Abs(a) }
	if len(known) > 2 {
		x, b := at(1)
		y, c := at(2)
		if s := x*a*c/((b-a)*(b-c)) + y*a*b/((c-a)*(c-b)); fits(s) {
			return audio.Decibels(s)
		}
	}
	if len(known) > 1 {
		if x, b := at(1); b != a && x != 0 {
			return audio.Decibels(-a / math.Max((b-a)/x, 0.2))
		}
	}
	return audio.Decibels(-a)
}

// Measure reads a programme to its end and says how loud it is. It meters while the next
// frames are read. It fails with src.
func Measure(src audio.Source) (Measured, error) {
	m := NewMetered(audio.NewAhead(src)) // ends by itself: it is read to the end
	for _, err := range audio.Blocks(m, block) {
		if err != nil {
			return m.Measured(), err
		}
	}
	return m.Measured(), nil
}

// Metered is a source that measures what is read from it, so that a file is
// measured while it is written. Close closes what is under it.
type Metered struct {
	audio.Source
	meter *loudness.Meter
}

// NewMetered meters src.
func NewMetered(src audio.Source) *Metered {
	return &Metered{src, loudness.NewMeter(src.Channels(), src.Rate())}
}

// NewLoudness does what [NewMetered] does for loudness alone, at half the cost: the true peak
// is NaN.
func NewLoudness(src audio.Source) *Metered {
	return &Metered{src, loudness.NewMeter(src.Channels(), src.Rate()).WithoutPeaks()}
}

// Read implements [audio.Source].
func (m *Metered) Read(dst audio.Block) (int, error) {
	n, err := m.Source.Read(dst)
	m.meter.Write(dst.Slice(0, n))
	return n, err
}

// Meter returns the running meter, for curves over time.
func (m *Metered) Meter() *loudness.Meter { return m.meter }

// Measured returns the loudness of what was read so far.
func (m *Metered) Measured() Measured {
	return Measured{
		Integrated: m.meter.Integrated(), TruePeak: m.meter.TruePeak(), Range: m.meter.Range(),
		MaxShort: m.meter.MaxS(), Seconds: m.meter.Seconds(),
	}
}

// Close closes what is metered, if it can be closed.
func (m *Metered) Close() error { return audio.Close(m.Source) }

// Finished is a mastered programme. Besides [audio.Source] it tells how hard
// the limiter had to work.
type Finished struct {
	*limit.Source
	under audio.Source
}

// Close closes the programme that is mastered.
func (m *Finished) Close() error { return audio.Close(m.under) }

// amplified is a source with a gain.
type amplified struct {
	audio.Source
	gain float64
}

// Read implements [audio.Source].
func (a *amplified) Read(dst audio.Block) (int, error) {
	n, err := a.Source.Read(dst)
	for _, ch := range dst {
		for i := range ch[:n] {
			ch[i] *= a.gain
		}
	}
	return n, err
}
