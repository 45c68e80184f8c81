package playing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"ripieno/mix/align"
	"ripieno/mix/align/simulate"
	"ripieno/mix/tempo"
)

// told returns how package intake judges a pace, by its standard thresholds.
func told(p Pace) bool { return p.Other > 20 && p.Other > 2.5*max(1, p.Guide) }

// paceOf returns what HearPace tells.
func paceOf(t testing.TB, m *tempo.Map, f *align.Features) Pace {
	t.Helper()
	p, err := HearPace(t.Context(), m, f)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// evenMap returns a map of 4/4 with a count-in of two measures.
func evenMap(t testing.TB, meter string, bpm float64, measures int) *tempo.Map {
	t.Helper()
	mt, err := tempo.ParseMeter(meter)
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{Measures: measures, CountIn: tempo.CountIn{Measures: 2},
		Changes: []tempo.Change{{Measure: 1, Meter: mt, BPM: bpm}}})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// clearNotes returns the features of clear notes at file times.
func clearNotes(at []float64) *align.Features {
	f := &align.Features{LoudDB: -20}
	for _, t := range at {
		f.Events = append(f.Events, align.Event{Time: t, Heard: t, Strength: 10, Level: -20})
		f.Duration = t + 2
	}
	return f
}

// rhythm returns where notes begin, in beats: a measure of four from a few figures
// after the other.
func rhythm(rng *rand.Rand, figures [][]float64, measures int) []float64 {
	var at []float64
	for k := range measures {
		for _, b := range figures[rng.IntN(len(figures))] {
			at = append(at, float64(4*k)+b)
		}
	}
	return at
}

var (
	mixed    = [][]float64{{0, 1, 2, 2.5, 3}, {0, 1.5, 2, 3}, {0, 0.5, 1, 2, 3, 3.5}, {0, 2}, {0, 0.75, 1, 2.25, 3}}
	triplets = [][]float64{{0, 1. / 3, 2. / 3, 1, 4. / 3, 5. / 3, 2, 3}, {0, 1, 4. / 3, 5. / 3, 2, 7. / 3, 8. / 3, 3}}
	swung    = [][]float64{{0, 2. / 3, 1, 5. / 3, 2, 3, 3 + 2./3}, {0, 1, 1 + 2./3, 2, 2 + 2./3, 3}}
	dots     = [][]float64{{0, 1.5, 3}, {0.5, 2, 3.5}, {0, 1.5, 3, 3.5}}
	hemiola  = [][]float64{{0, 4. / 3, 8. / 3}}
	slow     = [][]float64{{0}, {}, {2}, {0, 2}}
	eighths  = [][]float64{{0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5}}
	offbeat  = [][]float64{{0.5, 1.5, 2.5, 3.5}}
	sixteens = [][]float64{{0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 2, 2.25, 2.5, 3, 3.25, 3.5, 3.75}}
	doubled  = [][]float64{{0, 0.125, 0.25, 0.375, 0.5, 1, 2, 2.125, 2.25, 2.5, 3, 3.5}}
)

// Players who are in time, whatever they play, and those who play freely or
// hardly at all are left in peace; another tempo is told, with its ratio.
func TestPace(t *testing.T) {
	m := evenMap(t, "4/4", 104, 32)
	beat := 60.0 / 104
	for _, c := range []struct {
		name    string
		figures [][]float64
		ratio   float64 // of the tempo that is played
		rubato  float64 // wander of the tempo, of one measure against the next
		told    bool
	}{
		{"mixed", mixed, 1, 0, false},
		{"triplets", triplets, 1, 0, false},
		{"swing", swung, 1, 0, false},
		{"dotted notes against the beat", dots, 1, 0, false},
		{"three against four", hemiola, 1, 0, false},
		{"few long notes", slow, 1, 0, false},
		{"eighths", eighths, 1, 0, false},
		{"after the beat", offbeat, 1, 0, false},
		{"sixteenths", sixteens, 1, 0, false},
		{"thirty-seconds", doubled, 1, 0, false},
		{"half the tempo", mixed, 0.5, 0, false},
		{"twice the tempo", mixed, 2, 0, false},
		{"a clock far off", mixed, 1.0005, 0, false},
		{"rubato", mixed, 1, 0.08, false},
		{"rubato at another tempo", mixed, 0.9, 0.1, false},
		{"92 %", mixed, 0.92, 0, true},
		{"eighths at 95 %", eighths, 0.95, 0, true},
		{"triplets at 108 %", triplets, 1.08, 0, true},
		{"sixteenths at 97 %", sixteens, 0.97, 0, true},
		{"after the beat at 125 %", offbeat, 1.25, 0, true},
		{"98 %", mixed, 0.98, 0, true},
	} {
		for seed := range uint64(5) {
			rng := rand.New(rand.NewPCG(seed, 8))
			var at []float64
			file, last, speed := 3.0, 0.0, 1.0
			for _, b := range rhythm(rng, c.figures, int(32*min(1.5, c.ratio))) {
				if int(b/4) > int(last/4) {
					speed = 1 + c.rubato*rng.NormFloat64()
				}
				file += (b - last) * beat / c.ratio * max(0.5, speed)
				last = b
				at = append(at, file+0.022*rng.NormFloat64())
			}
			p := paceOf(t, m, clearNotes(at))
			if told(p) != c.told || c.told && math.Abs(p.Ratio/c.ratio-1) > 0.002 {
				t.Errorf("%s, %d: told %v of %+v", c.name, seed, !c.told, p)
			}
		}
	}
}

// A cadenza without any beat, noise and too few notes say nothing.
func TestPaceOfNothing(t *testing.T) {
	m := evenMap(t, "3/4", 90, 40)
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 9))
		var at []float64
		for s := 2.0; s < 70; s += 0.1 + 0.7*rng.ExpFloat64() {
			at = append(at, s)
		}
		if p := paceOf(t, m, clearNotes(at)); told(p) {
			t.Errorf("notes at random, %d: %+v", seed, p)
		}
		if p := paceOf(t, m, clearNotes(at[:paceLeast-1])); p != (Pace{}) {
			t.Errorf("%d notes: %+v", paceLeast-1, p)
		}
	}
	if p := paceOf(t, m, nil); p != (Pace{}) {
		t.Errorf("nothing: %+v", p)
	}
}

