package simulate

import (
	"fmt"
	"math"
	"testing"

	"ripieno/mix/audio"
)

func render(t *testing.T, k *Take) audio.Block {
	t.Helper()
	b, err := audio.ReadAll(k.Source())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// One number gives one ensemble, whatever else was made before.
func TestNewIsDeterministic(t *testing.T) {
	o := Options{Level: Hard, Players: 1, Seconds: 10, Rate: 8000}
	a := New(7, o)
	New(8, o)
	b := New(7, o)
	if a.Title != b.Title || a.Map.End() != b.Map.End() {
		t.Fatalf("%s and %s", a.Title, b.Title)
	}
	for i := range a.Takes {
		x, y := a.Takes[i], b.Takes[i]
		if fmt.Sprint(x.Truth) != fmt.Sprint(y.Truth) { // NaN equals NaN in print
			t.Errorf("%s: %+v and %+v", x.Name, x.Truth, y.Truth)
		}
		p, q := render(t, x), render(t, y)
		for c := range p {
			for k := range p[c] {
				if p[c][k] != q[c][k] {
					t.Fatalf("%s: sample %d differs", x.Name, k)
				}
			}
		}
	}
	if c := New(9, o); c.Title == a.Title && c.Takes[0].Truth.Offset == a.Takes[0].Truth.Offset {
		t.Error("another number gives the same ensemble")
	}
}

// The clap must sound where the truth says: nothing loud within 100 ms before
// it, much within 10 ms after it.
func TestCueSoundsWhereTruthSays(t *testing.T) {
	seen := 0
	for n := range 5 {
		e := New(uint64(n), Options{Level: Easy, Players: 1, Seconds: 5, Rate: 22050})
		k := e.Takes[0]
		if k.Truth.Cued != "clap" {
			t.Fatalf("an easy take is cued by %s", k.Truth.Cued)
		}
		x := render(t, k)[0]
		rate := float64(k.Source().Rate())
		at := int(math.Ceil(k.Truth.Cue * rate))
		if at < int(0.1*rate) || at+int(0.01*rate) > len(x) {
			continue
		}
		seen++
		before, after := peak(x[at-int(0.1*rate):at-1]), peak(x[at:at+int(0.01*rate)])
		if after < 8*before {
			t.Errorf("%d: peak %g before and %g after the clap", n, before, after)
		}
		// The guide time of the clap is a human's error away from the cue.
		if off := k.Truth.Offset + k.Truth.Cue*(1+k.Truth.DriftPPM*1e-6) - e.Map.Cue(); math.Abs(off) > 0.08 {
			t.Errorf("%d: the clap is %.0f ms off the cue", n, 1000*off)
		}
	}
	if seen < 4 {
		t.Errorf("only %d claps looked at", seen)
	}
}

func peak(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, math.Abs(v))
	}
	return m
}

// The truths have to stay inside what the levels promise.
func TestLevels(t *testing.T) {
	missing, drifting := 0, 0
	for n := range 30 {
		for _, l := range []Level{Easy, Typical, Hard} {
			e := New(uint64(n), Options{Level: l, Players: 2, Seconds: 20, Devices: 2})
			for _, k := range e.Takes {
				limit := [...]float64{40, 80, 450}[l]
				if math.Abs(k.Truth.DriftPPM) > limit {
					t.Errorf("%s: drift %g", l, k.Truth.DriftPPM)
				}
				if math.Abs(k.Truth.Offset) > 60.001 || math.Abs(k.Truth.Lateness) > 0.08 {
					t.Errorf("%s: %+v", l, k.Truth)
				}
				if l == Easy && math.IsNaN(k.Truth.Cue) {
					t.Errorf("an easy take without a cue: %+v", k.Truth)
				}
				if math.IsNaN(k.Truth.Cue) != (k.Truth.Cued == "none") {
					t.Errorf("%s: %+v", l, k.Truth)
				}
				if l == Hard && k.Truth.Cued == "none" {
					missing++
				}
				if math.Abs(k.Truth.DriftPPM) > 100 {
					drifting++
				}
				if k.Truth.MeanOffset() != k.Truth.Offset-k.Truth.Lateness || k.Truth.Slow() && k.Truth.Attack < 0.1 {
					t.Errorf("%+v", k.Truth)
				}
			}
		}
	}
	if missing < 4 || drifting < 3 {
		t.Errorf("the hard level has %d takes without a cue and %d strange clocks of 120", missing, drifting)
	}
}

// Every sound keeps inside the file and inside full scale, in files that
// begin late or end early too.
func TestSourceIsSane(t *testing.T) {
	for n := range 2 {
		e := New(uint64(n+20), Options{Level: Hard, Players: 2, Seconds: 12, Rate: 8000, Devices: 2})
		if len(e.Takes) != 4 || e.Takes[0].Player != e.Takes[1].Player || e.Takes[0].Name == e.Takes[1].Name {
			t.Fatalf("takes: %+v", e.Takes)
		}
		for _, k := range e.Takes {
			b := render(t, k)
			if b.Frames() == 0 || k.Source().Rate() != 8000 {
				t.Fatalf("%s: %d frames", k.Name, b.Frames())
			}
			for _, ch := range b {
				for i, v := range ch {
					if !(v >= -1 && v <= 1) {
						t.Fatalf("%s: sample %d is %g", k.Name, i, v)
					}
				}
				if peak(ch) < 0.002 {
					t.Errorf("%s is all but silent", k.Name)
				}
			}
			if k.Instrument() == "" {
				t.Errorf("%s has no instrument", k.Name)
			}
		}
	}
}

func BenchmarkRender(b *testing.B) {
	e := New(2, Options{Level: Typical, Players: 8, Seconds: 60, Rate: 16000})
	for i := 0; b.Loop(); i++ {
		e.Takes[i%8].Source()
	}
}
