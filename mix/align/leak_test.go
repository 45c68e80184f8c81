package align

import (
	"math"
	"testing"
)

// leaky is a file with a clap, with clicks leaking in on all beats, and with
// notes that are late.
func leaky(t *testing.T, clicks bool) (*grid, *take, float64) {
	t.Helper()
	m := piece(t, 16, 4, 80)
	const rate, offset, late = 16000, -6.2, 0.028
	x := sketch(rate, m.End()+1-offset, 31, m.Cue()-offset)
	for b := range m.Beats() {
		if clicks && !b.Cue {
			for i := range 160 {
				age := float64(i) / rate
				x[int((b.Seconds-offset)*rate)+i] += 0.004 * math.Sin(2*math.Pi*1700*age) * math.Exp(-age/0.003)
			}
		}
		if !b.CountIn && b.Number != 2 {
			for i := range 6400 {
				age := float64(i) / rate
				x[int((b.Seconds+late-offset)*rate)+i] += 0.2 * math.Sin(2*math.Pi*300*age) * math.Exp(-age/0.1)
			}
		}
	}
	g := newGrid(m)
	return g, newTake(&Recording{Name: "x", Features: analyse(t, rate, x)}), offset
}

// Clicks that leak tell where the file lies, and must not be taken for the
// playing, which is late against them.
func TestLeakingClicks(t *testing.T) {
	g, k, offset := leaky(t, true)
	c := k.leak(g, &hyp{cue: -1, o: offset})
	if c.odds < 5 || math.Abs(c.late) > 0.004 || c.level > -45 {
		t.Errorf("clicks not recognised: %+v", c)
	}
	slipped := k.leak(g, &hyp{cue: -1, o: offset + 0.75})
	if slipped.odds > c.odds-2 {
		t.Errorf("a beat off the clicks count %.1f, right they count %.1f", slipped.odds, c.odds)
	}
	p := Place(piece(t, 16, 4, 80), []Recording{*k.rec}, nil)[0]
	if off := p.Offset - (offset - 0.028); !p.Sure || math.Abs(off) > 0.006 {
		t.Errorf("placed %.1f ms off its playing: %+v", 1000*off, p)
	}
	if math.Abs(p.ClickDB-c.level) > 3 {
		t.Errorf("clicks at %.1f dBFS, heard %.1f", p.ClickDB, c.level)
	}
	if math.Abs(p.Lateness-0.028) > 0.006 {
		t.Errorf("lateness %.1f ms, truth 28", 1000*p.Lateness)
	}
}

func TestNoClicks(t *testing.T) {
	g, k, offset := leaky(t, false)
	c := k.leak(g, &hyp{cue: -1, o: offset})
	if c.odds > 1 {
		t.Errorf("clicks heard where there are none: %+v", c)
	}
	if p := Place(piece(t, 16, 4, 80), []Recording{*k.rec}, nil)[0]; !math.IsNaN(p.ClickDB) {
		t.Errorf("clicks at %.1f dBFS where there are none", p.ClickDB)
	}
	if c.holds(g, Event{Level: -60}, 3, false) {
		t.Error("an event counts as a click where there are none")
	}
	late := newTake(&Recording{Features: k.f})
	if c := late.leak(g, &hyp{cue: -1, o: g.start - 1}); c.odds != 0 {
		t.Errorf("a file that misses the count-in has clicks: %+v", c)
	}
}

// A take without a clap that hears the guide lies where its clicks say, within what its
// playing adds; and clicks are no rivals of a clap that is as loud as they are.
func TestClicksTellThePlace(t *testing.T) {
	g, k, offset := leaky(t, true)
	h := hyp{cue: -1, o: offset + 0.004}
	h.clicks = k.leak(g, &h)
	if by := k.byClicks(h); math.Abs(by-offset) > 0.001 {
		t.Errorf("%.2f ms off by the clicks", 1000*(by-offset))
	}
	if at := k.byClicks(hyp{}); !math.IsNaN(at) {
		t.Errorf("without clicks the file lies at %g", at)
	}
	k.hyps = []hyp{h}
	if !k.hideClicks(g) {
		t.Fatal("no clicks to hide")
	}
	for i, e := range k.f.Events {
		at := k.guide(offset, i)
		click := at < g.start-0.1 && math.Abs(at-g.beatNear(at)) < 0.004 && math.Abs(at-g.cue) > 0.1
		if click && k.rank[i] <= 3 {
			t.Errorf("a click at %.2f s of %.0f dB is number %d of the cues", e.Time, e.Level, k.rank[i])
		}
	}
}

