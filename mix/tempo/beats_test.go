package tempo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// trace writes pulses in one line: seconds, measure.number, D downbeat,
// A accent, C count-in, Q cue, a dot for each part.
func trace(m *Map, parts int) string {
	var out []string
	for b := range m.Pulses(math.Inf(-1), math.Inf(1), parts) {
		s := fmt.Sprintf("%.4g:%d.%d%s", b.Seconds, b.Measure, b.Number, strings.Repeat("'", b.Part))
		for _, f := range []struct {
			set  bool
			mark string
		}{{b.Downbeat, "D"}, {b.Accent && !b.Downbeat, "A"}, {b.CountIn, "C"}, {b.Cue, "Q"}} {
			if f.set {
				s += f.mark
			}
		}
		out = append(out, s)
	}
	return strings.Join(out, " ")
}

func TestBeats(t *testing.T) {
	for _, c := range []struct {
		name  string
		spec  Spec
		meter string
		bpm   float64
		parts int
		want  string
	}{
		{"count-in and cue", Spec{CountIn: CountIn{Measures: 2}, Measures: 1}, "2/2", 60, 1,
			"0:1.1DC 1:1.2C 2:2.1DCQ 3:2.2C 4:1.1D 5:1.2"},
		{"chosen cue", Spec{CountIn: CountIn{Measures: 2, CueMeasure: 1, CueBeat: 2}, Measures: 1}, "2/2", 60, 1,
			"0:1.1DC 1:1.2CQ 2:2.1DC 3:2.2C 4:1.1D 5:1.2"},
		{"pick-up within the count-in", Spec{CountIn: CountIn{Measures: 1}, PickUp: 1, Measures: 1}, "3/4", 60, 1,
			"0:1.1DCQ 1:1.2C 2:0.3 3:1.1D 4:1.2 5:1.3"},
		{"pick-up alone", Spec{PickUp: 2, Measures: 1}, "3/4", 60, 1,
			"0:0.2 1:0.3 2:1.1D 3:1.2 4:1.3"},
		{"pick-up between beats", Spec{PickUp: 1.5, Measures: 1}, "3/4", 60, 1,
			"0.5:0.3 1.5:1.1D 2.5:1.2 3.5:1.3"},
		{"no pick-up", Spec{Measures: 2}, "6/8", 60, 1,
			"0:1.1D 1:1.2 2:2.1D 3:2.2"},
		{"written parts of compound", Spec{Measures: 1}, "6/8", 60, 0,
			"0:1.1D 0.3333:1.1' 0.6667:1.1'' 1:1.2 1.333:1.2' 1.667:1.2''"},
		{"written parts of additive", Spec{Measures: 1}, "3+2/8", 60, 0,
			"0:1.1D 1:1.1' 2:1.1'' 3:1.2A 4:1.2'"},
		{"written parts of simple", Spec{Measures: 1}, "2/4", 60, 0,
			"0:1.1D 0.5:1.1' 1:1.2 1.5:1.2'"},
		{"groups of quarters", Spec{Measures: 1}, "3+2/4", 60, 1,
			"0:1.1D 1:1.2 2:1.3 3:1.4A 4:1.5"},
		{"three in each", Spec{Measures: 1}, "1/4", 60, 3,
			"0:1.1D 0.3333:1.1' 0.6667:1.1''"},
	} {
		c.spec.Changes = []Change{{Measure: 1, Meter: meter(t, c.meter), BPM: c.bpm}}
		if got := trace(build(t, c.spec), c.parts); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// Pulses asked for piece by piece are the same as all at once.
func TestPulsesPiecewise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 5))
	for range 30 {
		s := randomSpec(t, r)
		s.CountIn.Measures = r.IntN(5)
		s.PickUp = float64(r.IntN(2)) / 2
		s.Holds = []Hold{{Position{s.Measures / 2, 1}, 9}, {Position{3, 1}, 4}, {Position{1, 1}, 3}}
		m := build(t, s)
		for _, parts := range []int{0, 1, 3} {
			want := slices.Collect(m.Pulses(math.Inf(-1), math.Inf(1), parts))
			var got []Beat
			for from := 0.0; from < m.End()+1; {
				to := from + 0.01 + 2*r.Float64()
				got = slices.AppendSeq(got, m.Pulses(from, to, parts))
				from = to
			}
			if !slices.Equal(got, want) {
				t.Fatalf("%d pulses piecewise, %d at once", len(got), len(want))
			}
		}
	}
	m := build(t, Spec{Measures: 3, Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 60}}})
	for range m.Beats() {
		break // a caller may stop
	}
	if n := len(slices.Collect(m.Pulses(100, 200, 1))); n != 0 {
		t.Errorf("%d pulses after the end", n)
	}
}

