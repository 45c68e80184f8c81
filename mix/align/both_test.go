package align

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// The weighted mean of independent measurements is in every handbook of statistics (from memory);
// the numbers are worked by hand: own errors of 3 and 4 ms weigh 16 to 9, and give 2.4 ms.
func TestJoinPlayingWeighsEachDeviceByItsOwnError(t *testing.T) {
	a := playing{n: 9, mu: 0.010, err: math.Hypot(0.003, 0.012), doubt: 0.012, alone: 0.02}
	b := playing{n: 9, mu: 0.035, err: math.Hypot(0.004, 0.012), doubt: 0.012, alone: 0.03}
	for _, both := range [][]playing{{a, b}, {b, a}} {
		got := joinPlaying(both)
		if math.Abs(got.mu-0.019) > 1e-9 {
			t.Errorf("mean %.4f, want 0.0190", got.mu)
		}
		if want := math.Hypot(0.0024, 0.012); math.Abs(got.err-want) > 1e-9 {
			t.Errorf("error %.5f, want %.5f: what both share stays", got.err, want)
		}
		if got.alone != both[0].alone {
			t.Errorf("alone %.3f, want the first one's %.3f", got.alone, both[0].alone)
		}
	}
	lost := playing{n: 4, err: math.Inf(1), alone: 0.02}
	if got := joinPlaying([]playing{lost, b}); math.Abs(got.mu-b.mu) > 1e-9 || math.Abs(got.err-b.err) > 1e-9 {
		t.Errorf("beside one that knows nothing %+v became %+v", b, got)
	}
	if got := joinPlaying([]playing{lost, lost}); got != lost {
		t.Errorf("two that know nothing became %+v", got)
	}
	if got := joinPlaying([]playing{a}); got != a {
		t.Errorf("one device alone became %+v", got)
	}
}

// Two devices that contradict each other by more than three of their errors say so; a file without a
// cue that follows such a pair is asked about where half of that is too much, one with a cue is not.
func TestDevicesThatContradictEachOther(t *testing.T) {
	a := playing{n: 9, mu: 0.010, err: 0.005}
	b := playing{n: 9, mu: 0.024, err: 0.005} // 2.0 errors of the difference
	if got := joinPlaying([]playing{a, b}).split; got != 0 {
		t.Errorf("two that agree lie %.1f ms apart", 1000*got)
	}
	b.mu = 0.090
	if got := joinPlaying([]playing{a, b}).split; math.Abs(got-0.08) > 1e-9 {
		t.Errorf("two that contradict each other lie %.1f ms apart, want 80", 1000*got)
	}
	for _, c := range []struct {
		name       string
		cue, split float64
		sure       bool
		error      float64
	}{
		{"without a cue, of two that contradict", math.NaN(), 0.08, false, 0.0447},
		{"without a cue, of two a little apart", math.NaN(), 0.04, true, 0.0283},
		{"without a cue, of two that agree", math.NaN(), 0, true, 0.02},
		{"with its cue", 1.01, 0.08, true, 0.02},
		{"with a cue far off", 1.2, 0.08, false, 0.0447},
	} {
		p := Placement{Method: ByDevice, Sure: true, Confidence: 1, Offset: 1, Uncertainty: 0.02, split: c.split}
		p.CueOffset = c.cue
		p.doubtSplit()
		if p.Sure != c.sure || (p.Reason == "") != c.sure || math.Abs(p.Uncertainty-c.error) > 1e-4 || p.Confidence != 1 {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
}

// The same notes by two clocks, one of them 100 ppm slow and started 7.25 s later, are one
// lateness, whichever of the two devices hears it.
func TestPartnerHearsOnTheOtherClock(t *testing.T) {
	m := piece(t, 16, 4, 100)
	g := newGrid(m)
	notes, _ := tune(m)
	const offset, later, slow = -9.0, 7.25, 100.0
	record := func(offset, ppm float64, seed uint64) *take {
		var held []float64 // its notes, at the times that its clock gives them
		for _, n := range notes {
			held = append(held, offset+(n-offset)/audio.PPM(ppm).Ratio())
		}
		k := newTake(&Recording{Features: plucks(t, offset, m.End()+3, nil, held, seed), DriftPPM: &ppm})
		k.candidates(g)
		return k
	}
	a, b := record(offset, 0, 1), record(offset+later, slow, 2)
	x := tie{match: Match{OffsetSeconds: later, DriftPPM: slow, Confidence: 1}}
	for _, c := range []struct {
		me   *take
		by   partner
		at   float64
		name string
	}{{a, partner{b, x, true}, offset, "b"}, {b, partner{a, x, false}, offset + later, "a"}} {
		own, other := c.me.refine(g, c.at, clicks{}), c.by.hears(g, c.me, c.at, c.at)
		if other.n < minNotes || math.Abs(other.mu-own.mu) > 0.001 {
			t.Errorf("%s heard %d notes %.1f ms late, the other one %.1f", c.name, other.n, 1000*other.mu, 1000*own.mu)
		}
		// Where the file lies 20 ms earlier, its notes do too.
		if moved := c.by.hears(g, c.me, c.at-0.02, c.at-0.02); math.Abs(moved.mu-other.mu+0.02) > 0.001 {
			t.Errorf("%s heard %.1f ms, 20 ms earlier %.1f", c.name, 1000*other.mu, 1000*moved.mu)
		}
	}
}

// A clock is told by the playing only where its notes tell it better than clocks are known anyway, or
// where it stands out all the more, as two phones 400 ppm off do within a minute (TestDriftOverAMinute
// of assemble): five minutes of a violin with slow notes "showed" 549 ± 166 ppm of a clock of 16.
func TestVagueNotesTellNoClock(t *testing.T) {
	k := newTake(&Recording{Features: &Features{Duration: 300}})
	for _, c := range []struct{ slope, err, want float64 }{
		{-549, 166, 0}, {329, 92, 0}, {399, 65, -399}, {40, 31, 0}, {300, 25, -300}, {-60, 15, 60}, {950, 20, 0},
	} {
		if got := (playing{n: 79, span: 288, slope: c.slope, slopErr: c.err}).drift(k); got != c.want {
			t.Errorf("%.0f ± %.0f ppm correct a clock by %.0f, want %.0f", c.slope, c.err, got, c.want)
		}
	}
}
