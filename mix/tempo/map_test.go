package tempo

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The halves of a ramp in closed form, worked out by hand from ∫dr/v: from 60
// to 120 quarters a minute over 8 quarters k is 7.5, so the whole takes
// 8·ln 2 s and the first half 8·ln 1.5 s.
func TestRampClosedForm(t *testing.T) {
	m := build(t, Spec{Measures: 4, Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 60},
		{Measure: 2, RampTo: 120, Until: 4}}})
	near(t, "ramp", seconds(t, m, 4, 1)-seconds(t, m, 2, 1), 8*math.Ln2)
	near(t, "first half", seconds(t, m, 3, 1)-seconds(t, m, 2, 1), 8*math.Log(1.5))
	near(t, "after", m.End()-seconds(t, m, 4, 1), 2)
	// A ritardando is the same backwards.
	r := build(t, Spec{Measures: 4, Changes: []Change{
		{Measure: 1, Meter: meter(t, "4/4"), BPM: 120, RampTo: 60, Until: 3}}})
	near(t, "ritardando", seconds(t, r, 3, 1), 8*math.Ln2)
	near(t, "second half", seconds(t, r, 3, 1)-seconds(t, r, 2, 1), 8*math.Log(1.5))
}

// The count-in stays in the first tempo even where the piece begins with a
// ramp.
func TestCountInBeforeRamp(t *testing.T) {
	m := build(t, Spec{CountIn: CountIn{Measures: 4}, Measures: 4,
		Changes: []Change{{Measure: 1, Meter: meter(t, "2/2"), BPM: 60, RampTo: 120, Until: 3}}})
	near(t, "cue", m.Cue(), 4) // downbeat of measure 3 of 4 (common practice)
	near(t, "measure 1", m.Start(), 8)
}

// Beat units: the speed in quarters a minute is bpm times the unit. The dotted
// quarter and the half note are the handbook's cases, here in one piece with a
// meter change that keeps the quarter note.
func TestChangesKeepOrReplaceTheTempo(t *testing.T) {
	m := build(t, Spec{Measures: 6, Changes: []Change{
		{Measure: 1, Meter: meter(t, "2/2"), BPM: 60},  // 2 s
		{Measure: 2, Meter: meter(t, "3/4")},           // quarters stay at 120: 1.5 s
		{Measure: 3, Meter: meter(t, "6/8"), BPM: 80},  // 1.5 s
		{Measure: 4, BPM: 40},                          // 3 s
		{Measure: 5, Beat: unit(t, "eighth"), BPM: 60}, // 6 s
		{Measure: 6, Meter: meter(t, "3+2/8"), BPM: 300},
	}})
	want := []float64{0, 2, 3.5, 5, 8, 14, 15}
	for i, w := range want {
		near(t, "measure", seconds(t, m, i+1, 1), w)
	}
	// In 3+2/8 the second beat is three eighths after the first.
	near(t, "second beat of 3+2/8", seconds(t, m, 6, 2), 14.6)
	near(t, "its middle", seconds(t, m, 6, 2.5), 14.8)
	// In 6/8 beat 1.5 is one and a half eighths after the barline.
	near(t, "middle of a dotted quarter", seconds(t, m, 3, 1.5), 3.5+0.375)
}

func TestTempoWithinAMeasure(t *testing.T) {
	m := build(t, Spec{Measures: 3, Changes: []Change{
		{Measure: 1, Meter: meter(t, "4/4"), BPM: 60},
		{Measure: 1, At: 3, BPM: 120},
		{Measure: 2, At: 2, RampTo: 240, Until: 2, UntilBeat: 4},
	}})
	near(t, "measure 2", seconds(t, m, 2, 1), 3)
	near(t, "ramp", seconds(t, m, 2, 4)-seconds(t, m, 2, 2), math.Ln2)
	near(t, "measure 3", seconds(t, m, 3, 1)-seconds(t, m, 2, 4), 0.25)
}

func TestHold(t *testing.T) {
	m := build(t, Spec{CountIn: CountIn{Measures: 1}, Measures: 3,
		Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 60}},
		Holds:   []Hold{{Position{2, 3}, 2.5}, {Position{1, 1}, 1}, {Position{4, 1}, 4}},
	})
	near(t, "the held first note", seconds(t, m, 1, 1), 4)
	near(t, "what follows it", seconds(t, m, 1, 2), 6)
	near(t, "the held note", seconds(t, m, 2, 3), 11)
	near(t, "what follows", seconds(t, m, 2, 4), 14.5)
	near(t, "the end", m.End(), 23.5)
	if p := m.Position(12); p != (Position{2, 3}) {
		t.Errorf("during the hold the place is %v", p)
	}
	if p := m.Position(19.6); p != (Position{4, 1}) {
		t.Errorf("in the last hold the place is %v", p)
	}
	var lengths []float64
	for b := range m.Beats() {
		lengths = append(lengths, b.Length)
	}
	want := []float64{1, 1, 1, 1, 2, 1, 1, 1, 1, 1, 3.5, 1, 1, 1, 1, 5}
	if len(lengths) != len(want) {
		t.Fatalf("%d beats, want %d", len(lengths), len(want))
	}
	for i := range want {
		near(t, "length", lengths[i], want[i])
	}
}

