package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/tempo"
)

// beatMap is a guide of so many measures of four beats at 100 beats a minute.
func beatMap(t *testing.T, measures int) *tempo.Map {
	t.Helper()
	return piece(t, measures, 4, 100)
}

// pulses returns a strand of masses that begin at times.
func pulses(p *beatPhases, at ...float64) *strand {
	r := strand{nats: 1, room: 4, soft: 2, even: 1}
	for _, x := range at {
		r.at, r.mass = append(r.at, x), append(r.mass, 1)
	}
	r = r.settled(p)
	return &r
}

func TestBeatPhases(t *testing.T) {
	m := beatMap(t, 8)
	g := newGrid(m)
	p := newBeatPhases(g)
	if p.beats != 4 {
		t.Fatalf("measures have %d beats", p.beats)
	}
	const beat = 0.6
	for _, c := range []struct {
		at   float64 // beats after the beginning of the piece
		want int
	}{
		{0.002, 0}, {0.5, breakBins / 2}, {1.002, breakBins}, {3.002, 3 * breakBins}, {4.002, 0},
		{31.98, 3*breakBins + 62},
		{-0.1, -1}, {32.1, -1},
	} {
		got := p.cellAt(g.start + c.at*beat)
		if got != c.want && got != c.want+1 {
			t.Errorf("%g beats: cell %d, want %d", c.at, got, c.want)
		}
		if want := c.want % breakBins; c.want >= 0 && p.at(g.start+c.at*beat)-want > 1 {
			t.Errorf("%g beats: bin %d, want %d", c.at, p.at(g.start+c.at*beat), want)
		}
	}
	for k := range coarseBins {
		var sum float64
		for b := range p.beats {
			sum += p.share[b*coarseBins+k]
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("the shares of bin %d come to %g", k, sum)
		}
	}
}

// Signs of playing that all lie at one place of the beat are likelier than those of which a
// part lies beside it, by the more the more there are; put back they are as likely as before.
func TestStrandsTellAShift(t *testing.T) {
	g := newGrid(beatMap(t, 12))
	p := newBeatPhases(g)
	r := rand.New(rand.NewPCG(1, 2))
	const step = 0.09
	var whole, shifted []float64
	for k := range 48 {
		at := g.start + 0.6*float64(k) + 0.02 + 0.008*r.NormFloat64()
		whole = append(whole, at)
		if k >= 24 {
			at += step
		}
		shifted = append(shifted, at)
	}
	all := []section{{from: math.Inf(-1), to: math.Inf(1)}}
	edge := g.start + 0.6*24 - 0.2
	one, two := pulses(p, whole...).like(p, all), pulses(p, shifted...).like(p, all)
	back := pulses(p, shifted...).like(p,
		[]section{{from: math.Inf(-1), to: edge}, {from: edge, to: math.Inf(1), by: -step}})
	if one < two+20 || math.Abs(back-one) > 1 {
		t.Errorf("whole %.1f nats, shifted %.1f, put back %.1f", one, two, back)
	}
	// A clock that is off shifts little by little.
	slow := pulses(p, shifted...).like(p,
		[]section{{from: math.Inf(-1), to: math.Inf(1), slope: -step / 14.4, mid: edge}})
	if slow > back-5 {
		t.Errorf("one clock explains a step as well: %.1f nats, the step %.1f", slow, back)
	}
	// What is in no part costs where masses are notes.
	notes := pulses(p, whole...)
	notes.drop = 1
	gap := []section{{from: math.Inf(-1), to: edge}, {from: edge + 6, to: math.Inf(1)}}
	if lost := one - notes.like(p, gap); lost < 10 {
		t.Errorf("10 notes in no part cost %.1f nats", lost)
	}
}

// Masses on the first beats of measures tell a jump of one beat from one of none and of a
// measure.
func TestStrandsTellTheBeatOfTheMeasure(t *testing.T) {
	g := newGrid(beatMap(t, 16))
	p := newBeatPhases(g)
	var at []float64
	for k := range 16 {
		at = append(at, g.start+2.4*float64(k)+0.01)
	}
	r := pulses(p, at...)
	r.bars = 1
	edge := g.start + 2.4*8 - 0.3
	like := func(by float64) float64 {
		return r.like(p, []section{{from: math.Inf(-1), to: edge}, {from: edge, to: math.Inf(1), by: by}})
	}
	if none, beat := like(0), like(0.6); none < beat+3 {
		t.Errorf("a jump of a beat: %.1f nats, none %.1f", beat, none)
	}
	if none, measure := like(0), like(-2.4); math.Abs(none-measure) > 0.5 {
		t.Errorf("a jump of a measure: %.1f nats, none %.1f", measure, none)
	}
}

