package playing

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// steady returns a piece in 4/4 at 120 after a count-in of 4 measures: measure n
// begins at 8 + 2·(n−1) seconds.
func steady(t testing.TB, measures int) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{
		CountIn: tempo.CountIn{Measures: 4}, Measures: measures,
		Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: 120}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// made returns a take of the whole piece that sounds at −20 dBFS in the given
// measures and has a room of −70 dBFS in the rest. Its file begins with the
// guide.
func made(m *tempo.Map, sounds []int) Take {
	seconds := m.End() + 2
	f := &align.Features{Duration: seconds, NoiseDB: -70, LoudDB: -20, Level: make([]uint8, int(seconds*100))}
	for i := range f.Level {
		f.Level[i] = 100
		if p := m.Position(float64(i) / 100); slices.Contains(sounds, p.Measure) {
			f.Level[i] = 200
		}
	}
	return Take{Name: "a", Features: f, From: math.Inf(-1), To: math.Inf(1)}
}

func event(at float64) align.Event {
	return align.Event{Time: at, Heard: at, Strength: 10, Level: -20, Rise: 0.01}
}

func upTo(n int, but ...int) []int {
	var all []int
	for m := 1; m <= n; m++ {
		if !slices.Contains(but, m) {
			all = append(all, m)
		}
	}
	return all
}

// With a score, a measure with notes and no sound is missed; a rest is not,
// nor what was trimmed, muted or not recorded.
func TestMissedByScore(t *testing.T) {
	m := steady(t, 8)
	var notes []Note
	for _, k := range upTo(8, 4) { // the score rests in measure 4
		at, _ := m.Seconds(tempo.Position{Measure: k, Beat: 3})
		notes = append(notes, Note{At: at, MIDI: 60})
	}
	for name, c := range map[string]struct {
		sounds []int
		change func(*Take)
		want   []Missed
	}{
		"all there": {sounds: upTo(8, 4)},
		"one":       {sounds: upTo(8, 4, 6), want: []Missed{{6, 6, ByScore}}},
		"a rest":    {sounds: upTo(8, 3, 4, 5), want: []Missed{{3, 3, ByScore}, {5, 5, ByScore}}},
		"a run":     {sounds: upTo(8, 4, 6, 7, 8), want: []Missed{{6, 8, ByScore}}},
		"one note": {sounds: upTo(8, 4, 6),
			change: func(t *Take) { t.Features.Events = []align.Event{event(8 + 2*5 + 1)} }},
		"a click": {sounds: upTo(8, 4, 6), change: func(t *Take) {
			e := event(8 + 2*5 +
				1)
			e.Level = -60
			t.Features.Events = []align.Event{e}
		}, want: []Missed{{6, 6, ByScore}}},
		"trimmed":    {sounds: upTo(8, 4, 6), change: func(t *Take) { t.To = 8 + 2*5 }},
		"muted":      {sounds: upTo(8, 4, 6), change: func(t *Take) { t.Quiet = []Span{{18.5, 19}} }},
		"ends early": {sounds: upTo(8, 4, 8), change: func(t *Take) { t.Features.Duration = 23 }},
		"noisy": {sounds: upTo(8, 4, 6), change: func(t *Take) { t.Features.NoiseDB = -45 },
			want: []Missed{{6, 6, ByScore}}},
	} {
		take := made(m, c.sounds)
		take.Score = notes
		if c.change != nil {
			c.change(&take)
		}
		r := Compare(m, 440, []Take{take})[0]
		if !slices.Equal(r.Missed, c.want) {
			t.Errorf("%s: %+v, want %+v", name, r.Missed, c.want)
		}
		if r.Measures[3].Expected {
			t.Errorf("%s: a sound is expected in a rest", name)
		}
	}
}

