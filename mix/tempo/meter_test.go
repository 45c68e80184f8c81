package tempo

import (
	"slices"
	"testing"
)

// Beats of the common meters: 2/2 has two half-note beats and 6/8 two dotted
// quarters (MusicXML 4.0 and notation handbooks); the others follow the usual
// rules for simple and compound meters (from memory).
func TestMeters(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		beats      int
		quarters   float64
	}{
		{"4/4", "quarter", 4, 4},
		{"C", "quarter", 4, 4},
		{"2/2", "half", 2, 4},
		{"C|", "half", 2, 4},
		{"3/4", "quarter", 3, 3},
		{"3/8", "eighth", 3, 1.5},
		{"6/8", "dotted-quarter", 2, 3},
		{"9/8", "dotted-quarter", 3, 4.5},
		{"12/8", "dotted-quarter", 4, 6},
		{"6/4", "dotted-half", 2, 6},
		{"12/16", "dotted-eighth", 4, 3},
		{"5/8", "eighth", 5, 2.5},
		{"7/8", "eighth", 7, 3.5},
		{"3+2/8", "eighth", 2, 2.5},
		{"3+3/8", "dotted-quarter", 2, 3},
		{"2+2+3/8", "eighth", 3, 3.5},
		{"3+2/4", "quarter", 5, 5},
		{"6/8 in 6", "eighth", 6, 3},
		{"4/4 in 2", "half", 2, 4},
		{"3/4 in 1", "dotted-half", 1, 3},
		{" 3 + 2 / 8 ", "eighth", 2, 2.5},
	} {
		m, err := ParseMeter(c.text)
		if err != nil {
			t.Error(err)
			continue
		}
		if m.Beats() != c.beats || m.Quarters() != c.quarters || m.Unit().String() != c.unit {
			t.Errorf("%s: %d beats of %s, %g quarters; want %d of %s, %g", c.text, m.Beats(), m.Unit(), m.Quarters(),
				c.beats, c.unit, c.quarters)
		}
		if again, err := ParseMeter(m.String()); err != nil || again != m {
			t.Errorf("%s writes itself as %s, which is %v, %v", c.text, m, again, err)
		}
		for b := 1.0; b < float64(m.Beats()+1); b += 0.25 {
			if back := m.Beat(m.offset(b)); back != b {
				t.Errorf("%s: beat %g comes back as %g", c.text, b, back)
			}
		}
	}
	if (Meter{}).String() != "no meter" || !(Meter{}).IsZero() || !(Meter{}).Unit().IsZero() ||
		(Meter{}).Quarters() != 0 || (Meter{}).Beat(3) != 1 {
		t.Error("the zero meter is something")
	}
}

func TestBadMeters(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", `meter "" is not like 4/4, 6/8, 3+2/8 or 3/4+3/8`},
		{"waltz", `meter "waltz" is not like 4/4, 6/8, 3+2/8 or 3/4+3/8`},
		{"4/x", `meter "4/x": the lower number is not a number`},
		{"x/4", `meter "x/4": the upper number is not a number`},
		{"3+/8", `meter "3+/8": the upper number is not a number`},
		{"4/3", "meter 4/3: the lower number must be 1, 2, 4, 8, 16, 32 or 64"},
		{"4/0", "meter 4/0: the lower number must be 1, 2, 4, 8, 16, 32 or 64"},
		{"4/128", "meter 4/128: the lower number must be 1, 2, 4, 8, 16, 32 or 64"},
		{"0/4", "meter 0/4: the upper number must be 1 to 64"},
		{"-3/4", "meter -3/4: the upper number must be 1 to 64"},
		{"60+60/4", "meter 60+60/4: the upper number must be 1 to 64"},
		{"47/4", "meter 47/4 has more than 32 beats"},
		{"4/4 in 3", "meter 4/4 cannot be counted in 3 equal beats"},
		{"4/4 in x", `meter "4/4 in x": the number after "in" is not a number of beats`},
		{"3+2/8 in 5", `meter "3+2/8 in 5": the groups already say how it is counted`},
	} {
		if m, err := ParseMeter(c.text); err == nil || err.Error() != c.want {
			t.Errorf("%q: %v, %v; want %s", c.text, m, err, c.want)
		}
	}
}