// A curve is brought to a mean of 1 over the piece, whatever its hop and loudness, and a
// long one has fewer values.
func TestCurvesHaveAMeanOfOne(t *testing.T) {
	g := newGrid(beatMap(t, 60))
	p := newBeatPhases(g)
	for _, hop := range []float64{CurveHop, ChromaHop} {
		f := &Features{Duration: g.end}
		s := &breakScan{g: g, p: p, t: newTake(&Recording{Features: f})}
		v := make([]float64, int(g.end/hop))
		for i := range v {
			v[i] = 7 * (1 + math.Sin(float64(i)*hop))
		}
		r := s.curve(v, hop, 3)
		var sum, held float64
		for i, at := range r.at {
			if at >= g.start && at < g.end {
				sum += r.mass[i]
				held = at - g.start
			}
		}
		if math.Abs(sum/held-1) > 0.01 || r.nats != 3 || len(r.at) > 2*curvePoints {
			t.Errorf("hop %g: mean %.3f of %d values", hop, sum/held, len(r.at))
		}
	}
}

// hummer is a file whose harmony is that of the others, from a moment on by so many seconds
// earlier, as when they are missing.
func hummer(t *testing.T, missing float64) (*breakScan, float64) {
	g := newGrid(beatMap(t, 20))
	p := newBeatPhases(g)
	r := rand.New(rand.NewPCG(8, 9))
	n := int((g.end - g.start) / ChromaHop)
	chords := make([][12]int8, n+600)
	for k := range chords {
		if k > 0 && k%12 != 0 { // a beat long
			chords[k] = chords[k-1]
			continue
		}
		for i := range 3 {
			chords[k][(r.IntN(12)+4*i)%12] = 58
		}
	}
	others := &Recording{Name: "o", Take: "o", Features: &Features{Duration: g.end, Curves: Curves{Chroma: chords}}}
	c := &company{choir: *newChoir(g), dense: make([]float64, int((g.end-g.start)/CurveHop)+1)}
	c.join(g, newTake(others), Placement{Offset: g.start}, 1)
	c.voices = 4
	cut := n / 2
	own := append(append([][12]int8{}, chords[:cut]...), chords[cut+int(missing/ChromaHop):]...)
	f := &Features{Duration: float64(n) * ChromaHop, Curves: Curves{Chroma: own}}
	for k := range 40 { // enough notes to be looked at, on the beats of both parts
		at := 0.6 * float64(k)
		f.Events = append(f.Events, Event{Time: at, Heard: at, Strength: 10, Level: -20})
	}
	f.LoudDB = -20
	s := newBreakScan(g, p, newTake(&Recording{Name: "x", Take: "x", Features: f}), g.start, c)
	return s, g.start + float64(cut)*ChromaHop
}

// The harmony of the others tells by how many whole beats a part is displaced, where the
// beat itself says nothing.
func TestHarmonyTellsWholeBeats(t *testing.T) {
	const missing = 1.8 // three beats
	s, edge := hummer(t, missing)
	right := s.others(split{edge: edge, last: missing})
	for _, by := range []float64{0, 0.6, 1.2, 2.4, -1.8} {
		if v := s.others(split{edge: edge, last: by}); v > right-8 {
			t.Errorf("displaced by %g s: %.1f nats, by the right %g s %.1f", by, v, missing, right)
		}
	}
	found := s.likely()
	if len(found) == 0 || math.Abs(found[0].jump()-missing) > 0.05 || math.Abs(found[0].edge-edge) > 1 {
		t.Fatalf("%+v, want %g s at %.1f s", found, missing, edge)
	}
	if best := s.tuned(found[0]); best.v < found[0].v || math.Abs(best.jump()-missing) > 0.06 {
		t.Errorf("tuned to %+v", best)
	}
	whole, _ := hummer(t, 0)
	for _, x := range whole.likely() {
		if v := whole.weighed(x) - whole.unbroken(); v > 6 {
			t.Errorf("a whole file: %.1f nats for %+v", v, x)
		}
	}
	if near, far := breakHarmony(0.1), breakHarmony(3); near < 2*far || far < breakHarmonyFar {
		t.Errorf("an agreement is worth %.2f near by, %.2f far away", near, far)
	}
}
