package click

import (
	"math"
	"strings"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/tempo"
)

func pulse(t testing.TB, s string) tempo.Meter {
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

func guideOf(t testing.TB, m *tempo.Map, o Options) audio.Source {
	t.Helper()
	g, err := Guide(m, o)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func samples(t testing.TB, m *tempo.Map, o Options) []float64 {
	t.Helper()
	b, err := audio.ReadAll(guideOf(t, m, o))
	if err != nil {
		t.Fatal(err)
	}
	return b[0]
}

// varied has all that can move a click: pick-up, meters, units, ramps, holds.
func varied(t testing.TB) *tempo.Map {
	return build(t, tempo.Spec{
		CountIn: tempo.CountIn{Measures: 4}, PickUp: 0.5, Measures: 16,
		Changes: []tempo.Change{
			{Measure: 1, Meter: pulse(t, "2/2"), BPM: 88},
			{Measure: 3, Meter: pulse(t, "6/8"), BPM: 71},
			{Measure: 5, RampTo: 53.7, Until: 8},
			{Measure: 8, Meter: pulse(t, "3+2/8"), BPM: 233},
			{Measure: 12, Meter: pulse(t, "3+2/4"), BPM: 147, RampTo: 181, Until: 17},
		},
		Holds: []tempo.Hold{{At: tempo.Position{Measure: 7, Beat: 2}, Seconds: 1.7}},
	})
}

func TestGuideIsASource(t *testing.T) {
	m := build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 1}, Measures: 2,
		Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "6/8"), BPM: 100}}})
	audiotest.Source(t, func() audio.Source {
		return guideOf(t, m, Options{Subdivisions: Written, CountTones: true, Tail: 0.1234, Drones: []Drone{
			{From: 0.501, To: 2.2, MIDINote: 50, Fifth: true}, {From: 2.2, To: 99, MIDINote: 43},
		}})
	})
	if n, err := guideOf(t, m, Options{}).Read(audio.NewBlock(2, 10)); n != 0 || err == nil {
		t.Errorf("read into two channels: %d, %v", n, err)
	}
	if n, err := guideOf(t, m, Options{}).Read(audio.NewBlock(1, 0)); n != 0 || err != nil {
		t.Errorf("read of nothing: %d, %v", n, err)
	}
}

// Every pulse of a piece with changes, ramps and a hold begins at the sample
// nearest to its time: silence before it where the last sound has died away,
// and the first sample of its own sound at it. With subtraction of nothing
// else this is exact to the sample and to the value.
func TestOnsetsAtTheExactSample(t *testing.T) {
	m := varied(t)
	for _, parts := range []int{1, Written} {
		o := Options{Subdivisions: parts}
		wave := samples(t, m, o)
		kit := newKit(1)
		count := 0
		ask := max(parts, 0)
		for b := range m.Pulses(math.Inf(-1), math.Inf(1), ask) {
			at := int(math.Round(b.Seconds * 48000))
			sound := kit.sound(b)
			for i := range 20 {
				if wave[at+i] != sound[i] {
					t.Fatalf("pulse %+v: sample %d is %v, want %v", b, at+i, wave[at+i], sound[i])
				}
			}
			if at > 0 && math.Abs(wave[at-1]) > 1e-3*math.Abs(sound[0]) {
				t.Fatalf("pulse %+v: the sample before it is %v", b, wave[at-1])
			}
			count++
		}
		if count < 55 {
			t.Errorf("only %d pulses", count)
		}
	}
}

// Handbook conversions: dotted quarter = 80 in 6/8 clicks every 36000 samples,
// half = 60 in 2/2 every 48000.
func TestHandbookClicks(t *testing.T) {
	for _, c := range []struct {
		meter, unit string
		bpm         float64
		every       int
	}{{"6/8", "dotted-quarter", 80, 36000}, {"6/8", "quarter", 120, 36000}, {"2/2", "half", 60, 48000},
		{"2/2", "quarter", 120, 48000}} {
		u, err := tempo.ParseUnit(c.unit)
		if err != nil {
			t.Fatal(err)
		}
		m := build(t, tempo.Spec{Measures: 3,
			Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, c.meter), Beat: u, BPM: c.bpm}}})
		wave := samples(t, m, Options{})
		if got := onsets(wave); len(got) != 6 || got[0] != 0 || got[5] != 5*c.every || got[1] != c.every {
			t.Errorf("%s %s = %g: clicks at %v, want every %d", c.meter, c.unit, c.bpm, got, c.every)
		}
	}
}

// onsets finds the samples above −25 dB that follow 10 ms of less than −60 dB.
func onsets(wave []float64) []int {
	var found []int
	quiet := 480
	for i, v := range wave {
		switch a := math.Abs(v); {
		case a > 0.056 && quiet >= 480:
			found = append(found, i)
			quiet = 0
		case a > 0.001:
			quiet = 0
		default:
			quiet++
		}
	}
	return found
}

// The last click of an hour is at the sample that the tempo says, found in the
// stream without holding it, and the stream ends with the last measure.
func TestNoDriftInAnHour(t *testing.T) {
	if testing.Short() {
		t.Skip("an hour of audio")
	}
	// 88 beats a minute: 32727.27 samples a beat. 5280 beats.
	m := build(t, tempo.Spec{Measures: 1320, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 88}}})
	src := guideOf(t, m, Options{})
	block := audio.NewBlock(1, 1<<15)
	var frames int
	next, quiet := 0, 480
	for {
		n, err := src.Read(block)
		for i, v := range block[0][:n] {
			if a := math.Abs(v); a > 0.056 && quiet >= 480 {
				if want := int(math.Round(float64(next) * 60 * 48000 / 88)); frames+i != want {
					t.Fatalf("click %d at sample %d, want %d", next, frames+i, want)
				}
				next++
				quiet = 0
			} else if a > 0.001 {
				quiet = 0
			} else {
				quiet++
			}
		}
		frames += n
		if err != nil {
			break
		}
	}
	if next != 5280 || frames != 3600*48000 {
		t.Errorf("%d clicks in %d samples", next, frames)
	}
}