// Clap and playing weigh by what each knows, so playing that is too soft to tell much moves a
// take little; where the two contradict each other the error to expect says so.
func TestTighten(t *testing.T) {
	for _, c := range []struct {
		byPlay, err float64 // by which the playing is placed, seconds; its error
		from, to    float64 // by how much it moves the take
		least       float64 // error to expect
	}{
		{0.020, 0.004, 0.018, 0.020, 0.003},
		{0.020, 0.022, 0.006, 0.008, 0.015},    // less than its own doubt
		{0.020, 0.030, 0.002, 0.004, 0.016},    // the softest, which err by more than they say
		{0.080, 0.060, 0.002, 0.02, clapSigma}, // soft, and far off
		{0.100, 0.012, 0, 0.055, clapSigma},    // clear, and far off: no farther than that
	} {
		var p Placement
		p.tighten(0, clapSigma, c.byPlay, playing{err: c.err, doubt: c.err})
		if p.Offset < c.from-1e-9 || p.Offset > c.to || p.Uncertainty < c.least {
			t.Errorf("playing at %.0f ms ± %.0f: moved %.1f ms ± %.1f", 1e3*c.byPlay, 1e3*c.err, 1e3*p.Offset, 1e3*p.Uncertainty)
		}
	}
}

// Clap and notes without doubt are known together as two normal errors are; soft notes less well,
// since those err by far more than usual oftener than normal errors do.
func TestSoftNotesExpectLargerErrors(t *testing.T) {
	expect := func(doubt float64) float64 {
		var p Placement
		p.tighten(0, clapSigma, 0.005, playing{err: 0.02, doubt: doubt})
		return p.Uncertainty
	}
	sharp, soft := expect(0), expect(0.02)
	both := clapSigma * 0.02 / math.Hypot(clapSigma, 0.02)
	if want := math.Hypot(both, doubtShare*0.02); math.Abs(soft-want) > 1e-9 || math.Abs(sharp-both) > 1e-9 {
		t.Errorf("sharp notes expect %.1f ms, soft ones %.1f, want %.1f", 1e3*sharp, 1e3*soft, 1e3*want)
	}
}

// Notes that begin sharply may take a file farther from an early clap than soft ones, since
// nothing about them can be heard early as a whole.
func TestSharpNotesOutweighAnEarlyClap(t *testing.T) {
	moved := func(doubt float64) float64 {
		var p Placement
		p.tighten(0, clapSigma, 0.055, playing{err: 0.01, doubt: doubt})
		return p.Offset
	}
	sharp, soft := moved(0), moved(0.02)
	if sharp < 0.035 || soft > mostTightened+1e-9 || soft < 0.02 {
		t.Errorf("sharp notes move a take by %.1f ms, soft ones by %.1f", 1e3*sharp, 1e3*soft)
	}
}

// What clicks say of a file's clock is believed, unless the user says something else or no
// clock is so wrong.
func TestClickClock(t *testing.T) {
	given := 20.0
	clicks := []Event{{Time: 1}}
	for _, c := range []struct {
		rec     Recording
		ppm     float64
		clocked bool
	}{
		{Recording{Features: &Features{Leaked: clicks, ClickPPM: -60}}, -60, true},
		{Recording{Features: &Features{Leaked: clicks, ClickPPM: -60}, DriftPPM: &given}, 20, true},
		{Recording{Features: &Features{Leaked: clicks, ClickPPM: 5000}}, 0, false},
		{Recording{Features: &Features{ClickPPM: -60}}, 0, false},
		{Recording{}, 0, false},
	} {
		k := newTake(&c.rec)
		if k.ppm != c.ppm || k.clocked() != c.clocked {
			t.Errorf("%+v: %g ppm, known %v", c, k.ppm, k.clocked())
		}
		if p := (playing{n: 100, span: 100, slope: 50, slopErr: 1}); c.clocked != (p.drift(k) == 0) {
			t.Errorf("the playing corrects a clock by %g ppm that is known %v", p.drift(k), c.clocked)
		}
	}
}
