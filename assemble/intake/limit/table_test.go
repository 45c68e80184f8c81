package limit

import (
	"math"
	"regexp"
	"strings"
	"testing"
	"testing/quick"
)

// Every threshold has a name of its own that a manifest can write, a value, a spread to
// divide by, and a reason that says where it comes from.
func TestEveryThresholdIsExplained(t *testing.T) {
	name := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	seen := map[string]Key{}
	for k := Key(0); k < thresholds; k++ {
		s := standard[k]
		if !name.MatchString(s.Name) || math.IsNaN(s.Value) || math.IsInf(s.Value, 0) || !(s.Spread > 0) {
			t.Errorf("threshold %d: %+v", k, s)
		}
		if len(s.Why) < 20 || strings.HasSuffix(s.Why, ".") {
			t.Errorf("%s: why it is so reads %q", s.Name, s.Why)
		}
		if other, twice := seen[s.Name]; twice {
			t.Errorf("%d and %d are both %s", other, k, s.Name)
		}
		seen[s.Name] = k
	}
	for _, pair := range [][2]Key{{SoftAsk, SoftRedo}, {NoiseAsk, NoiseRedo}} {
		if standard[pair[1]].Value >= standard[pair[0]].Value {
			t.Errorf("%s comes before %s", standard[pair[1]].Name, standard[pair[0]].Name)
		}
	}
	for _, pair := range [][2]Key{{RailRatioAsk, RailRatioRedo}, {RailShareAsk, RailShareRedo},
		{FlatShareAsk, FlatShareRedo}, {OtherPulse, OtherRedo}} {
		if standard[pair[1]].Value <= standard[pair[0]].Value {
			t.Errorf("%s comes before %s", standard[pair[1]].Name, standard[pair[0]].Name)
		}
	}
}

// A threshold is set by its name; others stay, and so does the standard. What is no name
// is told.
func TestThresholdsAreSet(t *testing.T) {
	l := Standard()
	if err := l.Set("soft_ask", -50); err != nil {
		t.Fatal(err)
	}
	if l.At(SoftAsk) != -50 || l.At(SoftRedo) != standard[SoftRedo].Value {
		t.Errorf("%v, %v", l.At(SoftAsk), l.At(SoftRedo))
	}
	again := Standard()
	if again.At(SoftAsk) != standard[SoftAsk].Value {
		t.Error("the standard was changed")
	}
	for _, bad := range []string{"", "soft", "Soft_Ask", "soft_ask "} {
		if err := l.Set(bad, 1); err == nil || !strings.Contains(err.Error(), "unknown threshold") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// Over and under a threshold are never both true, are false on it and for what is no
// number, and the farther past it a value is the surer.
func TestOverAndUnder(t *testing.T) {
	l := Standard()
	laws := func(k uint8, a, b float64) bool {
		key := Key(int(k) % int(thresholds))
		at := l.At(key)
		a, b = math.Mod(a, 1e4), math.Mod(b, 1e4)
		over, sure := l.Over(key, at+a)
		under, _ := l.Under(key, at+a)
		if over && under || sure < 0.5 || sure > 1 {
			return false
		}
		_, other := l.Over(key, at+b)
		return a < b == (sure < other) || sure == other
	}
	if err := quick.Check(laws, nil); err != nil {
		t.Error(err)
	}
	for k := Key(0); k < thresholds; k++ {
		over, sure := l.Over(k, l.At(k))
		under, _ := l.Under(k, l.At(k))
		if over || under || sure != 0.5 {
			t.Errorf("on %s: over %v, under %v, sure %v", standard[k].Name, over, under, sure)
		}
	}
	if over, sure := l.Over(SoftAsk, math.NaN()); over || sure != 0.5 {
		t.Errorf("no number: %v, %v", over, sure)
	}
}
