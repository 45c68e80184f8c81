package playing

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// ritardando returns a map of so many minutes at 112 that slows down to 88 in its last
// eighth; with often, the tempo changes every other measure instead.
func ritardando(t testing.TB, minutes float64, often bool) *tempo.Map {
	t.Helper()
	mt, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	measures := int(minutes * 28)
	s := tempo.Spec{Measures: measures, CountIn: tempo.CountIn{Measures: 1},
		Changes: []tempo.Change{{Measure: 1, Meter: mt, BPM: 112}}}
	if often {
		for k := 3; k <= measures; k += 2 {
			s.Changes = append(s.Changes, tempo.Change{Measure: k, BPM: 90 + float64(k*7%40)})
		}
	} else {
		s.Changes = append(s.Changes, tempo.Change{Measure: measures * 7 / 8, BPM: 112, RampTo: 88, Until: measures})
	}
	m, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// guided returns mixed rhythms played all through a map whose tempi are those of m
// times so much, by a player who keeps them within 22 ms.
func guided(t testing.TB, m *tempo.Map, by float64) *align.Features {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 11))
	var at []float64
	for b := range faster(t, m, by).Beats() {
		if b.CountIn || b.Number == 2 && b.Measure%3 == 0 {
			continue
		}
		at = append(at, 3+b.Seconds+0.022*rng.NormFloat64())
		if rng.IntN(3) == 0 {
			at = append(at, 3+b.Seconds+b.Length/2+0.022*rng.NormFloat64())
		}
	}
	return clearNotes(at)
}

// In long pieces whose tempo changes, once or all the time, those who are in
// time are left in peace, and those who are not are told.
func TestPaceOfLongPieces(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		minutes float64
		often   bool
	}{{10, false}, {30, true}} {
		m := ritardando(t, c.minutes, c.often)
		if p := paceOf(t, m, guided(t, m, 1)); told(p) {
			t.Errorf("%+v, in time: %+v", c, p)
		}
		if p := paceOf(t, m, guided(t, m, 0.95)); !told(p) || math.Abs(p.Ratio-0.95) > 0.004 {
			t.Errorf("%+v, at 95 %%: %+v", c, p)
		}
	}
}

// What is tried is bounded, however long the piece is and however often its tempo
// changes, and does not grow with what lies in one tempo.
func TestPlacesAreBounded(t *testing.T) {
	n := notes{at: []float64{0, shortStretch}}
	for _, c := range []struct {
		minutes     float64
		often       bool
		least, most int
	}{{10, false, 100, 1000}, {60, true, 10000, 20000}} {
		clock := newBeatClock(ritardando(t, c.minutes, c.often))
		all := len(clock.places(n, placesApart))
		if all < c.least || all > c.most {
			t.Errorf("%+v: %d places", c, all)
		}
		if some := len(clock.placesAtMost(n, 90)); some > 90 || some < 20 {
			t.Errorf("%+v: %d places of at most 90", c, some)
		}
	}
	for _, meter := range []string{"4/4", "6/8", "7/8"} {
		if got := newBeatClock(evenMap(t, meter, 100, 400)).places(n, placesApart); len(got) != 1 {
			t.Errorf("%s: %d places", meter, len(got))
		}
	}
}

// A take is given up when nobody waits for it any more.
func TestPaceBrokenOff(t *testing.T) {
	at := make([]float64, 2000)
	for i := range at {
		at[i] = 2 + 0.3*float64(i)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, m := range []*tempo.Map{evenMap(t, "4/4", 100, 300), ritardando(t, 10, true)} {
		if p, err := HearPace(ctx, m, clearNotes(at)); err != context.Canceled || p != (Pace{}) {
			t.Errorf("%v, %+v", err, p)
		}
	}
}

// How strong chance makes another tempo in notes at random, of a minute and of
// ten, where the tempo of the guide changes and where it does not: never strong
// enough to be told.
func TestPaceOfChance(t *testing.T) {
	t.Parallel()
	even, changing := evenMap(t, "4/4", 104, 300), ritardando(t, 0.75, true)
	for _, c := range []struct {
		m       *tempo.Map
		takes   int
		seconds float64
	}{{even, 100, 60}, {even, 40, 600}, {changing, 6, 40}} {
		most := 0.0
		for seed := range uint64(c.takes) {
			rng := rand.New(rand.NewPCG(seed, 13))
			var at []float64
			for s := 2.0; s < c.seconds; s += 0.1 + 0.4*rng.ExpFloat64() {
				at = append(at, s)
			}
			most = max(most, paceOf(t, c.m, clearNotes(at)).Other)
		}
		t.Logf("%d takes of %g s, of one tempo %v: at most %.1f", c.takes, c.seconds, c.m.SteadyBPM() > 0, most)
		if most > 20 {
			t.Errorf("%d takes of %g s: %.1f", c.takes, c.seconds, most)
		}
	}
}

// Ten minutes with a ritardando, and an hour whose tempo changes all the time:
//
//	go test -run - -bench Pace -benchtime 3x ./mix/playing
func BenchmarkPace(b *testing.B) {
	for _, c := range []struct {
		name    string
		minutes float64
		often   bool
	}{{"ritardando/10min", 10, false}, {"changes/10min", 10, true}, {"ritardando/60min", 60, false},
		{"changes/60min", 60, true}} {
		m := ritardando(b, c.minutes, c.often)
		f := guided(b, m, 0.95)
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				paceOf(b, m, f)
			}
		})
	}
}
