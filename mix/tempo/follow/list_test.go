package follow

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// mapOf returns the map of a piece without a count-in.
func mapOf(t testing.TB, meter string, measures int, pickUp float64) *tempo.Map {
	t.Helper()
	m, err := tempo.New(specOf(t, meter, measures, pickUp))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func specOf(t testing.TB, meter string, measures int, pickUp float64) tempo.Spec {
	t.Helper()
	parsed, err := tempo.ParseMeter(meter)
	if err != nil {
		t.Fatal(err)
	}
	first := 1
	if pickUp > 0 {
		first = 0
	}
	return tempo.Spec{PickUp: pickUp, Measures: measures,
		Changes: []tempo.Change{{Measure: first, Meter: parsed, BPM: 60}}}
}

func TestParse(t *testing.T) {
	at := func(measure int, beat float64) tempo.Position { return tempo.Position{Measure: measure, Beat: beat} }
	for text, want := range map[string][]Line{
		"1.5\n2\n":                       {{Number: 1, At: 1.5}, {Number: 2, At: 2}},
		"\ufeff1:02.25 m3\r\n":           {{Number: 1, At: 62.25, Place: at(3, 1)}},
		"1.5\t1.5\tm2.3":                 {{Number: 1, At: 1.5, Place: at(2, 3)}},
		"1.5\t1.5\tm2.3 @1.500 ?":        {{Number: 1, At: 1.5, Place: at(2, 3), Found: true, Weak: true}},
		"1.52\t1.52\tm2.3 @1.500":        {{Number: 1, At: 1.52, Place: at(2, 3)}},
		"1.500400\t1.5004\tm2.3 @1.500":  {{Number: 1, At: 1.5004, Place: at(2, 3), Found: true}},
		"# taps\n\n1.5,m0.2\n":           {{Number: 3, At: 1.5, Place: at(0, 2)}},
		"1,5;m4.1":                       {{Number: 1, At: 1.5, Place: at(4, 1)}},
		"1,5":                            {{Number: 1, At: 1.5}},
		"3 5.2":                          {{Number: 1, At: 3, Place: at(5, 2)}},
		"3 clap":                         {{Number: 1, At: 3}},
		"2 m1.2\n1 m1.1":                 {{Number: 2, At: 1, Place: at(1, 1)}, {Number: 1, At: 2, Place: at(1, 2)}},
		"0.000\t0.000\tbeats of a, 1\n3": {{Number: 2, At: 3}},
		"":                               nil,
	} {
		got, _, err := Parse([]byte(text))
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for text, says := range map[string]string{
		"1.5\nnow\n": "line 2: \"now\" is not a time", "1.5\n1.5": "line 2: the beat at 1.500 s is on line 1 too",
		"a\x00b": "not a text", "1.5 " + strings.Repeat("x", 2000): "longer than", "-3": "is not a time",
	} {
		if _, _, err := Parse([]byte(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%.20q: %v", text, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte("0.000\t0.000\tbeats of a, 1\n1.5\t1.5\tm2.3 @1.500 ?\n2,5;m3\n1:02.5"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lines, of, err := Parse(data)
		if err != nil || len(lines) == 0 {
			return
		}
		for i := range lines { // what has no place is written with none that would be read
			if lines[i].Place.Beat == 0 {
				lines[i].Place = tempo.Position{Measure: 1, Beat: 1}
			}
		}
		again, _, err := Parse(Format(lines, of))
		if err == nil && len(again) != len(lines) {
			t.Errorf("%d lines became %d", len(lines), len(again))
		}
	})
}

// What is written is read back the same, and a line that a person moved is theirs.
func TestFormat(t *testing.T) {
	lines := []Line{{At: 1.25, Place: tempo.Position{Measure: 0, Beat: 1}, Found: true},
		{At: 2.5, Place: tempo.Position{Measure: 1, Beat: 1}}, {At: 3, Place: tempo.Position{Measure: 1, Beat: 2},
			Found: true,
			Weak:  true}}
	text := Format(lines, "a.wav, 12ab")
	const want = "0.000\t0.000\tbeats of a.wav, 12ab\n1.250\t1.250\tm0.1 @1.250\n2.500\t2.500\tm1.1\n" +
		"3.000\t3.000\tm1.2 @3.000 ?\n"
	if string(text) != want {
		t.Errorf("%q", text)
	}
	got, of, err := Parse(text)
	for i := range lines {
		lines[i].Number = i + 2
	}
	if err != nil || of != "a.wav, 12ab" || !reflect.DeepEqual(got, lines) {
		t.Errorf("%+v of %q, %v", got, of, err)
	}
	moved, _, _ := Parse(bytes.Replace(text, []byte("1.250\t1.250"), []byte("1.300\t1.300"), 1))
	if moved[0].Found || !moved[2].Found {
		t.Errorf("%+v", moved)
	}
}

func TestTimes(t *testing.T) {
	m := mapOf(t, "3/4", 2, 1)
	lines, _, err := Parse([]byte("1 m0.1\n2 m1.1\n3\n4 m1.3\n5\n6\n7\n8\n9"))
	if err != nil {
		t.Fatal(err)
	}
	times, err := Times(lines, m)
	if err != nil || len(times) != 8 { // seven beats and the end
		t.Errorf("%v, %v", times, err)
	}
	lines[3].Place.Beat = 2
	if _, err := Times(lines, m); err == nil || err.Error() !=
		"line 4: beat 2 of measure 1 stands where beat 3 of measure 1 is due" {
		t.Error(err)
	}
}

func TestAnchors(t *testing.T) {
	m := mapOf(t, "3+2/8", 4, 0)
	unit := Unit(m)
	if unit != 0.5 {
		t.Fatalf("pulses of %g quarters", unit)
	}
	lines, _, _ := Parse([]byte("1 m1.1 @1.000\n2 m1.2\n3.25 m3.1\n4 hm"))
	got, err := Anchors(lines, m, unit)
	want := []Anchor{{2, 3}, {3.25, 10}, {4, Uncounted}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v, %v", got, err)
	}
	lines[1].Place.Beat = 3
	if _, err := Anchors(lines, m, unit); err == nil || !strings.Contains(err.Error(), "no beat 3 in measure 1") {
		t.Error(err)
	}
}

func TestUnit(t *testing.T) {
	for meter, want := range map[string]float64{"4/4": 1, "2/2": 2, "6/8": 1.5, "3/8": 0.5, "3/4+3/8": 0.5,
		"2+2+3/8": 0.5,
		"3+2/4":   1} {
		if got := Unit(mapOf(t, meter, 1, 0)); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: pulses of %g quarters, not %g", meter, got, want)
		}
	}
}

// Every beat is where the list has it, whatever the meter, and the count-in is as fast
// as the first measure.
func TestClock(t *testing.T) {
	for _, c := range []struct {
		meter    string
		measures int
		pickUp   float64
	}{{"4/4", 3, 0}, {"3/4", 3, 1}, {"6/8", 4, 0}, {"3+2/8", 3, 0}, {"4/4", 2, 2.5}} {
		spec := specOf(t, c.meter, c.measures, c.pickUp)
		spec.CountIn.Measures = 2
		bare, _ := Bare(spec)
		old, err := tempo.New(bare)
		if err != nil {
			t.Fatal(err)
		}
		at, n := 3.0, len(Places(old))
		var times []float64
		for i := range n {
			times = append(times, at)
			at += 0.5 + 0.1*math.Sin(float64(i))
		}
		for _, known := range []int{n, n - 1} { // with and without the end of the piece
			made, err := Clock(spec, times[:known])
			if err != nil {
				t.Fatal(err)
			}
			m, err := tempo.New(made)
			if err != nil {
				t.Fatal(err)
			}
			i, first := 0, math.NaN()
			for b := range m.Beats() {
				if b.CountIn {
					continue
				}
				if i == 0 {
					first = b.Seconds
				}
				if d := b.Seconds - first - (times[i] - times[0]); math.Abs(d) > 1e-9 {
					t.Errorf("%s: beat %d is %g s off", c.meter, i, d)
				}
				i++
			}
			if i != n-1 {
				t.Errorf("%s: %d beats of %d", c.meter, i, n-1)
			}
			if known == n {
				if d := m.End() - first - (times[n-1] - times[0]); math.Abs(d) > 1e-9 {
					t.Errorf("%s: the end is %g s off", c.meter, d)
				}
			}
			beats := m.Meter(1).Beats()
			want := (times[beats] - times[0]) / (Places(old)[beats].Quarter - Places(old)[0].Quarter)
			if got := 60 / m.SpeedAt(-100); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: the count-in has %g s a quarter, the first measure %g", c.meter, got, want)
			}
		}
	}
}

func TestClockRefuses(t *testing.T) {
	spec := specOf(t, "4/4", 2, 0)
	for says, times := range map[string][]float64{
		"no beats": nil, "3 beats, and the piece has 8: from beat 4 of measure 1 on": {1, 2, 3},
		"beat 2 of measure 1 is at 2.000 s and the next at 2.010 s": {1, 2, 2.01, 4, 5, 6, 7, 8},
	} {
		if _, err := Clock(spec, times); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v: %v", times, err)
		}
	}
}

