package align

import (
	"math"
	"slices"
	"testing"
)

// splicesOf returns the splices of a sound in pieces as they come.
func splicesOf(x []float64, rate int) []Event {
	s := newSpliceFinder(rate)
	for len(x) > 0 {
		n := min(len(x), 5000)
		s.write(x[:n])
		x = x[n:]
	}
	return s.finish()
}

// A cut through playing shows where it is; playing, claps and the ends of a file do not, nor
// what is as sharp but goes on in a room.
func TestSplicesAreCuts(t *testing.T) {
	e := play(t)
	whole, cuts, found := 0, 0, 0
	for k, x := range e.sounds {
		begin := e.m.Start() - e.truth[k].Offset
		clear, all := 0, 0
		for _, s := range splicesOf(x, 16000) {
			if s.Time > begin && s.Time < e.m.End()-e.truth[k].Offset {
				all++
				if s.Strength > 7 {
					clear++
				}
			}
		}
		if all <= usualSplices { // the pulses of low notes without noise are a habit of the file
			whole += clear
		}
		for _, jump := range []float64{0.05, 0.7} {
			at := begin + 11.3 + 3*jump
			cuts++
			if slices.ContainsFunc(splicesOf(broken(x, at, jump), 16000), func(s Event) bool {
				return math.Abs(s.Time-at) < 0.002
			}) {
				found++
			}
		}
	}
	if whole > 0 || 2*found < cuts {
		t.Errorf("%d splices in whole files, %d of %d cuts found", whole, found, cuts)
	}
}

// However a sound is read, it has the same splices, and none in silence and in noise.
func TestSplicesOfPieces(t *testing.T) {
	x := play(t).sounds[0]
	x = broken(x, 20, 0.3)
	s := newSpliceFinder(16000)
	s.write(x)
	if one := s.finish(); !slices.Equal(one, splicesOf(x, 16000)) {
		t.Errorf("in one piece %v, in several %v", one, splicesOf(x, 16000))
	}
	for name, x := range map[string][]float64{"nothing": nil, "silence": make([]float64, 30000), "a sample": {0.5}} {
		if got := splicesOf(x, 48000); len(got) > 0 {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// A prediction of a tone in little noise leaves the noise.
func TestPredictorForetellsATone(t *testing.T) {
	x := make([]float64, 4000)
	for i := range x {
		x[i] = math.Sin(0.2*float64(i)) + 0.3*math.Sin(0.57*float64(i)+1)
	}
	a := predictor(x)
	var left, all float64
	for i := spliceOrder; i < len(x); i++ {
		e := x[i]
		for k, c := range a {
			e -= c * x[i-1-k]
		}
		left, all = left+e*e, all+x[i]*x[i]
	}
	if db := 10 * math.Log10(left/all); db > -40 {
		t.Errorf("%.1f dB are left", db)
	}
}

// What a splice says grows with how clear it is, to a bound; many are a habit.
func TestWhatASpliceSays(t *testing.T) {
	if a, b, c := spliceNats(5), spliceNats(6), spliceNats(30); !(a < b && b < c) || c > 8 {
		t.Errorf("%g, %g, %g nats", a, b, c)
	}
	s, edge := hummer(t, 1.8)
	at := edge - s.o
	if got := s.ofThePiece([]Event{{Time: 0.1, Strength: 9}, {Time: at, Strength: 8}}); len(got) != 1 || got[0].at != at {
		t.Errorf("of the piece: %v", got)
	}
	if got := s.ofThePiece(slices.Repeat([]Event{{Time: at, Strength: 8}}, usualSplices+1)); got != nil {
		t.Errorf("a crackle: %v", got)
	}
}

// A person is asked about a cut that is too clear to be anything else, and about no other.
func TestClearSplices(t *testing.T) {
	list := []split{{v: 9}, {v: 5, by: "splice", over: 8}, {v: 3, by: "splice", over: 9.5}, {v: 2, by: "device", over: 12}}
	if got := atClearSplices(list); len(got) != 1 || got[0].v != 3 || list[0].v != 9 {
		t.Errorf("%+v", got)
	}
}

// At a splice the place of a break is exact, and what is too much may come before or after.
func TestBreaksAtSplices(t *testing.T) {
	s, edge := hummer(t, 1.8)
	s.splices = []splice{{edge - s.o, 9}}
	i := slices.IndexFunc(s.likely(), func(x split) bool { return x.by == "splice" })
	if i < 0 {
		t.Fatal("nothing at the splice")
	}
	x := s.tuned(s.likely()[i])
	if x.edge != edge || math.Abs(x.jump()-1.8) > 0.06 {
		t.Errorf("%+v, want 1.8 s at %g", x, edge)
	}
	after := s.tuned(split{edge: edge + 0.6, last: -0.6, by: "splice", at: edge - s.o, extra: true})
	if d := s.extraFrom(after) - edge; math.Abs(d) > 1e-9 {
		t.Errorf("what comes after the splice begins %g s beside it", d)
	}
}