// Without a score the others are the reason: three of a part, or everybody for
// more than one measure.
func TestMissedByOthers(t *testing.T) {
	m := steady(t, 8)
	ensemble := func(parts []string, sounds ...[]int) []Take {
		var takes []Take
		for i, s := range sounds {
			t := made(m, s)
			t.Name, t.Part = string(rune('a'+i)), parts[i]
			takes = append(takes, t)
		}
		return takes
	}
	all := upTo(8)
	for name, c := range map[string]struct {
		takes []Take
		want  []Missed // of the first
	}{
		"part": {ensemble([]string{"horn", "horn", "horn", "flute"}, upTo(8, 3), all, all, upTo(8, 3)),
			[]Missed{{3, 3, ByPart}}},
		"part of two": {ensemble([]string{"horn", "horn", "flute"}, upTo(8, 3), all, upTo(8, 3)), nil},
		"one of three": {ensemble([]string{"horn", "horn", "horn", "flute"}, upTo(8, 3), upTo(8, 3), all, upTo(8, 3)),
			nil},
		"everybody": {ensemble([]string{"a", "b", "c", "d"}, upTo(8, 3, 4), all, all, all),
			[]Missed{{3, 4, ByOthers}}},
		"one measure":   {ensemble([]string{"a", "b", "c", "d"}, upTo(8, 3), all, all, all), nil},
		"another rests": {ensemble([]string{"a", "b", "c", "d"}, upTo(8, 3, 4), all, upTo(8, 3, 4), all), nil},
		"only two":      {ensemble([]string{"a", "b", "c"}, upTo(8, 3, 4), all, all), nil},
		"no part":       {ensemble([]string{"", "", "", ""}, upTo(8, 3), all, all, upTo(8, 3)), nil},
	} {
		if got := Compare(m, 440, c.takes)[0].Missed; !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

// tuned returns a take with tones on a scale, each cents away from its note.
func tuned(m *tempo.Map, cents float64, spread float64, n int) Take {
	take := made(m, upTo(m.Measures()))
	take.Tones = &Tones{Version: Version}
	for i := range n {
		note := float64([]int{60, 62, 64, 65, 67}[i%5])
		off := spread * []float64{-1, 0, 1}[i%3]
		at := 8 + 0.5*float64(i)
		take.Tones.Steady = append(take.Tones.Steady,
			Tone{From: at + 0.05, To: at + 0.4, Note: note + (cents+off)/100, Level: -20})
		take.Score = append(take.Score, Note{At: at, MIDI: int(note) - 12}) // another octave is the same note
	}
	return take
}

func TestTuning(t *testing.T) {
	m := steady(t, 16)
	shift := 1200 * math.Log2(442.0/440)
	for name, c := range map[string]struct {
		take   Take
		score  bool
		hz     float64
		cents  float64
		spread float64
	}{
		"in tune":              {take: tuned(m, 0, 0, 20), hz: 440},
		"442 against 440":      {take: tuned(m, shift, 0, 20), hz: 440, cents: 7.8514},
		"442 against 442":      {take: tuned(m, shift, 0, 20), hz: 442},
		"flat":                 {take: tuned(m, -31, 6, 30), hz: 440, cents: -31, spread: 1.4826 * 6},
		"nearly half a tone":   {take: tuned(m, 49, 6, 30), hz: 440, cents: 49, spread: 1.4826 * 6},
		"score":                {take: tuned(m, 5, 0, 20), score: true, hz: 440, cents: 5},
		"score, a semitone":    {take: tuned(m, -104, 4, 30), score: true, hz: 440, cents: -104, spread: 1.4826 * 4},
		"too few":              {take: tuned(m, 0, 0, 5), hz: 440, cents: math.NaN(), spread: math.NaN()},
		"everywhere":           {take: tuned(m, 0, 33.3, 30), hz: 440, cents: math.NaN(), spread: math.NaN()},
		"nothing listened for": {take: made(m, nil), hz: 440, cents: math.NaN(), spread: math.NaN()},
	} {
		if !c.score {
			c.take.Score = nil
		}
		got := Compare(m, c.hz, []Take{c.take})[0].Tuning
		same := func(a, b, by float64) bool { return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= by }
		if !same(got.Cents, c.cents, 1e-4) || !same(got.Spread, c.spread, 0.01) || got.Score != c.score ||
			got.Known() == math.IsNaN(c.cents) {
			t.Errorf("%s: %+v", name, got)
		}
	}
	// The score of another part does not fit, and is not believed.
	take := tuned(m, 8, 0, 20)
	for i := range take.Score {
		take.Score[i].MIDI += 6
	}
	if got := Compare(m, 440, []Take{take})[0].Tuning; got.Score || math.Abs(got.Cents-8) > 1e-6 {
		t.Errorf("with another score: %+v", got)
	}
	// Tuning up before the piece, and what is muted, does not count.
	take = tuned(m, 8, 0, 20)
	take.Score = nil
	take.Tones.Steady = append([]Tone{{From: 1, To: 7, Note: 69.4, Level: -20}}, take.Tones.Steady...)
	if got := Compare(m, 440, []Take{take})[0].Tuning; got.Tones != 20 {
		t.Errorf("with an A before: %+v", got)
	}
	take.Quiet = []Span{{8, 13}}
	if got := Compare(m, 440, []Take{take})[0].Tuning; got.Tones != 10 {
		t.Errorf("muted: %+v", got)
	}
}

// Triplets and sixteenths are told apart by what the player uses, and thirds of
// a dotted beat do not make triplets of the quarters before.
func TestPlacesThatAPlayerUses(t *testing.T) {
	simple, _ := tempo.ParseMeter("2/2")
	lilt, _ := tempo.ParseMeter("6/8")
	dotted, _ := tempo.ParseUnit("dotted-quarter")
	m, err := tempo.New(tempo.Spec{CountIn: tempo.CountIn{Measures: 4}, Measures: 16, Changes: []tempo.Change{
		{Measure: 1, Meter: simple, BPM: 60}, {Measure: 9, Meter: lilt, Beat: dotted, BPM: 60},
	}})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		parts int
		use   [classes]bool
	}{
		"quarters": {4, [classes]bool{onBeat: true, onHalf: true, onQuarter: true, onDotted: true}},
		"triplets": {3, [classes]bool{onBeat: true, onThird: true, onDotted: true}},
		"beats":    {1, [classes]bool{onBeat: true, onDotted: true}},
	} {
		take := made(m, nil)
		for b := range m.Pulses(m.Start(), m.End(), c.parts) {
			if b.Measure < 9 {
				take.Features.Events = append(take.Features.Events, event(b.Seconds+0.01))
			}
		}
		for b := range m.Pulses(m.Start(), m.End(), 3) {
			if b.Measure >= 9 {
				take.Features.Events = append(take.Features.Events, event(b.Seconds+0.01))
			}
		}
		notes, soft := take.onsets(m.Start(), m.End())
		if got := used(slots(m), notes); got != c.use || soft {
			t.Errorf("%s: %v, soft %v", name, got, soft)
		}
		r := Compare(m, 440, []Take{take})[0]
		if r.Timing.Notes != len(take.Features.Events) || r.Timing.Spread > 1e-9 {
			t.Errorf("%s: %+v", name, r.Timing)
		}
	}
}

// With a score, notes lie against its notes and no others.
func TestTimingByScore(t *testing.T) {
	m := steady(t, 8)
	take := made(m, nil)
	for i := range 14 {
		at := 8 + float64(i) + 0.29 // nowhere that a meter knows
		take.Score = append(take.Score, Note{At: at, MIDI: -1})
		take.Features.Events = append(take.Features.Events, event(at+0.02), event(at+0.5))
	}
	r := Compare(m, 440, []Take{take})[0]
	if r.Timing.Notes != 14 || r.Timing.Spread > 1e-9 {
		t.Errorf("%+v", r.Timing)
	}
}

// A take without anything is described too, and no take changes another's
// timing or tuning, whatever the order.
func TestCompareTakesByThemselves(t *testing.T) {
	m := steady(t, 16)
	a, b := tuned(m, 5, 2, 20), tuned(m, -12, 1, 24)
	a.Score, b.Score, b.Name = nil, nil, "b"
	empty := Take{Name: "c", From: math.Inf(-1), To: math.Inf(1)}
	both := Compare(m, 440, []Take{a, b, empty})
	turned := Compare(m, 440, []Take{empty, b, a})
	slices.Reverse(turned)
	for i := range both {
		if !reflect.DeepEqual(both[i].Tuning, turned[i].Tuning) && both[i].Name != "c" ||
			both[i].Name != turned[i].Name || !slices.Equal(both[i].Missed, turned[i].Missed) {
			t.Errorf("%+v and %+v", both[i].Tuning, turned[i].Tuning)
		}
	}
	if c := both[2]; c.Timing.Notes != 0 || !math.IsNaN(c.Timing.Spread) || c.Tuning.Known() || len(c.Measures) != 16 ||
		len(c.Missed) != 0 {
		t.Errorf("%+v", c)
	}
	if got := Compare(m, 440, nil); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}