func TestUnits(t *testing.T) {
	for _, c := range []struct {
		text, canonical string
		quarters        float64
	}{
		{"whole", "whole", 4},
		{"half", "half", 2},
		{"minim", "half", 2},
		{"quarter", "quarter", 1},
		{"crotchet", "quarter", 1},
		{"dotted-quarter", "dotted-quarter", 1.5},
		{"dotted quarter", "dotted-quarter", 1.5},
		{"dotted-half", "dotted-half", 3},
		{"double-dotted-half", "double-dotted-half", 3.5},
		{"eighth", "eighth", 0.5},
		{"quaver", "eighth", 0.5},
		{"thirty-second", "thirty-second", 0.125},
	} {
		u, err := ParseUnit(c.text)
		if err != nil || u.Quarters() != c.quarters || u.String() != c.canonical {
			t.Errorf("%s: %s, %g, %v", c.text, u, u.Quarters(), err)
		}
	}
	for _, bad := range []string{"", "dotted", "dotted-", "Quarter", "fifth", "dotted-dotted-half"} {
		if u, err := ParseUnit(bad); err == nil {
			t.Errorf("%q is %s", bad, u)
		}
	}
	if (Unit{5, 8}).String() != "5/8" || (Unit{}).Quarters() != 0 || !(Unit{}).IsZero() {
		t.Error("odd units")
	}
}

func FuzzParseMeter(f *testing.F) {
	for _, s := range []string{"4/4", "3+2/8", "6/8 in 6", "C|", "64/64 in 1", "1+1+1/64", "0/4",
		"9999999999999999999/4", "3/4 in 0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := ParseMeter(s)
		if err != nil {
			return
		}
		if m.Beats() < 1 || m.Beats() > maxBeats || !(m.Quarters() > 0) {
			t.Fatalf("%q: %d beats, %g quarters", s, m.Beats(), m.Quarters())
		}
		if again, err := ParseMeter(m.String()); err != nil || again != m {
			t.Fatalf("%q writes itself as %q, which is %v, %v", s, m, again, err)
		}
	})
}

// Composite meters: the parts one after the other. Beats of quarters in the part of
// quarters, one for each group of eighths (common practice, no source).
func TestComposite(t *testing.T) {
	for _, c := range []struct {
		text, want string
		quarters   float64
		beats      []float64 // where they begin, in quarters
		accents    []int     // beats that begin a part
	}{
		{"3/4+3/8", "3/4+3/8", 4.5, []float64{0, 1, 2, 3}, []int{1, 4}},
		{"2/1+2/8", "2/1+2/8", 9, []float64{0, 4, 8}, []int{1, 3}},
		{"2/4+3+2/8", "2/4+3/8+1/4", 4.5, []float64{0, 1, 2, 3.5}, []int{1, 3, 4}},
		{"6/8+2/4", "6/8+2/4", 5, []float64{0, 1.5, 3, 4}, []int{1, 3}},
		{"1/2+5/8", "4+5/8", 4.5, []float64{0, 2}, []int{1, 2}},
		{"3/4 + 3/8", "3/4+3/8", 4.5, []float64{0, 1, 2, 3}, []int{1, 4}},
	} {
		m := meter(t, c.text)
		if m.Quarters() != c.quarters || m.Beats() != len(c.beats) || m.String() != c.want {
			t.Errorf("%s: %v, %g quarters in %d beats", c.text, m, m.Quarters(), m.Beats())
			continue
		}
		var accents []int
		for i, q := range c.beats {
			if got := m.offset(float64(i + 1)); got != q {
				t.Errorf("%s: beat %d at %g, want %g", c.text, i+1, got, q)
			}
			if m.accent&(1<<i) != 0 {
				accents = append(accents, i+1)
			}
		}
		if !slices.Equal(accents, c.accents) {
			t.Errorf("%s: accents on %v, want %v", c.text, accents, c.accents)
		}
		if again := meter(t, m.String()); again != m {
			t.Errorf("%s: %v is read back as another meter", c.text, m)
		}
	}
	for _, bad := range []string{"3/4+", "3/4+x/8", "3/4+3", "33/64+32/64", "3/4+3/8 in 4", "3/4+3/7"} {
		if m, err := ParseMeter(bad); err == nil {
			t.Errorf("%q is %v", bad, m)
		}
	}
}
