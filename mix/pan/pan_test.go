package pan

import (
	"math"
	"math/rand/v2"
	"testing"
)

func db(gain float64) float64 { return 20 * math.Log10(gain) }

// Constant power: −3.010 dB in the centre, −0.688 and −8.343 dB at 22.5°;
// linear −6.021 (calculated from sin and cos). The −4.515 dB of the compromise
// is from memory of mixing consoles' documents.
func TestLawTable(t *testing.T) {
	cases := []struct {
		law         Law
		position    float64
		left, right float64
	}{
		{ConstantPower, 0, -3.0103, -3.0103},
		{ConstantPower, -0.5, -0.6877, -8.3431},
		{ConstantPower, 0.5, -8.3431, -0.6877},
		{Compromise, 0, -4.5154, -4.5154},
		{Linear, 0, -6.0206, -6.0206},
		{Law(99), 0, -3.0103, -3.0103},
	}
	for _, c := range cases {
		l, r := c.law.Gains(c.position)
		if math.Abs(db(l)-c.left) > 0.001 || math.Abs(db(r)-c.right) > 0.001 {
			t.Errorf("%v at %v: %.4f %.4f dB, want %.4f %.4f", c.law, c.position, db(l), db(r), c.left, c.right)
		}
	}
}

func TestEnds(t *testing.T) {
	for _, law := range []Law{ConstantPower, Compromise, Linear} {
		for position, want := range map[float64][2]float64{-1: {1, 0}, 1: {0, 1}, -7: {1, 0}, math.Inf(1): {0, 1}} {
			if l, r := law.Gains(position); l != want[0] || r != want[1] {
				t.Errorf("%v at %v: %v %v", law, position, l, r)
			}
		}
		l, r := law.Gains(math.NaN())
		if cl, cr := law.Gains(0); l != cl || r != cr {
			t.Errorf("%v at NaN: %v %v", law, l, r)
		}
	}
}

// The invariants the laws are named for, and the mirror.
func TestLawProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 1000 {
		p := rng.Float64()*2 - 1
		for _, law := range []Law{ConstantPower, Compromise, Linear} {
			l, r := law.Gains(p)
			ml, mr := law.Gains(-p)
			if math.Abs(l-mr) > 1e-12 || math.Abs(r-ml) > 1e-12 {
				t.Fatalf("%v at %v is not the mirror of %v", law, p, -p)
			}
			switch law {
			case ConstantPower:
				if math.Abs(l*l+r*r-1) > 1e-12 {
					t.Fatalf("power at %v is %v", p, l*l+r*r)
				}
			case Linear:
				if math.Abs(l+r-1) > 1e-12 {
					t.Fatalf("sum at %v is %v", p, l+r)
				}
			}
		}
	}
}

func TestStereo(t *testing.T) {
	identity := Matrix{{1, 0}, {0, 1}}
	if m := ConstantPower.Stereo(0, 1); m != identity {
		t.Errorf("centre, width 1: %v", m)
	}
	if m := ConstantPower.Stereo(0, -1); m != (Matrix{{0, 1}, {1, 0}}) {
		t.Errorf("centre, width −1: %v", m)
	}
	// On one point both sides get the gains of a mono sound there.
	for _, p := range []float64{-1, -0.3, 0, 0.8} {
		l, r := Linear.Gains(p)
		m := Linear.Stereo(p, 0)
		if m != (Matrix{{l, l}, {r, r}}) {
			t.Errorf("width 0 at %v: %v", p, m)
		}
	}
	// Hard left leaves no room: nothing on the right.
	if m := ConstantPower.Stereo(-1, 1); m[1] != [2]float64{0, 0} {
		t.Errorf("hard left: %v", m)
	}
	// Unrelated sides keep their power at every place and width.
	for _, p := range []float64{-0.7, 0, 0.4} {
		for _, w := range []float64{0, 0.5, 1} {
			m := ConstantPower.Stereo(p, w)
			power := (m[0][0]*m[0][0] + m[0][1]*m[0][1] + m[1][0]*m[1][0] + m[1][1]*m[1][1]) / 2
			if math.Abs(power-1) > 1e-12 {
				t.Errorf("power at %v, width %v: %v", p, w, power)
			}
		}
	}
	wide := ConstantPower.Stereo(0, 2)
	side := wide[0][0]*0.5 - wide[0][1]*0.5
	mid := wide[0][0]*0.5 + wide[0][1]*0.5
	if math.Abs(side/mid-2) > 1e-12 {
		t.Errorf("width 2: side to middle %v", side/mid)
	}
	if m := ConstantPower.Stereo(0, math.NaN()); m != identity {
		t.Errorf("width NaN: %v", m)
	}
}

func TestSpread(t *testing.T) {
	if got := Spread(0, 1); got != nil {
		t.Errorf("nobody: %v", got)
	}
	if got := Spread(1, 0.6); len(got) != 1 || got[0] != 0 {
		t.Errorf("one: %v", got)
	}
	got := Spread(5, 0.6)
	for i, want := range []float64{-0.6, -0.3, 0, 0.3, 0.6} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("five: %v", got)
		}
	}
}

func TestBetween(t *testing.T) {
	got := Between(3, -0.8, -0.2)
	for i, want := range []float64{-0.8, -0.5, -0.2} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("a section of three: %v", got)
		}
	}
	if got := Between(1, 0.2, 0.6); math.Abs(got[0]-0.4) > 1e-12 {
		t.Errorf("a section of one: %v", got)
	}
	if got := Between(2, -5, math.NaN()); got[0] != -1 || got[1] != 0 {
		t.Errorf("beyond the ends: %v", got)
	}
}

func TestNames(t *testing.T) {
	if ConstantPower.String() != "power" || Compromise.String() != "compromise" || Linear.String() != "linear" {
		t.Error("a law lost its name")
	}
}

// Every law has a name that leads back to it, and no other name leads anywhere.
func TestLawsAreParsed(t *testing.T) {
	for i, name := range LawNames() {
		if l, ok := ParseLaw(name); !ok || l != Law(i) || l.String() != name {
			t.Errorf("%q is parsed as %v, %t", name, l, ok)
		}
	}
	if len(LawNames()) != len(laws) {
		t.Errorf("%d laws are listed of %d", len(LawNames()), len(laws))
	}
	if l, ok := ParseLaw("loud"); ok || l != ConstantPower {
		t.Errorf("an unknown law is parsed as %v, %t", l, ok)
	}
}