// Memory does not grow with the piece: ten times the length allocates no more.
func TestMemoryIsFlat(t *testing.T) {
	block := audio.NewBlock(1, 4096)
	spend := func(measures int) float64 {
		m := build(t, tempo.Spec{Measures: measures,
			Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 200, RampTo: 100, Until: measures}}})
		src := guideOf(t, m, Options{Drones: []Drone{{From: 0, To: m.End(), MIDINote: 50}}})
		return testing.AllocsPerRun(1, func() {
			for range 100 {
				if _, err := src.Read(block); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
	short, long := spend(40), spend(400)
	if long > short+50 {
		t.Errorf("100 blocks allocate %g times in a long piece, %g in a short one", long, short)
	}
}

func TestOptionsRefused(t *testing.T) {
	m := build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 1}, Measures: 2,
		Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 120}}})
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{PitchHz: 300}, "reference pitch of 300 Hz is not between 380 and 480"},
		{Options{PitchHz: math.NaN()}, "reference pitch of NaN Hz is not between 380 and 480"},
		{Options{Subdivisions: 9}, "9 subdivisions of a beat"},
		{Options{Subdivisions: -2}, "-2 subdivisions of a beat"},
		{Options{Tail: -1}, "a tail of -1 seconds"},
		{Options{Tail: math.Inf(1)}, "a tail of +Inf seconds"},
		{Options{ClickDB: audio.Decibels(math.NaN())}, "a level of NaN dB"},
		{Options{DroneDB: audio.Decibels(math.Inf(1))}, "a level of +Inf dB"},
		{Options{Drones: []Drone{{From: 2, To: 2, MIDINote: 60}}}, "a drone from 2 to 2 seconds"},
		{Options{Drones: []Drone{{From: 2, To: math.Inf(1), MIDINote: 60}}}, "a drone from 2 to +Inf seconds"},
		{Options{Drones: []Drone{{From: 0, To: 2, MIDINote: 128}}}, "a drone on note 128"},
		{Options{ClickDB: 12}, "(clicks alone), more than -3: lower them by 7.0 dB"},
		{Options{DroneDB: 40, Drones: []Drone{{From: 0, To: 2, MIDINote: 60}}}, "more than -3"},
	} {
		g, err := Guide(m, c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) || g != nil {
			t.Errorf("%+v: %v, want %q", c.o, err, c.want)
		}
	}
}

func TestLevelsOff(t *testing.T) {
	m := varied(t)
	silent := audio.Decibels(math.Inf(-1))
	for i, v := range samples(t, m, Options{ClickDB: silent, DroneDB: silent,
		Drones: []Drone{{From: 0, To: 2, MIDINote: 60}}}) {
		if v != 0 {
			t.Fatalf("sample %d is %v with all off", i, v)
		}
	}
	drone := samples(t, m, Options{ClickDB: silent, Drones: []Drone{{From: 1, To: 2, MIDINote: 60}}})
	if drone[47999] != 0 || drone[96000] != 0 || drone[72000] == 0 {
		t.Error("the drone alone is not where it should be")
	}
}

func TestParseNote(t *testing.T) {
	// Note 60 is C4 (General MIDI).
	for text, want := range map[string]int{
		"C4": 60, "A4": 69, "D3": 50, "F#2": 42, "Bb3": 58, "B♭3": 58, "G♯3": 56, "c4": 60, "C-1": 0, "G9": 127,
		"Cb4": 59, "B#3": 60, " G2 ": 43,
	} {
		if got, err := ParseNote(text); err != nil || got != want {
			t.Errorf("%q is %d, %v; want %d", text, got, err, want)
		}
	}
	for _, bad := range []string{"", "H3", "D", "3D", "-3", "D#", "D##3", "D3.5", "D+3", "Ab10", "G#9", "Cb-1", "D 3 x",
		"\xff3", "♭3"} {
		if got, err := ParseNote(bad); err == nil {
			t.Errorf("%q is note %d", bad, got)
		}
	}
}

func FuzzParseNote(f *testing.F) {
	for _, s := range []string{"C4", "Bb3", "F#2", "G♯9", "", "A-1", "b9", "Cb99999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if n, err := ParseNote(s); err == nil && (n < 0 || n > 127) {
			t.Errorf("%q is note %d", s, n)
		}
	})
}

// BenchmarkTenMinutes makes a guide of ten minutes with a drone and its fifth
// throughout, the dearest kind.
func BenchmarkTenMinutes(b *testing.B) {
	m := build(b, tempo.Spec{CountIn: tempo.CountIn{Measures: 8}, Measures: 292,
		Changes: []tempo.Change{{Measure: 1, Meter: pulse(b, "4/4"), BPM: 120}}})
	block := audio.NewBlock(1, 4096)
	b.ReportAllocs()
	for b.Loop() {
		src := guideOf(b, m, Options{Subdivisions: 2,
			Drones: []Drone{{From: 0, To: m.End(), MIDINote: 38, Fifth: true}}})
		for {
			if _, err := src.Read(block); err != nil {
				break
			}
		}
	}
}
