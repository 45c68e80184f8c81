package align

import (
	"math"
	"testing"
)

// The hand that starts or stops a recording is no cue, though it stands alone and all else are
// notes; the same sound farther from the ends may be, and so may a clap at an end: somebody cut
// the file there.
func TestTouchIsNoCue(t *testing.T) {
	tap := func(at float64) Event {
		return Event{Time: at, Heard: at, Strength: 16, Level: -30, Before: -62, After: -62, Rise: 0.007, Decay: 0.03,
			Spread: 1, Bright: 0.06}
	}
	for _, c := range []struct {
		name string
		e    Event
		cue  bool
	}{
		{"the hand that starts it", tap(0.05), false},
		{"the hand that stops it", tap(49.9), false},
		{"a tap in between", tap(9), true},
		{"a clap that the file begins with", clapAt(0.1), true},
	} {
		k := newTake(&Recording{Features: &Features{Duration: 50, NoiseDB: -60, LoudDB: -18, Events: []Event{c.e}}})
		if got := k.like[0] > likeTouch; got != c.cue {
			t.Errorf("%s: may be the cue: %v, want %v (%.1f)", c.name, got, c.cue, k.like[0])
		}
	}
}

// A burst at the beginning of a file that begins after the cue does not tell where the cue was.
func TestTouchIsNoBurst(t *testing.T) {
	m := piece(t, 12, 4, 100)
	f := &Features{Duration: 20, NoiseDB: -60, LoudDB: -18}
	f.Onset, f.Burst, f.Sound = make([]uint8, 4000), make([]uint8, 4000), make([]uint8, 4000)
	for _, at := range []int{12, 2000} { // 0.06 s and 10 s
		f.Burst[at] = 255
	}
	s := newScan(newGrid(m), newTake(&Recording{Features: f}))
	if s.isolated[12] != 0 || s.isolated[2000] < 1 {
		t.Errorf("at the beginning a burst counts %.2f, in the middle %.2f", s.isolated[12], s.isolated[2000])
	}
}

// Near its cue a file is placed however vague its notes are, without one or far from it only
// where the error to expect is small.
func TestIsKnown(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		p     Placement
		known bool
	}{
		{"vague notes near the cue", Placement{Method: ByCuePlaying, Offset: 1, CueOffset: 1.03, Uncertainty: 0.05}, true},
		{"vague notes without one", Placement{Method: ByPlaying, Offset: 1, CueOffset: nan, Uncertainty: 0.05}, false},
		{"vague notes far from it", Placement{Method: ByCuePlaying, Offset: 1, CueOffset: 1.09, Uncertainty: 0.05}, false},
		{"clear notes without one", Placement{Method: ByPlaying, Offset: 1, CueOffset: nan, Uncertainty: 0.01}, true},
		{"nothing", Placement{Method: NoMethod, Offset: 1, CueOffset: 1, Uncertainty: math.Inf(1)}, false},
	} {
		if got := c.p.isKnown(); got != c.known {
			t.Errorf("%s: known is %v, want %v", c.name, got, c.known)
		}
	}
}

// Which of two devices leads goes by what they hold: a device with the cue leads one without
// that is sure because of somebody else's playing, and is sure with it, at the same place only.
// Where the two found different places both are asked about: were the other to lead, somebody
// who comes late and makes the first one sure would move both by a beat.
func TestLeadGoesByWhatDevicesHold(t *testing.T) {
	g := newGrid(piece(t, 12, 4, 100))
	for _, c := range []struct {
		name   string
		offset float64 // of the device that is sure; the other is at -5
		lead   float64 // where that one lies then
		sure   bool
	}{
		{"at the same place", -4.98, -5, true},
		{"a beat away", -4.4, -5, false},
	} {
		takes := []*take{{rec: &Recording{Name: "a"}}, {rec: &Recording{Name: "b"}}}
		placed := []Placement{
			{Name: "a", Method: ByCuePlaying, Offset: -5, CueAt: 9, CueOffset: -5, Confidence: 0.98, Uncertainty: 0.01},
			{Name: "b", Method: ByPlaying, Offset: c.offset, CueAt: math.NaN(), CueOffset: math.NaN(), Confidence: 0.995,
				Uncertainty: 0.01, Sure: true},
		}
		follow(g, takes, []tie{{a: 0, b: 1, match: Match{Confidence: 1}}}, placed)
		for _, p := range placed {
			if math.Abs(p.Offset-c.lead) > 1e-9 || p.Sure != c.sure || (p.Confidence >= sureBar) != c.sure {
				t.Errorf("%s: %s lies at %.3f, sure %v (%.3f), want %.3f", c.name, p.Name, p.Offset, p.Sure, p.Confidence, c.lead)
			}
		}
	}
}

// Who was sure with nobody else there stays so when the others speak a little against it.
func TestOthersTakeNoSuretyAway(t *testing.T) {
	own := []hyp{{o: 1, p: 0.9985}, {o: 2, p: 0.0015}}
	heard := []hyp{{o: 1, p: 0.97}, {o: 2, p: 0.03}}
	for bar, want := range map[float64]float64{0.9985: 0.9985, 0.997: 0.97} {
		own[0].p = bar
		k := &take{rec: &Recording{Name: "x"}, hyps: heard, joined: true}
		h := &hearing{takes: []*take{k}, plain: [][]hyp{own}}
		h.hearFewer(0)
		if got := k.best().p; got != want {
			t.Errorf("sure by %.4f alone: %.4f, want %.4f", bar, got, want)
		}
	}
}

// A file of which too few notes are heard is placed by one of its claps only where its own sound
// leaves no doubt which: somebody else may have clapped too.
func TestClapWithoutNotes(t *testing.T) {
	g := newGrid(piece(t, 12, 4, 100))
	for _, c := range []struct {
		p    float64
		sure bool
	}{{0.9995, false}, {0.99995, true}} {
		k := newTake(&Recording{Name: "cello", Features: &Features{Duration: 50, NoiseDB: -60, LoudDB: -18,
			Events: []Event{clapAt(4), clapAt(9)}}})
		o := g.cue - 4
		k.hyps = []hyp{{cue: 0, o: o, p: c.p}, {cue: 1, o: o - 5, p: 1 - c.p}}
		p := Placement{Method: ByCue, Offset: o, CueOffset: o, Lateness: math.NaN()}
		p.judge(g, k, 0, playing{})
		if k.loneClap() >= 0 || p.Sure != c.sure {
			t.Errorf("one of two claps, probability %.5f: alone %d, sure %v", c.p, k.loneClap(), p.Sure)
		}
	}
}