func TestMeasuresOf(t *testing.T) {
	spec := specOf(t, "3/4", 0, 1)
	two, _ := tempo.ParseMeter("2/4")
	spec.Changes = append(spec.Changes, tempo.Change{Measure: 3, Meter: two})
	for beats, want := range map[int]int{0: 0, 3: 0, 4: 1, 7: 2, 8: 2, 9: 3, 13: 5} {
		if got := MeasuresOf(spec, beats); got != want {
			t.Errorf("%d beats fill %d measures, not %d", beats, got, want)
		}
	}
}

// Taps on keys are beats at their times; the fingers of a hand are one.
func TestTaps(t *testing.T) {
	spec := specOf(t, "4/4", 2, 0)
	spec.Changes[0].BPM, spec.Changes[0].RampTo, spec.Changes[0].Until = 90, 120, 3
	m, err := tempo.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	var midi bytes.Buffer
	if err := smf.Write(&midi, m, smf.Options{}); err != nil {
		t.Fatal(err)
	}
	lines, err := Taps(&midi)
	if err != nil || len(lines) != 8 {
		t.Fatalf("%d taps, %v", len(lines), err)
	}
	i := 0
	for b := range m.Beats() {
		if d := lines[i].At - b.Seconds; math.Abs(d) > 0.002 {
			t.Errorf("tap %d is %g s off", i, d)
		}
		i++
	}
	if got := From(lines, 1.35); len(got) != 6 || got[0].At < 1.2 {
		t.Errorf("from 1.35 s on there are %d, the first at %.3f s", len(got), got[0].At)
	}
	if _, err := Taps(strings.NewReader("MThd")); err == nil {
		t.Error("half a file was read")
	}
}