// An hour in tempos whose beats are not a whole number of samples: every beat
// lies within a thousandth of a sample of the exact rational value, and the
// last one does so too.
func TestNoDriftInAnHour(t *testing.T) {
	const bpm, measures = 88, 1320 // 4 beats each: 5280 beats, one hour
	m := build(t, Spec{Measures: measures, Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: bpm}}})
	n := 0
	for b := range m.Beats() {
		if d := b.Seconds - float64(n)*60/bpm; math.Abs(d) > 1e-3*sample {
			t.Fatalf("beat %d is off by %g samples", n, d/sample)
		}
		n++
	}
	near(t, "end", m.End(), 3600)
	// The same hour with a change in every measure back and forth.
	var changes []Change
	for i := range measures {
		changes = append(changes, Change{Measure: i + 1, BPM: []float64{66, 132}[i%2]})
	}
	changes[0].Meter = meter(t, "4/4")
	m = build(t, Spec{Measures: measures, Changes: changes})
	near(t, "end with changes", m.End(), 3600)
}

// integrate returns the time from the first change to quarter q found another way
// than the map does: Gauss-Legendre steps over the tempo read off the spec.
func integrate(s Spec, m *Map, q float64) float64 {
	type stretch struct{ from, to, v0, v1 float64 }
	var all []stretch
	v := 0.0
	for i, c := range s.Changes {
		from, _ := m.Quarters(Position{c.Measure, 1})
		to := m.end
		if i+1 < len(s.Changes) {
			to, _ = m.Quarters(Position{s.Changes[i+1].Measure, 1})
		}
		u := c.Beat.Quarters()
		if u == 0 {
			u = m.Meter(c.Measure).Unit().Quarters()
		}
		if c.BPM > 0 {
			v = c.BPM * u
		}
		if c.RampTo > 0 {
			end, _ := m.Quarters(Position{c.Until, 1})
			all = append(all, stretch{from, end, v, c.RampTo * u})
			v, from = c.RampTo*u, end
		}
		all = append(all, stretch{from, to, v, v})
	}
	sum := 0.0
	for _, x := range all {
		a, b := x.from, min(x.to, q)
		if a >= b {
			continue
		}
		const steps = 400
		for i := range steps {
			h := (b - a) / steps
			mid := a + (float64(i)+0.5)*h
			for _, d := range []float64{-1, 1} {
				at := mid + d*h/2/math.Sqrt(3)
				sum += h / 2 * 60 / (x.v0 + (x.v1-x.v0)*(at-x.from)/(x.to-x.from))
			}
		}
	}
	return sum
}

func randomSpec(t testing.TB, r *rand.Rand) Spec {
	meters := []string{"4/4", "3/4", "2/2", "6/8", "3+2/8", "2+2+3/8", "5/4", "3/8", "9/8", "3+2/4", "3/4 in 1"}
	units := []string{"quarter", "half", "dotted-quarter", "eighth"}
	s := Spec{Measures: 30 + r.IntN(60)}
	for n := 1; n <= s.Measures; {
		c := Change{Measure: n, BPM: 40 + 160*r.Float64()}
		if n == 1 || r.IntN(2) == 0 {
			c.Meter = meter(t, meters[r.IntN(len(meters))])
		}
		if r.IntN(2) == 0 {
			c.Beat = unit(t, units[r.IntN(len(units))])
		}
		n += 2 + r.IntN(12)
		if r.IntN(2) == 0 {
			c.RampTo = c.BPM * (0.5 + 1.2*r.Float64())
			c.Until = min(n, s.Measures+1) - r.IntN(2)
			if c.Until <= c.Measure {
				c.Until = c.Measure + 1
			}
		}
		s.Changes = append(s.Changes, c)
	}
	return s
}

