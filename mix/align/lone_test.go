package align

import (
	"math"
	"testing"
)

// clapAt is a clap as it is heard in a quiet room.
func clapAt(seconds float64) Event {
	return Event{Time: seconds, Heard: seconds, Strength: 18, Level: -15, Before: -55, After: -55, Rise: 0.003,
		Decay: 0.02, Spread: 1, Bright: 0.7}
}

// Two claps shortly after one another hide each other's quiet, so that the louder of them is
// not the only clap of its file; a clap beside softer or slower sounds is.
func TestLoneClapOfTwo(t *testing.T) {
	const first, second = 9.0, 9.9
	lone := func(change func(e *Event)) int {
		a, b := clapAt(first), clapAt(second)
		a.After = -18 // the second
		change(&a)
		note := Event{Time: 30, Level: -30, Before: -35, After: -32, Rise: 0.05, Decay: 0.6, Strength: 4}
		k := newTake(&Recording{Features: &Features{Events: []Event{a, b, note}, NoiseDB: -60, LoudDB: -18, Duration: 60}})
		return k.loneClap()
	}
	if got := lone(func(*Event) {}); got >= 0 {
		t.Errorf("of two claps number %d is taken for the only one", got)
	}
	for name, change := range map[string]func(e *Event){
		"a step":       func(e *Event) { e.Level, e.Spread, e.Decay = -30, 0.4, 0.3 },
		"a note":       func(e *Event) { e.Rise, e.Decay = 0.06, 0.6 },
		"much softer":  func(e *Event) { e.Level = -35 },
		"in the noise": func(e *Event) { e.Before = -20 },
	} {
		if got := lone(change); got != 1 {
			t.Errorf("beside %s the clap is number %d, want 1", name, got)
		}
	}
}

// A clap of somebody else, far from the player's own, leaves neither of them alone, even where
// one is far more like a cue; a door or a cough far from it does.
func TestLoneClapBesideSomebodyElses(t *testing.T) {
	lone := func(change func(e *Event)) (k *take, i int) {
		a, b := clapAt(9), clapAt(14)
		b.Level, b.Rise, b.Spread = -22, 0.08, 0.75
		change(&b)
		k = newTake(&Recording{Features: &Features{Events: []Event{a, b}, NoiseDB: -60, LoudDB: -18, Duration: 60}})
		return k, k.loneClap()
	}
	if k, got := lone(func(*Event) {}); got >= 0 || k.lead(0) < loneLead {
		t.Errorf("of two claps number %d is taken for the only one, with a lead of %.1f", got, k.lead(0))
	}
	for name, change := range map[string]func(e *Event){
		"a door":  func(e *Event) { e.Bright, e.Decay = 0.1, 0.3 },
		"a cough": func(e *Event) { e.Before, e.After = -35, -30 },
	} {
		if _, got := lone(change); got != 0 {
			t.Errorf("beside %s the clap is number %d, want 0", name, got)
		}
	}
}

// A clap of hollow hands, duller than the other one but as sharp and as loud, leaves neither of them
// alone; the hand that stops the recording does.
func TestLoneClapBesideADullOne(t *testing.T) {
	for name, c := range map[string]struct {
		at, bright float64
		want       int
	}{"a dull clap": {14, 0.2, -1}, "the hand that stops the recording": {59.8, 0.06, 0}} {
		a, b := clapAt(9), clapAt(c.at)
		b.Bright, b.Level, b.Before, b.After = c.bright, a.Level-3, -38, -38
		k := newTake(&Recording{Features: &Features{Events: []Event{a, b}, NoiseDB: -60, LoudDB: -18, Duration: 60}})
		if k.like[1] >= loneLeast {
			t.Errorf("%s is as cue-like as a clear clap: %.1f", name, k.like[1])
		}
		if got := k.loneClap(); got != c.want {
			t.Errorf("beside %s the clap is number %d, want %d", name, got, c.want)
		}
	}
}

// What goes on softly right after a clap is no rival of it; a note about as loud, a slow sound
// later and a second burst may be the cue.
func TestWhatTrailsAClapIsNoCue(t *testing.T) {
	after := func(by, softer, rise float64) Event {
		e := clapAt(9 + by)
		e.Level, e.Before, e.Rise, e.Decay, e.Bright = e.Level-softer, e.Level, rise, 0.3, 0.3
		return e
	}
	for _, c := range []struct {
		name   string
		e      Event
		trails bool
	}{
		{"a breath right after it", after(0.26, 14, 0.08), true},
		{"a note as loud", after(0.26, 3, 0.08), false},
		{"a soft note later", after(0.8, 14, 0.08), false},
		{"a soft second clap", after(0.26, 14, 0.004), false},
	} {
		f := &Features{Events: []Event{clapAt(9), c.e}, NoiseDB: -60, LoudDB: -18, Duration: 60}
		if got := newTake(&Recording{Features: f}).like[1] == likeTouch; got != c.trails {
			t.Errorf("%s belongs to the clap: %v, want %v", c.name, got, c.trails)
		}
	}
	vague := clapAt(9)
	vague.Before, vague.After, vague.Bright = -20, -20, 0.1
	f := &Features{Events: []Event{vague, after(0.26, 14, 0.08)}, NoiseDB: -60, LoudDB: -18, Duration: 60}
	if newTake(&Recording{Features: f}).like[1] == likeTouch {
		t.Error("it belongs to a sound that is no clear clap")
	}
}

