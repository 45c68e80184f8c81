package align

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// band4 is a simulated ensemble as sounds, which tests may damage.
type band4 struct {
	m      *tempo.Map
	sounds [][]float64 // at 16000 hertz
	truth  []simulate.Truth
	recs   []Recording
}

// quartet is an ensemble of four players, invented and heard once for all tests that
// damage a copy of a part.
var quartet = sync.OnceValues(func() (*band4, error) {
	e := simulate.New(3, simulate.Options{Level: simulate.Easy, Players: 4, Seconds: 50, Rate: 16000})
	out := &band4{m: e.Map}
	for i, x := range e.Takes {
		b, err := audio.ReadAll(x.Source())
		if err != nil {
			return nil, err
		}
		f, err := Analyse(audio.NewMemory(b, 16000))
		if err != nil {
			return nil, err
		}
		name := string(rune('a' + i))
		out.sounds = append(out.sounds, b[0])
		out.truth = append(out.truth, x.Truth)
		out.recs = append(out.recs, Recording{Name: name, Take: name, Role: "audio", Features: f})
	}
	return out, nil
})

// play returns the ensemble, which tests may read and must not change.
func play(t *testing.T) *band4 {
	t.Helper()
	out, err := quartet()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// listenTo analyses a sound.
func listenTo(t *testing.T, x []float64, rate int) *Features {
	t.Helper()
	f, err := Analyse(audio.NewMemory(audio.Block{x}, rate))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// with returns the recordings, one of them with another sound.
func (e *band4) with(t *testing.T, k int, x []float64, rate int) []Recording {
	recs := slices.Clone(e.recs)
	recs[k].Features = listenTo(t, x, rate)
	return recs
}

// breaks places recordings and looks for breaks.
func (e *band4) breaks(recs []Recording) []Break {
	return FindBreaks(e.m, recs, Place(e.m, recs, nil), nil)
}

func TestFindBreaks(t *testing.T) {
	e := play(t)
	middle := e.m.Start() + 0.45*(e.m.End()-e.m.Start())
	if found := e.breaks(e.recs); len(found) > 0 {
		t.Errorf("unbroken: %+v", found)
	}
	right, told := 0, 0
	for _, k := range []int{2} {
		at := middle - e.truth[k].Offset
		for _, jump := range []float64{0.1, 0.45, -2.2, -9.7} {
			for _, b := range e.breaks(e.with(t, k, broken(e.sounds[k], at, jump), 16000)) {
				switch {
				case !b.Sure:
					told++
				case b.Name != e.recs[k].Name:
					t.Errorf("%v s at %.1f s of %s: found in %s", jump, at, e.recs[k].Name, b.Name)
				case math.Abs(b.Jump-jump) > 0.03: // where in a rest it happened nobody can tell
					t.Errorf("%v s at %.1f s of %s: %+v", jump, at, b.Name, b)
				default:
					right++
				}
			}
		}
	}
	t.Logf("of 4 breaks %d are sure and right, %d are asked about", right, told)
	if right < 3 {
		t.Errorf("only %d of 4 breaks are sure and right", right)
	}
}

// A picture that is longer than its sound says how much is missing, and the playing where:
// so a jump of whole beats is found that the playing alone would not be asked about.
func TestFindBreaksByThePicture(t *testing.T) {
	e := play(t)
	const k, jump = 2, 0.62
	at := e.m.Start() + 0.45*(e.m.End()-e.m.Start()) - e.truth[k].Offset
	recs := e.with(t, k, broken(e.sounds[k], at, jump), 16000)
	hint := func(jump float64) map[string][]Hint {
		return map[string][]Hint{e.recs[k].Name: {{At: math.NaN(), Jump: jump, By: "picture"}}}
	}
	placed := Place(e.m, recs, nil)
	found := FindBreaks(e.m, recs, placed, hint(jump+0.03)) // a picture ends when it likes
	if len(found) != 1 || math.Abs(found[0].Jump-jump) > 0.03 || math.Abs(found[0].At-at) > 3 {
		t.Fatalf("%.2f s at %.1f s: %+v", jump, at, found)
	}
	alone := FindBreaks(e.m, recs, placed, nil)
	if len(alone) == 1 && alone[0].Gain > found[0].Gain+1e-9 {
		t.Errorf("with the picture %.1f nats speak for it, without it %.1f", found[0].Gain, alone[0].Gain)
	}
	for _, b := range FindBreaks(e.m, e.recs, Place(e.m, e.recs, nil), hint(0.3)) {
		if b.Sure {
			t.Errorf("a whole take whose picture runs on: %+v", b)
		}
	}
}

// What looks like a break and is none: a player who slows down and speeds up, one who
// enters late, one who rests for a measure, and one whose sound is gated in a rest.
func TestFindBreaksLeavesPlayersAlone(t *testing.T) {
	e := play(t)
	length := e.m.End() - e.m.Start()
	silent := func(x []float64, from, to float64) []float64 {
		x = slices.Clone(x)
		clear(x[int(from*16000):int(to*16000)])
		return x
	}
	for _, k := range []int{2} {
		x := e.sounds[k]
		start := e.m.Start() - e.truth[k].Offset
		beat := e.m.End() / 60 // a quiet stretch of about a second, wherever it falls
		for name, damaged := range map[string][]float64{
			"rubato":        wandering(x, 0.025, 9),
			"a late entry":  silent(x, start-0.3, start+0.25*length),
			"a long rest":   silent(x, start+0.5*length, start+0.6*length),
			"a gated beat":  silent(x, start+0.4*length, start+0.4*length+beat),
			"an early end":  silent(x, start+0.8*length, start+length),
			"another clock": wandering(x, 0, 0),
		} {
			for _, b := range e.breaks(e.with(t, k, damaged, 16000)) {
				if b.Sure {
					t.Errorf("%s of %s: %+v", name, e.recs[k].Name, b)
				}
			}
		}
	}
}

// wandering plays x late and early by up to so many seconds, over a period, on a clock
// that is 200 ppm off.
func wandering(x []float64, most, period float64) []float64 {
	out := make([]float64, len(x))
	for i := range out {
		at := float64(i) / 16000
		src := at * (1 + 200e-6)
		if period > 0 {
			src += most * math.Sin(2*math.Pi*at/period)
		}
		k := int(src * 16000)
		f := src*16000 - float64(k)
		if k >= 0 && k+1 < len(x) {
			out[i] = x[k]*(1-f) + x[k+1]*f
		}
	}
	return out
}

func TestSuspectRates(t *testing.T) {
	e := play(t)
	suspects := func(recs []Recording, label int) []WrongRate {
		rates := map[string]int{}
		for _, r := range recs {
			rates[r.Name] = label
		}
		return SuspectRates(e.m, recs, Place(e.m, recs, nil), rates)
	}
	if found := suspects(e.recs, 48000); len(found) > 0 {
		t.Errorf("rightly labelled: %+v", found)
	}
	right := Harmony(e.m, e.recs, Place(e.m, e.recs, nil))
	for _, c := range []struct{ label, rate int }{{44100, 48000}, {48000, 44100}, {32000, 48000}, {44100, 32000}} {
		for k, x := range e.sounds[:1] {
			before := e.with(t, k, x, 16000*c.label/c.rate)
			var first WrongRate
			for _, w := range suspects(before, c.label) {
				if w.Name == e.recs[k].Name && first.Rate == 0 {
					first = w
				}
			}
			if first.Rate != c.rate {
				t.Errorf("%s, %d labelled %d: taken for %d (%.1f nats)", e.recs[k].Name, c.rate, c.label, first.Rate, first.Gain)
			}
			// The harmony of the others tells it from another tempo.
			was := Harmony(e.m, before, Place(e.m, before, nil))[e.recs[k].Name]
			if is := right[e.recs[k].Name]; is < was+0.12 {
				t.Errorf("%s, %d labelled %d: harmony %.2f, then %.2f", e.recs[k].Name, c.rate, c.label, was, is)
			}
		}
	}
}

// BenchmarkHundredTakes is what deciding for 100 files of five minutes costs, besides
// listening to them: where they lie, and whether they are one piece of time. Times are
// those of the cores at hand.
func BenchmarkHundredTakes(b *testing.B) {
	e := simulate.New(7, simulate.Options{Level: simulate.Typical, Players: 4, Seconds: 290, Rate: 16000})
	heard := measured(b, e)
	var recs []Recording
	for k := range 100 {
		r := heard[k%len(heard)]
		r.Name = fmt.Sprintf("%s %d", r.Name, k)
		r.Take = r.Name
		recs = append(recs, r)
	}
	var place, breaks time.Duration
	b.ResetTimer()
	for b.Loop() {
		start := time.Now()
		placed := Place(e.Map, recs, nil)
		middle := time.Now()
		FindBreaks(e.Map, recs, placed, nil)
		place, breaks = place+middle.Sub(start), breaks+time.Since(middle)
	}
	b.ReportMetric(place.Seconds()/float64(b.N), "s/place")
	b.ReportMetric(breaks.Seconds()/float64(b.N), "s/breaks")
}
