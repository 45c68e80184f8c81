package align

import (
	"math"
	"testing"

	"ripieno/mix/tempo"
)

func ramped(t *testing.T) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter("6/8")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{
		Measures: 8, CountIn: tempo.CountIn{Measures: 4, CueMeasure: 3, CueBeat: 1},
		Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: 60}, {Measure: 5, BPM: 60, RampTo: 40, Until: 9}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Slots lie where the tempo map puts the parts of the beats, also while the
// tempo changes, and the count-in has none.
func TestGridSlots(t *testing.T) {
	m := ramped(t)
	g := newGrid(m)
	if len(g.slots) != 8*2*3 {
		t.Fatalf("%d slots in 8 measures of two beats in three parts", len(g.slots))
	}
	for k, s := range g.slots {
		if k > 0 && s.at <= g.slots[k-1].at {
			t.Errorf("slot %d at %g follows %g", k, s.at, g.slots[k-1].at)
		}
		want, err := m.Seconds(tempo.Position{Measure: k/6 + 1, Beat: 1 + float64(k%6)/3})
		if err != nil || math.Abs(s.at-want) > 1e-9 {
			t.Errorf("slot %d at %g, the map says %g (%v)", k, s.at, want, err)
		}
		if s.class != [...]int{onBeat, firstThird, lastThird}[k%3] {
			t.Errorf("slot %d is of class %d", k, s.class)
		}
	}
	if g.startBeat().Seconds != m.Start() || g.cue != m.Cue() {
		t.Errorf("start %g, cue %g", g.startBeat().Seconds, g.cue)
	}
}

// The densities are ratios against chance: over a beat they average to one.
func TestGridDensity(t *testing.T) {
	g := newGrid(piece(t, 8, 4, 90))
	from, length := g.start+2*60.0/90, 60.0/90
	for class := range classes {
		var mean float64
		n := 0
		for at := from; at < from+length; at += gridStep {
			mean += float64(g.at(at)[class])
			n++
		}
		if mean /= float64(n); math.Abs(mean-1) > 0.03 {
			t.Errorf("class %d averages to %g", class, mean)
		}
	}
	if g.at(g.start-5) != nil || g.at(g.end+5) != nil {
		t.Error("there is a grid outside the music")
	}
	if d := g.at(from); d[onBeat] < 5 || d[onHalf] > 0.01 {
		t.Errorf("on the beat: %v", d)
	}
}

func TestGridNearest(t *testing.T) {
	g := newGrid(piece(t, 4, 4, 60))
	on, every := [classes]bool{onBeat: true}, [classes]bool{true, true, true, true, true, true}
	for _, c := range []struct {
		guide, any, beat float64 // after the start
	}{{0, 0, 0}, {-0.2, 0, 0}, {0.27, 0.25, 0}, {0.49, 0.5, 0}, {0.7, 2.0 / 3, 1}, {1.01, 1, 1}, {99, 15.75, 15}} {
		if s := g.nearestOf(g.start+c.guide, every); math.Abs(s.at-g.start-c.any) > 1e-9 {
			t.Errorf("%g: nearest %g, want %g", c.guide, s.at-g.start, c.any)
		}
		if c.guide > 50 {
			continue
		}
		if s := g.nearestOf(g.start+c.guide, on); math.Abs(s.at-g.start-c.beat) > 1e-9 {
			t.Errorf("%g: nearest beat %g, want %g", c.guide, s.at-g.start, c.beat)
		}
	}
	if s := g.nearestOf(g.start, [classes]bool{}); s != nil {
		t.Errorf("no class, slot %+v", s)
	}
	for _, c := range []struct{ guide, beat float64 }{{-5, 0}, {0.4, 0}, {0.6, 1}, {7.2, 7}, {1e6, 31}} {
		if b := g.beatNear(c.guide); math.Abs(b-c.beat) > 1e-9 {
			t.Errorf("beat near %g is %g, want %g", c.guide, b, c.beat)
		}
	}
}
