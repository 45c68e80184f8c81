package align

import (
	"math"
	"slices"
	"testing"
)

func TestWhatLooksLikeRhythm(t *testing.T) {
	for beats, want := range map[float64]bool{
		0.02: false, 0.2: false, 0.25: false, 0.46: true, 0.5: true, 0.55: true, 0.6: false, 0.97: true, 1: true,
		7.5: true, 7.3: false,
	} {
		if got := looksLikeRhythm(beats); got != want {
			t.Errorf("%g beats: %v", beats, got)
		}
	}
}

// A person is asked about what the notes show, whatever rivals there are, about whole and half
// beats only when they lead or the others speak for them, and hardly about what a player may
// do.
func TestWhatIsWorthAsking(t *testing.T) {
	for _, c := range []struct {
		name          string
		b             Break
		beats, backed float64
		want          bool
		asked         bool // the person is asked where the file lies
	}{
		{"a clear step", Break{Jump: 0.3, Gain: 10, Margin: 3}, 0.3, 0, true, false},
		{"a weak one", Break{Jump: 0.3, Gain: 8, Margin: 3}, 0.3, 0, false, false},
		{"one with a rival", Break{Jump: 0.3, Gain: 10, Margin: 1}, 0.3, 0, false, false},
		{"a very clear one with a rival", Break{Jump: 0.3, Gain: 30, Margin: 0.1}, 0.3, 0, true, false},
		{"what players do", Break{Jump: 0.04, Gain: 20, Margin: 9}, 0.07, 0, false, false},
		{"more than players do", Break{Jump: 0.04, Gain: 60, Margin: 9}, 0.07, 0, true, false},
		{"a beat", Break{Jump: 0.6, Gain: 30, Margin: 1}, 1, 0, false, false},
		{"a beat that leads", Break{Jump: 0.6, Gain: 30, Margin: 2.5}, 1, 0, false, false},
		{"a beat that leads, and that the others may hear", Break{Jump: 0.6, Gain: 30, Margin: 2.5}, 1, 2.5, true, false},
		{"a beat that the others hear", Break{Jump: 0.6, Gain: 13, Margin: 0.5}, 1, 7, true, false},
		{"half a beat", Break{Jump: 0.3, Gain: 11, Margin: 9}, 0.5, 7, false, false},
		{"a silence", Break{Jump: -0.6, Gain: 7.5, Margin: 2.5, By: "silence"}, 1, 0, true, false},
		{"a silence with a rival", Break{Jump: -0.6, Gain: 7.5, Margin: 0.5, By: "silence"}, 1, 0, false, false},
		{"a weak one of a file that is asked about", Break{Jump: 0.3, Gain: 8, Margin: 3}, 0.3, 0, true, true},
		{"and a very weak one", Break{Jump: 0.3, Gain: 6, Margin: 3}, 0.3, 0, false, true},
		{"a beat of such a file", Break{Jump: 0.6, Gain: 30, Margin: 2.5}, 1, 0, false, true},
	} {
		if got := c.b.isWorthAsking(c.beats, c.backed, !c.asked); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	if s := steady(breakWander); s != 1 || steady(0.6) > 0.02 || steady(-0.6) != steady(0.6) {
		t.Errorf("a jump as large as a player wanders: %g times more", s)
	}
}

// Breaks are looked for from all likely places of a take that is not sure, each once.
func TestBases(t *testing.T) {
	p := Placement{Offset: 3, Candidates: []Candidate{{Offset: 3.02}, {Offset: 5.4}, {Offset: 5.38}}}
	if got := bases(p); len(got) != 2 || got[0] != 3 || got[1] != 5.4 {
		t.Errorf("%v", got)
	}
	if p.Sure = true; len(bases(p)) != 1 {
		t.Errorf("sure: %v", bases(p))
	}
}

// The best split is the break, the next of another jump its rival; a silence leads by more
// than its nats.
func TestBreakOf(t *testing.T) {
	s, edge := hummer(t, 1.8)
	list := []split{
		{edge: edge, last: 1.8, v: 30, scan: s},
		{edge: edge + 1, last: 1.81, v: 29, scan: s},
		{edge: edge, last: -0.6, v: 25, scan: s},
	}
	b := breakOf(list)
	if b.Gain != 30 || math.Abs(b.Margin-5) > 1e-9 || b.Rival != -0.6 || math.Abs(b.Jump-1.8) > 0.03 || b.By != "" {
		t.Errorf("%+v", b)
	}
	if math.Abs(b.Guide-edge) > 0.1 || math.Abs(b.At-(edge-s.o)) > 0.1 || b.Offset != s.o {
		t.Errorf("the first part lies at %.2f and ends at %.2f s, guide %.2f; want %.2f", b.Offset, b.At, b.Guide, edge)
	}
	list[0].by, list[0].at, list[0].last = "silence", edge-s.o, -1.8
	if b := breakOf(list); math.Abs(b.Margin-1-silenceLead) > 1e-9 || b.At != edge-s.o || b.Jump != -1.8 {
		t.Errorf("by a silence: %+v", b)
	}
}

// Clear notes tell how long a jump is; a part that says nothing of a tenth of a beat does not, and
// is asked about, but where something else than the playing says how long the jump is.
func TestTellsJump(t *testing.T) {
	s, edge := hummer(t, 1.8)
	vague := *s
	vague.strands = slices.Clone(s.strands)
	for i := range vague.strands {
		vague.strands[i].nats = 0 // notes and what sets in say nothing
	}
	for _, c := range []struct {
		name string
		x    split
		want bool
	}{
		{"clear notes", split{edge: edge, last: 1.8, scan: s}, true},
		{"clear notes at a splice", split{edge: edge, last: 1.8, by: "splice", scan: s}, true},
		{"chords of a beat", split{edge: edge, last: 1.8, by: "splice", scan: &vague}, false},
		{"the same and a silence as long", split{edge: edge, last: 1.8, by: "silence", scan: &vague}, true},
	} {
		if got := c.x.tellsJump(); got != c.want {
			t.Errorf("%s: tells its jump: %v", c.name, got)
		}
	}
}

// What is digitally silent is no noise of the room: a silence is found in a file of which it
// is a third.
func TestSilencesInAQuietRoom(t *testing.T) {
	g := newGrid(beatMap(t, 20))
	f := &Features{Duration: 45, NoiseDB: -120}
	for i := range 4500 {
		level := uint8(2 * (120 - 50 + i%5))
		if i >= 1500 && i < 3000 {
			level = 0
		}
		f.Level = append(f.Level, level)
	}
	if n := f.noise(); math.Abs(n+50) > 1.5 {
		t.Errorf("the noise is %.1f dBFS", n)
	}
	s := &breakScan{g: g, t: newTake(&Recording{Features: f}), quiet: f.noise()}
	found := s.silences()
	if len(found) != 1 || math.Abs(found[0].At-15) > 0.02 || math.Abs(found[0].Jump+15) > 0.03 ||
		found[0].By != "silence" {
		t.Errorf("%+v", found)
	}
}

// A picture that is longer than its sound tells the sum of all breaks. Where the other device shows a
// jump of another length, two are likely; with a hole the picture tells each by itself.
func TestAPictureTellsTheSumOfTwoBreaks(t *testing.T) {
	device := func(jump float64) []Hint { return []Hint{{At: 36, Jump: jump, By: "device"}} }
	for _, c := range []struct {
		by    string
		at    float64
		hints []Hint
		sum   bool
	}{
		{"picture", math.NaN(), device(0.112), true}, {"picture", math.NaN(), device(7.70), false},
		{"picture", math.NaN(), device(-7.73), true}, {"picture", 43, device(0.112), false},
		{"splice", math.NaN(), device(0.112), false}, {"picture", math.NaN(), nil, false},
		{"picture", math.NaN(), []Hint{{At: math.NaN(), Jump: 7.7, By: "picture"}}, false},
	} {
		if x := (split{by: c.by, at: c.at, last: 7.73}); x.mayBeASum(c.hints) != c.sum {
			t.Errorf("%s at %g beside %+v: a sum %v", c.by, c.at, c.hints, !c.sum)
		}
	}
}