// faster returns the map of the same piece with all tempi multiplied.
func faster(t testing.TB, m *tempo.Map, by float64) *tempo.Map {
	t.Helper()
	s := m.Spec()
	for i := range s.Changes {
		s.Changes[i].BPM *= by
		s.Changes[i].RampTo *= by
	}
	out, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// heardNotes returns the features that perfect ears have of a simulated take.
func heardNotes(s *simulate.Take) *align.Features {
	var at []float64
	for _, n := range s.Notes() {
		if t := (n.Played - s.Truth.Offset) / (1 + s.Truth.DriftPPM*1e-6); t > 0 {
			at = append(at, t)
		}
	}
	return clearNotes(at)
}

// Pieces with all kinds of tempo maps, a third of them with changes: nobody who
// plays to the guide is told, most who played to one of another tempo are.
func TestPaceOnChangingMaps(t *testing.T) {
	t.Parallel()
	found, takes, changing := 0, 0, 0
	for number := range uint64(6) {
		e := simulate.New(700+number, simulate.Options{Level: simulate.Typical, Players: 2, Seconds: 50})
		if e.Map.SteadyBPM() == 0 {
			changing++
		}
		for _, s := range e.Takes {
			f := heardNotes(s)
			if p := paceOf(t, e.Map, f); told(p) {
				t.Errorf("%s %s: %+v", e.Title, s.Name, p)
			}
			if len(f.Events) < 2*paceLeast {
				continue
			}
			takes++
			if p := paceOf(t, faster(t, e.Map, 1/0.95), f); told(p) && math.Abs(p.Ratio-0.95) < 0.005 {
				found++
			}
		}
	}
	if found < takes*8/10 || takes < 8 || changing < 1 {
		t.Errorf("%d of %d found, %d maps change", found, takes, changing)
	}
}

// TestPaceTable prints how often another tempo is told of simulated takes, heard
// as sound. It takes some minutes and runs only when asked:
//
//	RIPIENO_PACE_TABLE=4 go test -run TestPaceTable -v ./mix/playing
//
// The number is how many ensembles of four players each level gets.
func TestPaceTable(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_PACE_TABLE"))
	if err != nil {
		t.Skip("set RIPIENO_PACE_TABLE to the number of ensembles of each level")
	}
	ratios := []float64{1, 0.5, 2, 2. / 3, 3. / 4, 0.8, 0.92, 0.95, 0.98, 1.05, 1.1, 1.25}
	type count struct{ told, right, takes int }
	counts, other := make([]count, len(ratios)), count{}
	most := 0.0
	var before []*align.Features
	for _, level := range []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard} {
		for k := range n {
			e, takes := simulated(t, uint64(firstOfPace+k), level, 4, 75)
			maps := make([]*tempo.Map, len(ratios))
			for i, r := range ratios {
				maps[i] = faster(t, e.Map, 1/r)
			}
			for _, f := range before {
				other.takes++
				if told(paceOf(t, e.Map, f)) {
					other.told++
				}
			}
			before = nil
			for _, take := range takes {
				before = append(before, take.Features)
				for i, r := range ratios {
					c := &counts[i]
					p := paceOf(t, maps[i], take.Features)
					c.takes++
					if r == 1 && p.Other > 20 {
						most = max(most, p.Other/max(1, p.Guide))
					}
					if told(p) {
						c.told++
						if math.Abs(p.Ratio/r-1) < 0.005 {
							c.right++
						}
					}
				}
			}
		}
	}
	var b strings.Builder
	b.WriteString("\n| played at | takes | told | with that tempo |\n| --- | --- | --- | --- |\n")
	for i, r := range ratios {
		fmt.Fprintf(&b, "| %.4g %% | %d | %d | %d |\n", 100*r, counts[i].takes, counts[i].told, counts[i].right)
	}
	fmt.Fprintf(&b, "| another piece | %d | %d | |\nin time, the other pulse over the guide's: at most %.2f\n",
		other.takes, other.told, most)
	t.Log(b.String())
	if counts[0].told > 0 {
		t.Errorf("%d takes that are in time are told", counts[0].told)
	}
}

// firstOfPace is the number of the first ensemble of the table.
const firstOfPace = 61000
