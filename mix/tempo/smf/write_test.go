package smf

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ripieno/mix/tempo"
)

func meter(t testing.TB, s string) tempo.Meter {
	t.Helper()
	m, err := tempo.ParseMeter(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func build(t testing.TB, s tempo.Spec) *tempo.Map {
	t.Helper()
	m, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// mixed returns a piece with everything a tempo map can have.
func mixed(t testing.TB, in tempo.CountIn, pickUp float64) *tempo.Map {
	return build(t, tempo.Spec{
		CountIn: in, PickUp: pickUp, Measures: 40,
		Changes: []tempo.Change{
			{Measure: 1, Meter: meter(t, "2/2"), BPM: 88.3},
			{Measure: 5, Meter: meter(t, "6/8"), BPM: 71.7},
			{Measure: 9, RampTo: 53.1, Until: 14},
			{Measure: 14, Meter: meter(t, "3+2/8"), BPM: 233},
			{Measure: 20, Meter: meter(t, "4/4"), BPM: 97, RampTo: 183, Until: 41},
		},
		Holds: []tempo.Hold{{At: tempo.Position{Measure: 7, Beat: 2}, Seconds: 1.7}, {At: tempo.Position{Measure: 20,
			Beat: 1}, Seconds: 4}, {At: tempo.Position{Measure: 33, Beat: 1.5}, Seconds: 0.3}},
	})
}

// Every click of a written file, read back by the reader, is within half a
// sample at 48 kHz of the tempo map, on the right drum.
func TestWrittenClicksComeBack(t *testing.T) {
	for _, c := range []struct {
		in     tempo.CountIn
		pickUp float64
		parts  int
	}{{tempo.CountIn{Measures: 8}, 0, 1}, {tempo.CountIn{Measures: 4}, 0.5, 1}, {tempo.CountIn{}, 0, 3},
		{tempo.CountIn{}, 1.5, 1}, {tempo.CountIn{Measures: 2}, 0, -1}} {
		m := mixed(t, c.in, c.pickUp)
		var b bytes.Buffer
		if err := Write(&b, m, Options{Title: "Round", Subdivisions: c.parts}); err != nil {
			t.Fatal(err)
		}
		s := read(t, b.Bytes())
		if s.Title != "Round" || len(s.Parts) != 1 || s.Parts[0].Name != "Click" {
			t.Fatalf("title %q, parts %v", s.Title, s.Parts)
		}
		back := build(t, s.Spec)
		got := s.Parts[0].Seconds(back)
		want := slices.Collect(m.Pulses(math.Inf(-1), math.Inf(1), max(c.parts, 0)))
		if len(got) != len(want) {
			t.Fatalf("%d clicks came back, %d were written", len(got), len(want))
		}
		worst := 0.0
		for i, w := range want {
			// A fractional pick-up without count-in puts the first beat
			// after tick 0; guide time is the same in both.
			worst = max(worst, math.Abs(got[i]-w.Seconds))
			key := SideStick
			switch {
			case w.Cue:
				key = ClosedHiHat
			case w.Part > 0:
				key = LowWoodBlock
			}
			if note := s.Parts[0].Onsets[i].Note; note != key {
				t.Errorf("click %d is note %d, want %d", i, note, key)
			}
		}
		if worst > 0.5/48000 {
			t.Errorf("%+v: off by %.2f samples", c, worst*48000)
		}
		if d := math.Abs(back.End() - m.End()); d > 0.5/48000 {
			t.Errorf("%+v: the end is off by %.2f samples", c, d*48000)
		}
	}
}

// An hour at 88, whose 681818.18 µs per quarter cannot be written exactly.
func TestNoDriftInAnHour(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 1320, Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 88}}})
	var b bytes.Buffer
	if err := Write(&b, m, Options{}); err != nil {
		t.Fatal(err)
	}
	s := read(t, b.Bytes())
	back := build(t, s.Spec)
	i := 0
	onsets := s.Parts[0].Seconds(back)
	for beat := range m.Beats() {
		if d := math.Abs(onsets[i] - beat.Seconds); d > 10e-6 {
			t.Fatalf("beat %d is off by %.1f µs", i, d*1e6)
		}
		i++
	}
	if i != 5280 || len(onsets) != i {
		t.Errorf("%d beats, %d onsets", i, len(onsets))
	}
}

// Plain tempos stay plain: one tempo event, and meta events byte for byte as
// the Standard MIDI Files 1.0 specification has them.
func TestWrittenBytes(t *testing.T) {
	m := build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 2}, Measures: 30, Changes: []tempo.Change{
		{Measure: 1, Meter: meter(t, "4/4"), BPM: 120}, {Measure: 20, Meter: meter(t, "6/8"), BPM: 80}}})
	var b bytes.Buffer
	if err := Write(&b, m, Options{Title: "Round"}); err != nil {
		t.Fatal(err)
	}
	data := b.String()
	if !strings.HasPrefix(data, "MThd\x00\x00\x00\x06\x00\x01\x00\x02\x03\xc0MTrk") {
		t.Errorf("header % x", data[:22])
	}
	for _, want := range []string{"\xff\x03\x05Round", "\xff\x58\x04\x04\x02\x18\x08", "\xff\x58\x04\x06\x03\x24\x08",
		"\xff\x51\x03\x07\xa1\x20", "\xff\x2f\x00", "\x99\x25\x7f", "\x99\x2a\x7f"} {
		if !strings.Contains(data, want) {
			t.Errorf("% x is missing", want)
		}
	}
	// Half = 60 and dotted quarter = 80 are both 120 quarters a minute.
	if n := strings.Count(data, "\xff\x51"); n != 1 {
		t.Errorf("%d tempo events", n)
	}
}