// Against numerical integration, and there and back again under a sample, for
// pieces with every kind of meter, unit and ramp.
func TestRandomPieces(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 14))
	for range 40 {
		s := randomSpec(t, r)
		plain := build(t, s)
		for _, n := range []int{s.Measures / 3, s.Measures / 2, s.Measures + 1} {
			q, err := plain.Quarters(Position{n, 1})
			if err != nil {
				t.Fatal(err)
			}
			if got, want := plain.SecondsAt(q), integrate(s, plain, q); math.Abs(got-want) > 1e-6 {
				t.Errorf("measure %d at %.9f s, by integration %.9f", n, got, want)
			}
		}
		s.CountIn = CountIn{Measures: r.IntN(9)}
		s.PickUp = float64(r.IntN(2)) * 0.5
		for range 3 {
			s.Holds = append(s.Holds, Hold{Position{1 + r.IntN(s.Measures), 1 + r.Float64()/2}, 5 * r.Float64()})
		}
		m := build(t, s)
		for range 400 {
			at := r.Float64() * m.End()
			p := m.Position(at)
			back, err := m.Seconds(p)
			if err != nil {
				t.Fatalf("%v s is %v: %v", at, p, err)
			}
			held := false
			for _, h := range s.Holds {
				from, _ := m.Seconds(h.At)
				held = held || at >= from && at <= from+h.Seconds+1e-9
			}
			if d := math.Abs(back - at); d > 0.001*sample && !held {
				t.Fatalf("%v s is %v and that %v s", at, p, back)
			}
		}
		last := -1.0
		for b := range m.Beats() {
			if !(b.Seconds > last) || !(b.Length > 0) {
				t.Fatalf("beat at %v after %v: %+v", b.Seconds, last, b)
			}
			last = b.Seconds
			if b.CountIn || b.Measure == 0 {
				continue
			}
			if p := m.Position(b.Seconds); p != (Position{b.Measure, float64(b.Number)}) {
				t.Fatalf("the beat %+v is at %v", b, p)
			}
		}
	}
}

func TestPositionsOutside(t *testing.T) {
	m := build(t, Spec{CountIn: CountIn{Measures: 2}, PickUp: 1, Measures: 8,
		Changes: []Change{{Measure: 1, Meter: meter(t, "3/4"), BPM: 60}}})
	for _, c := range []struct {
		p    Position
		want string
	}{
		{Position{10, 1}, "measure 10 is past the end: the piece has 8 measures"},
		{Position{9, 1.5}, "measure 9 is past the end: the piece has 8 measures"},
		{Position{-3, 1}, "measure -3 is before the beginning"},
		{Position{4, 4}, "measure 4: beat 4 is past the measure, which has 3 beats"},
		{Position{4, 0.5}, "measure 4: beat 0.5 is not 1 or later"},
		{Position{4, math.NaN()}, "measure 4: beat NaN is not 1 or later"},
		{Position{4, math.Inf(1)}, "measure 4: beat +Inf is past the measure, which has 3 beats"},
		{Position{0, 2}, "measure 0: beat 2 is past the pick-up of 1 beats"},
	} {
		if s, err := m.Seconds(c.p); err == nil || err.Error() != c.want || !math.IsNaN(s) {
			t.Errorf("%v: %v, %v; want %q", c.p, s, err, c.want)
		}
	}
	if p := m.Position(-5); p != (Position{-2, 1}) {
		t.Errorf("before the guide: %v", p)
	}
	if p := m.Position(1e6); p != (Position{9, 1}) {
		t.Errorf("after the end: %v", p)
	}
	if p := m.Position(math.NaN()); !math.IsNaN(p.Beat) {
		t.Errorf("NaN: %v", p)
	}
	if p := m.Position(4.5); p != (Position{-1, 2.5}) {
		t.Errorf("in the count-in: %v", p)
	}
	if p := m.Position(5.25); p != (Position{0, 1.25}) {
		t.Errorf("in the pick-up: %v", p)
	}
	none := build(t, Spec{Measures: 1, Changes: []Change{{Measure: 1, Meter: meter(t, "3/4"), BPM: 60}}})
	if _, err := none.Seconds(Position{0, 1}); err == nil ||
		err.Error() != "measure 0: the piece has no pick-up, its first measure is 1" {
		t.Error(err)
	}
	if !math.IsNaN(none.Cue()) {
		t.Error("a cue without a count-in")
	}
}

// One tempo throughout is steady, also in the count-in and over a pick-up;
// another tempo, a ramp, a meter with other beats and a hold are not.
func TestSteadyBPM(t *testing.T) {
	first := Change{Measure: 1, Meter: meter(t, "4/4"), BPM: 96}
	for name, c := range map[string]struct {
		spec Spec
		want float64
	}{
		"plain":    {Spec{Measures: 8, Changes: []Change{first}}, 96},
		"count-in": {Spec{Measures: 8, CountIn: CountIn{Measures: 4}, PickUp: 1, Changes: []Change{first}}, 96},
		"3/4":      {Spec{Measures: 8, Changes: []Change{first, {Measure: 4, Meter: meter(t, "3/4")}}}, 96},
		"6/8":      {Spec{Measures: 8, Changes: []Change{first, {Measure: 4, Meter: meter(t, "6/8")}}}, 0},
		"faster":   {Spec{Measures: 8, Changes: []Change{first, {Measure: 4, BPM: 97}}}, 0},
		"ramp":     {Spec{Measures: 8, Changes: []Change{first, {Measure: 4, RampTo: 60, Until: 6}}}, 0},
		"hold": {Spec{Measures: 8, Changes: []Change{first},
			Holds: []Hold{{At: Position{Measure: 3, Beat: 2}, Seconds: 1}}}, 0},
	} {
		if got := build(t, c.spec).SteadyBPM(); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s: %g beats a minute, want %g", name, got, c.want)
		}
	}
}