// A tempo of its own in the pick-up: the count-in takes it, since that is the
// first tempo of the piece.
func TestTempoInPickUp(t *testing.T) {
	m := build(t, Spec{CountIn: CountIn{Measures: 1}, PickUp: 1, Measures: 1, Changes: []Change{
		{Measure: 0, Meter: meter(t, "3/4"), BPM: 60}, {Measure: 1, BPM: 120},
	}})
	if got, want := trace(m, 1), "0:1.1DCQ 1:1.2C 2:0.3 3:1.1D 3.5:1.2 4:1.3"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// Each span of an excerpt passes as it does in the whole piece.
func TestExcerpt(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 2))
	for range 30 {
		s := randomSpec(t, r)
		s.CountIn.Measures = 2
		s.Holds = []Hold{{Position{s.Measures / 2, 1.25}, 3}}
		m := build(t, s)
		half, end := s.Measures/2, s.Measures
		spans := []Span{{1, half}, {3, half + 2}, {half, end}}
		e, err := m.Excerpt(spans...)
		if err != nil {
			t.Fatal(err)
		}
		played := build(t, e)
		if n := half + half + (end - half + 1); played.Measures() != n {
			t.Fatalf("%d measures, want %d", played.Measures(), n)
		}
		at := 1
		for _, sp := range spans {
			origin := seconds(t, m, sp.From, 1)
			began := seconds(t, played, at, 1)
			for n := sp.From; n <= sp.To; n++ {
				for b := 1.0; b < float64(m.Meter(n).Beats()+1); b += 0.75 {
					want := seconds(t, m, n, b) - origin
					if got := seconds(t, played, at+n-sp.From, b) - began; math.Abs(got-want) > 1e-8 {
						t.Fatalf("span %v measure %d beat %g: %.10f s after its start, in the piece %.10f", sp, n, b,
							got, want)
					}
				}
			}
			at += sp.To - sp.From + 1
		}
	}
}

func TestExcerptKeepsPickUp(t *testing.T) {
	m := build(t, Spec{CountIn: CountIn{Measures: 1}, PickUp: 1, Measures: 4, Changes: []Change{
		{Measure: 0, Meter: meter(t, "3/4"), BPM: 60}, {Measure: 1, BPM: 120}, {Measure: 3, Meter: meter(t, "2/4")},
	}, Holds: []Hold{{Position{0, 1}, 1}, {Position{5, 1}, 2}}})
	e, err := m.Excerpt(Span{1, 4})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := trace(build(t, e), 1), trace(m, 1); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	near(t, "end", build(t, e).End(), m.End())
	late, err := m.Excerpt(Span{3, 3})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := trace(build(t, late), 1), "0:1.1DCQ 0.5:1.2C 1:1.1D 1.5:1.2"; got != want {
		t.Errorf("re-take: got %s, want %s", got, want)
	}
	for _, bad := range [][]Span{nil, {{0, 2}}, {{3, 2}}, {{2, 5}}} {
		if _, err := m.Excerpt(bad...); err == nil {
			t.Errorf("%v is an excerpt", bad)
		}
	}
	long := make([]Span, MaxMeasures)
	for i := range long {
		long[i] = Span{1, 4}
	}
	if _, err := m.Excerpt(long...); err == nil {
		t.Error("an excerpt without end")
	}
}

// Whatever the numbers, New either refuses or gives a clock that only goes
// forward and comes back to where it was.
func FuzzNew(f *testing.F) {
	f.Add(4, 120.0, 60.0, 2, 4, 1.0, 8, 0.0, 1.0, 0.5)
	f.Add(10000, 1.0, 2000.0, 1, 10001, 0.5, 64, 0.5, 4.0, 300.0)
	f.Add(1, math.NaN(), math.Inf(1), -1, 0, math.Inf(-1), -5, math.NaN(), math.NaN(), math.NaN())
	f.Add(3, 2000.0, 1.0, 3, 4, 1.0, 0, 2.9, 1.0, 1e-300)
	f.Fuzz(func(t *testing.T, measures int, bpm, rampTo float64, at, until int, atBeat float64, countIn int, pickUp,
		holdBeat, hold float64) {
		fourFour, _ := ParseMeter("4/4")
		m, err := New(Spec{CountIn: CountIn{Measures: countIn}, PickUp: pickUp, Measures: measures,
			Changes: []Change{{Measure: 1, Meter: fourFour, BPM: bpm},
				{Measure: at, At: atBeat, RampTo: rampTo, Until: until}},
			Holds: []Hold{{Position{at, holdBeat}, hold}}})
		if err != nil {
			if len(Errors(err)) == 0 {
				t.Fatalf("not a list of faults: %v", err)
			}
			return
		}
		end := m.End()
		if !(end > 0) || math.IsInf(end, 0) {
			t.Fatalf("ends at %v", end)
		}
		last := math.Inf(-1)
		for i := range 20 {
			s := end * float64(i) / 20
			q := m.QuartersAt(s)
			if q < last {
				t.Fatalf("at %v s quarter %v after %v", s, q, last)
			}
			last = q
			if back := m.SecondsAt(q); back > s+1e-6 || back < s-hold-1e-6 {
				t.Fatalf("%v s came back as %v", s, back)
			}
		}
	})
}

func BenchmarkBeats(b *testing.B) {
	fourFour, _ := ParseMeter("4/4")
	m, err := New(Spec{CountIn: CountIn{Measures: 8}, Measures: 1320,
		Changes: []Change{{Measure: 1, Meter: fourFour, BPM: 88, RampTo: 132, Until: 1000}}})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		for range m.Beats() {
		}
	}
}