// The pick-up of a piece without count-in comes back as one.
func TestPickUpComesBack(t *testing.T) {
	m := build(t, tempo.Spec{PickUp: 1.5, Measures: 3,
		Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 100}}})
	var b bytes.Buffer
	if err := Write(&b, m, Options{}); err != nil {
		t.Fatal(err)
	}
	s := read(t, b.Bytes())
	if s.Spec.PickUp != 1.5 || s.Spec.Measures != 3 {
		t.Error(describe(s))
	}
}

func TestWriteRefuses(t *testing.T) {
	long := build(t, tempo.Spec{Measures: 3, Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 100}},
		Holds: []tempo.Hold{{At: tempo.Position{Measure: 2, Beat: 3}, Seconds: 20}}})
	if err := Write(&bytes.Buffer{}, long, Options{}); err == nil ||
		err.Error() != "midi file: measure 2, beat 3: a quarter note of 20.6 s is longer than a MIDI file can "+
			"say (16.7 s)" {
		t.Error(err)
	}
	odd := build(t, tempo.Spec{PickUp: 1.0 / 3, Measures: 3,
		Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 100}}})
	if err := Write(&bytes.Buffer{}, odd, Options{}); err == nil ||
		!strings.Contains(err.Error(), "a pick-up of 0.333333 quarter notes has no time signature") {
		t.Error(err)
	}
	for n := range 3 {
		fails := failing(n)
		if err := Write(&fails, build(t, tempo.Spec{Measures: 1, Changes: []tempo.Change{
			{Measure: 1, Meter: meter(t, "4/4"), BPM: 100}}}), Options{}); !errors.Is(err, errBroken) {
			t.Errorf("chunk %d could not be written: %v", n+1, err)
		}
	}
}

// failing is a writer that takes that many writes.
type failing int

func (f *failing) Write(b []byte) (int, error) {
	if *f == 0 {
		return 0, errBroken
	}
	*f--
	return len(b), nil
}

func TestLongTitle(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 1, Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 100}}})
	var b bytes.Buffer
	if err := Write(&b, m, Options{Title: strings.Repeat("ä", 100) + "x"}); err != nil {
		t.Fatal(err)
	}
	if got := read(t, b.Bytes()).Title; got != strings.Repeat("ä", 60) {
		t.Errorf("title %q", got)
	}
}

func BenchmarkRead(b *testing.B) {
	m := build(b, tempo.Spec{Measures: 1320, Changes: []tempo.Change{
		{Measure: 1, Meter: meter(b, "4/4"), BPM: 88, RampTo: 99, Until: 700}}})
	var file bytes.Buffer
	if err := Write(&file, m, Options{Subdivisions: 4}); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(file.Len()))
	for b.Loop() {
		if _, err := Read(bytes.NewReader(file.Bytes())); err != nil {
			b.Fatal(err)
		}
	}
}

// Random pieces with ramps, holds and odd meters come back click for click.
func TestRandomPiecesComeBack(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 28))
	meters := []string{"4/4", "3/4", "2/2", "6/8", "3+2/8", "5/8", "7/8", "9/8", "3/4 in 1"}
	for range 25 {
		s := tempo.Spec{CountIn: tempo.CountIn{Measures: r.IntN(5)}, Measures: 30}
		for n := 1; n <= 30; n += 3 + r.IntN(5) {
			c := tempo.Change{Measure: n, Meter: meter(t, meters[r.IntN(len(meters))]), BPM: 50 + 130*r.Float64()}
			if r.IntN(2) == 0 {
				c.RampTo, c.Until = c.BPM*(0.6+r.Float64()), min(n+1+r.IntN(2), 31)
			}
			s.Changes = append(s.Changes, c)
			s.Holds = append(s.Holds, tempo.Hold{At: tempo.Position{Measure: n, Beat: 1 + 0.5*float64(r.IntN(2))},
				Seconds: 3 * r.Float64()})
		}
		m := build(t, s)
		var b bytes.Buffer
		if err := Write(&b, m, Options{Subdivisions: 2}); err != nil {
			t.Fatal(err)
		}
		back := read(t, b.Bytes())
		got := back.Parts[0].Seconds(build(t, back.Spec))
		i := 0
		for p := range m.Pulses(math.Inf(-1), math.Inf(1), 2) {
			if i == len(got) {
				t.Fatalf("only %d clicks came back", i)
			}
			if d := math.Abs(got[i] - p.Seconds); d > 0.5/48000 {
				t.Fatalf("click %d is off by %.2f samples: %+v\n%+v", i, d*48000, p, s)
			}
			i++
		}
		if i != len(got) {
			t.Fatalf("%d clicks came back, %d were written", len(got), i)
		}
	}
}
