package tempo

import (
	"math"
	"testing"
)

// sample is the length of one sample of the guide in seconds.
const sample = 1.0 / 48000

func meter(t testing.TB, s string) Meter {
	t.Helper()
	m, err := ParseMeter(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func unit(t testing.TB, s string) Unit {
	t.Helper()
	u, err := ParseUnit(s)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func build(t testing.TB, s Spec) *Map {
	t.Helper()
	m, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func seconds(t testing.TB, m *Map, measure int, beat float64) float64 {
	t.Helper()
	s, err := m.Seconds(Position{measure, beat})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t testing.TB, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9) {
		t.Errorf("%s = %.12f, want %.12f", what, got, want)
	}
}

// Measure lengths from handbook conversions: dotted quarter = 80 in 6/8 is 120
// quarters a minute and 1.5 s a measure, half = 60 in 2/2 is 120 quarters a
// minute and 2 s a measure. The rest is the definition of beats a minute.
func TestMeasureLength(t *testing.T) {
	for _, c := range []struct {
		meter, beat string
		bpm, want   float64
	}{
		{"6/8", "", 80, 1.5},
		{"6/8", "dotted-quarter", 80, 1.5},
		{"6/8", "quarter", 120, 1.5},
		{"6/8", "eighth", 240, 1.5},
		{"2/2", "", 60, 2},
		{"2/2", "half", 60, 2},
		{"2/2", "quarter", 120, 2},
		{"C|", "", 60, 2},
		{"4/4", "", 120, 2},
		{"4/4 in 2", "", 60, 2},
		{"3/4", "", 90, 2},
		{"3/4 in 1", "", 60, 1},
		{"9/8", "", 60, 3},
		{"12/8", "", 60, 4},
		{"3/8", "", 180, 1},
		{"5/8", "", 150, 2},
		{"3+2/8", "", 150, 2},
		{"2+2+3/8", "eighth", 210, 2},
		{"3+2/4", "", 150, 2},
		{"6/4", "", 60, 2},
		{"6/8 in 6", "", 180, 2},
	} {
		s := Spec{Measures: 3, Changes: []Change{{Measure: 1, Meter: meter(t, c.meter), BPM: c.bpm}}}
		if c.beat != "" {
			s.Changes[0].Beat = unit(t, c.beat)
		}
		m := build(t, s)
		near(t, c.meter+" "+c.beat, seconds(t, m, 2, 1), c.want)
		near(t, c.meter+" end", m.End(), 3*c.want)
	}
}

func TestCountInCueAndPickUp(t *testing.T) {
	s := Spec{
		CountIn: CountIn{Measures: 8}, PickUp: 1.5, Measures: 2,
		Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 120}},
	}
	m := build(t, s)
	near(t, "cue", m.Cue(), 8) // downbeat of count-in measure 5
	near(t, "measure 1", seconds(t, m, 1, 1), 16)
	near(t, "start", m.Start(), 16-0.75)
	near(t, "pick-up", seconds(t, m, 0, 1), m.Start())
	near(t, "pick-up beat 2", seconds(t, m, 0, 2), 15.75)
	near(t, "count-in measure 1", seconds(t, m, -8, 1), 0)
	near(t, "end", m.End(), 20)
	n, cues := 0, 0
	for b := range m.Beats() {
		if b.Cue {
			cues++
			near(t, "cue beat", b.Seconds, m.Cue())
			if b.Measure != 5 || b.Number != 1 {
				t.Errorf("cue is %+v", b)
			}
		}
		near(t, "beat", b.Seconds, float64(n)*0.5)
		near(t, "length", b.Length, 0.5)
		if b.CountIn != (n < 31) {
			t.Errorf("beat %d: %+v", n, b)
		}
		n++
	}
	if n != 40 || cues != 1 {
		t.Errorf("%d beats, %d cues", n, cues)
	}
}
