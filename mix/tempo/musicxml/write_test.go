package musicxml

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// A written stub, read back, has every beat where the map has it, within half a sample
// at 48 kHz; holds, which a fermata cannot say, left aside.
func TestWrittenStubComesBack(t *testing.T) {
	for _, spec := range []tempo.Spec{
		{Measures: 3, Changes: []tempo.Change{{Measure: 1, Meter: meterOf(t, "2/2"), BPM: 88}}},
		{Measures: 12, PickUp: 1.5, Changes: []tempo.Change{{Measure: 1, Meter: meterOf(t, "4/4"), BPM: 97},
			{Measure: 4, Meter: meterOf(t, "6/8"), BPM: 71}, {Measure: 6, RampTo: 50, Until: 8},
			{Measure: 9, Meter: meterOf(t, "3/4+3/8"), BPM: 133}, {Measure: 11, Meter: meterOf(t, "3+2/8")}}},
	} {
		m, err := tempo.New(spec)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		o := WriteOptions{Title: "Round <&>", Marks: []score.Mark{{Measure: 2, Text: "A"}}}
		if err := Write(&b, m, o); err != nil {
			t.Fatal(err)
		}
		s, err := Read(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		back, err := tempo.New(s.Spec)
		if err != nil {
			t.Fatal(err)
		}
		if s.Title != "Round <&>" || len(s.Marks) != 1 || s.Marks[0] != o.Marks[0] {
			t.Errorf("title %q, marks %v", s.Title, s.Marks)
		}
		if back.Measures() != m.Measures() || back.Spec().PickUp != m.Spec().PickUp {
			t.Fatalf("%d measures and a pick-up of %g", back.Measures(), back.Spec().PickUp)
		}
		for x := range m.Beats() {
			at := back.SecondsAt(m.QuartersAt(x.Seconds))
			if d := math.Abs(at - x.Seconds); d > 0.5/48000 {
				t.Errorf("measure %d beat %d: %.6f s, want %.6f", x.Measure, x.Number, at, x.Seconds)
			}
		}
		for n := 1; n <= m.Measures(); n++ {
			if back.Meter(n) != m.Meter(n) {
				t.Errorf("measure %d is in %v, want %v", n, back.Meter(n), m.Meter(n))
			}
		}
	}
	m, err := tempo.New(tempo.Spec{Measures: 2,
		Changes: []tempo.Change{{Measure: 1, Meter: meterOf(t, "4/4"), BPM: 60}},
		Holds:   []tempo.Hold{{At: tempo.Position{Measure: 2, Beat: 3}, Seconds: 1}},
		Paper:   []tempo.Place{{Number: "1", Pass: 1}, {Number: "1", Pass: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Write(&b, m, WriteOptions{}); err != nil || strings.Count(b.String(), "<fermata/>") != 1 ||
		!strings.Contains(b.String(), "<words>1/2</words>") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func meterOf(t *testing.T, s string) tempo.Meter {
	t.Helper()
	m, err := tempo.ParseMeter(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