// In a part of taps the best place of all has to be surer than elsewhere: everything in it
// is like a cue and lies on the beats.
func TestPartsOfTaps(t *testing.T) {
	part := func(taps int) *take {
		f := &Features{NoiseDB: -60, LoudDB: -18, Duration: 60}
		for i := range taps {
			f.Events = append(f.Events, clapAt(5+2.5*float64(i)))
		}
		for i := range 20 {
			f.Events = append(f.Events, Event{Time: 60 + float64(i), Level: -25, Before: -28, After: -26, Rise: 0.05,
				Decay: 0.6, Strength: 5, Spread: 0.3})
		}
		return newTake(&Recording{Features: f})
	}
	if part(1).isTaps() || part(mostTaps).isTaps() {
		t.Error("some claps and a tune are a part of taps")
	}
	if !part(mostTaps + 1).isTaps() {
		t.Error("a part of taps is none")
	}
}

// Where the sound most like a cue lies beside the place of a file that is placed without one, the
// place is not known better than that; farther off, or another sound, says nothing.
func TestCueBeside(t *testing.T) {
	k := newTake(&Recording{Features: &Features{Events: []Event{{Heard: 3}, {Heard: 9}, {Heard: 9.1}}}})
	k.rank = []int{3, 1, 2}
	g := &grid{cue: 10}
	for offset, want := range map[float64]float64{1: 0, 1.13: 0.13, 0.87: 0.13, 1.3: 0, 7: 0} {
		if got := k.cueBeside(g, &Placement{Offset: offset}); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %g s: %.3f s, want %.3f", offset, got, want)
		}
	}
}

// A clap is expected a little before what is played, a note that is the cue is not: it is
// played as all notes are.
func TestCuesComeEarly(t *testing.T) {
	f := &Features{Events: []Event{{Time: 3, Rise: 0.004}, {Time: 4, Rise: 0.06}}}
	k := newTake(&Recording{Features: f})
	for cue, want := range map[int]float64{0: clapEarly, 1: 0, -1: 0} {
		if got := k.cueEarly(hyp{cue: cue}); got != want {
			t.Errorf("cue %d comes %.0f ms early, want %.0f", cue, 1e3*got, 1e3*want)
		}
	}
	// Without playing the cue itself lies on its beat.
	p := Placement{CueOffset: 2}
	p.blend(hyp{cue: 0}, clapSigma, clapEarly, playing{err: math.Inf(1)}, math.NaN())
	if p.Method != ByCue || p.Offset != 2 {
		t.Errorf("a clap alone: %+v", p)
	}
	// Vague playing leaves the take where the clap is expected.
	p = Placement{CueOffset: 2, Offset: 2}
	p.blend(hyp{cue: 0}, clapSigma, clapEarly, playing{n: 20, err: 0.2, doubt: 0.2}, math.NaN())
	if math.Abs(p.Offset-(2-clapEarly)) > 1e-3 {
		t.Errorf("a clap and vague playing: %+v", p)
	}
}

// Who clapped early and plays late is measured against the beats that fit, not against the
// sixteenths that lie nearer to the clap.
func TestNotesFarFromTheClapAreAssignedRight(t *testing.T) {
	m := piece(t, 12, 4, 96)
	g := newGrid(m)
	const offset, clap, late = -6.0, -0.05, 0.033 // of the clap and of the playing
	f := &Features{NoiseDB: -70, LoudDB: -20, Duration: m.End() + 8}
	f.Events = append(f.Events, clapAt(m.Cue()+clap-offset))
	for b := range m.Beats() {
		for part := range 4 {
			at := b.Seconds + float64(part)*b.Length/4
			if !b.CountIn && (part == 0 || part == 2 && b.Number != 2 || b.Number == 4) {
				at += late - offset
				f.Events = append(f.Events, Event{Time: at, Heard: at, Strength: 9, Level: -20, Before: -40, After: -30,
					Rise: 0.004, Decay: 0.3, Spread: 0.5})
			}
		}
	}
	k := newTake(&Recording{Features: f})
	h := hyp{cue: 0, o: offset - late} // where its notes fit
	h.terms[cueRank], h.terms[cueQuality] = 6, 8
	o, fit := k.refineNear(g, h)
	if by := o - fit.mu; math.Abs(by-(offset-late)) > 0.004 {
		t.Errorf("its playing lies %.1f ms off", 1e3*(by-offset+late))
	}
	if start := k.start(g, h); math.Abs(start-(offset-clap)) > 1e-9 {
		t.Errorf("its clap lies at %.3f, want %.3f", start, offset-clap)
	}
}
