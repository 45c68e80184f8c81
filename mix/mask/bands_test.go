package mask

import (
	"errors"
	"math"
	"slices"
	"testing"
	"testing/quick"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// The critical bands are those of Zwicker's table (1961): 24 from 0 to 15.5 kHz, each
// beginning where the one before ends, 100 Hz wide up to 400 Hz and about a fifth of
// their middle above 1 kHz.
func TestCriticalBands(t *testing.T) {
	if edges[0] != 0 || edges[Bands] != 15500 || len(edges) != 25 {
		t.Fatalf("from %v to %v", edges[0], edges[Bands])
	}
	for b := range Bands {
		wide, middle := edges[b+1]-edges[b], (edges[b]+edges[b+1])/2
		if wide <= 0 || middle < 400 && wide != 100 || middle > 1000 && (wide/middle < 0.14 || wide/middle > 0.27) {
			t.Errorf("band %d is %v Hz wide about %v Hz", b, wide, middle)
		}
	}
}

// A tone excites its own band by its power and others by less: 27 dB less a band
// downward, and upward the less the louder it is (Terhardt 1979).
func TestExcitationSpreads(t *testing.T) {
	at := func(b int, db float64) [Bands]float64 {
		var p [Bands]float64
		p[b] = math.Pow(10, db/10)
		return spread(p)
	}
	db := func(x float64) float64 { return 10 * math.Log10(x) }
	for b := range Bands {
		e := at(b, -30)
		if math.Abs(db(e[b])+30) > 1e-9 {
			t.Errorf("band %d is excited by %v dB", b, db(e[b]))
		}
		if b > 0 && math.Abs(db(e[b]/e[b-1])-27) > 1e-9 {
			t.Errorf("band %d: %v dB less below", b, db(e[b]/e[b-1]))
		}
		if b+1 < Bands {
			soft, loud := at(b, -60), at(b, -10)
			if up, louder := db(soft[b]/soft[b+1]), db(loud[b]/loud[b+1]); louder >= up || up <= 0 {
				t.Errorf("band %d: %v dB less above of a soft tone, %v of a loud one", b, up, louder)
			}
		}
	}
	if e := spread([Bands]float64{}); slices.Max(e[:]) != 0 {
		t.Errorf("nothing excites %v", e)
	}
	// Terhardt's slope at 1175 Hz and 65 dB of sound pressure: 24 + 0.2 − 13 dB a Bark.
	if e := at(9, 65-asSPL); math.Abs(db(e[9]/e[10])-(24+230.0/1175-13)) > 1e-6 {
		t.Errorf("%v dB", db(e[9]/e[10]))
	}
}

// Of several tones the strongest counts in each band, and no band has less than its own
// power.
func TestExcitationOfSeveral(t *testing.T) {
	laws := func(levels [Bands]uint8) bool {
		var p [Bands]float64
		for b, l := range levels {
			p[b] = math.Pow(10, -float64(l%120)/10)
		}
		e := spread(p)
		for b := range e {
			if e[b] < p[b] || e[b] > 1 || math.IsNaN(e[b]) {
				return false
			}
		}
		return true
	}
	if err := quick.Check(laws, nil); err != nil {
		t.Error(err)
	}
}

// Half the amplitude is 6.02 dB less in every moment; silence is the least there is, and
// what is not whole a moment is one.
func TestLevelsFollowTheAmplitude(t *testing.T) {
	x := tone(1, 440, -20, 0, 1)
	half := slices.Clone(x)
	for i := range half {
		half[i] /= 2
	}
	a, b := strip(t, "a", x), strip(t, "b", half)
	if len(a.Levels.Moments) != len(b.Levels.Moments) || len(a.Levels.Moments) != 4 && len(a.Levels.Moments) != 5 {
		t.Fatalf("%d and %d moments of a second", len(a.Levels.Moments), len(b.Levels.Moments))
	}
	for i := range a.Levels.Moments {
		for k, l := range a.Levels.Moments[i] {
			if l > -100 && math.Abs(float64(l-b.Levels.Moments[i][k])-6.0206) > 0.01 {
				t.Errorf("moment %d, band %d: %v and %v", i, k, l, b.Levels.Moments[i][k])
			}
		}
	}
	for _, n := range []int{0, 1, 100, int(Step), int(Step) + 1} {
		s := strip(t, "", make([]float64, n))
		want := (n + int(Step) - 1) / int(Step)
		if len(s.Levels.Moments) != want {
			t.Errorf("%d frames are %d moments, want %d", n, len(s.Levels.Moments), want)
		}
		for _, m := range s.Levels.Moments {
			if slices.Max(m[:]) != silent {
				t.Errorf("silence has %v", m)
			}
		}
	}
	broken := errors.New("cut off")
	if _, err := Listen(&audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, audio.Rate), Left: 9000,
		Err: broken}); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}

// Who is hidden does not depend on the order of the strips, on where guide time begins, or
// on how loud all of them are together.
func TestHidingIsRelative(t *testing.T) {
	strips := []Strip{strip(t, "trumpet", tone(4, 440, -30, 0, 4)), strip(t, "viola", tone(4, 443, -45, 1, 4)),
		strip(t, "cello", tone(3, 110, -50, 0, 3))}
	want := Find(strips)
	if want[1].Share == 0 {
		t.Fatal("nobody is hidden")
	}
	turned := slices.Clone(strips)
	slices.Reverse(turned)
	later := slices.Clone(strips)
	for i := range later {
		later[i].From += 1000 * Step
	}
	got := Find(turned)
	slices.Reverse(got)
	for i := range want {
		if got[i].Share != want[i].Share || got[i].Lift != want[i].Lift {
			t.Errorf("strip %d turned: %+v, want %+v", i, got[i], want[i])
		}
	}
	for i, h := range Find(later) {
		if h.Share != want[i].Share || h.Lift != want[i].Lift || len(h.Spans) != len(want[i].Spans) {
			t.Errorf("strip %d later: %+v, want %+v", i, h, want[i])
		}
		for k := range h.Spans {
			if h.Spans[k].From != want[i].Spans[k].From+1000*Step || h.Spans[k].To != want[i].Spans[k].To+1000*Step {
				t.Errorf("strip %d, span %d: %+v, want %+v", i, k, h.Spans[k], want[i].Spans[k])
			}
		}
	}
}

// One who plays for a moment among rests is heard in it or not: what is far below the
// middle of their own playing is no playing.
func TestWhoPlays(t *testing.T) {
	g := &group{power: make([][Bands]float64, 6)}
	for i, db := range []float64{-20, -20, -41, -39, -200, -90} {
		g.power[i][3] = math.Pow(10, db/10)
	}
	if got := g.playing(); !slices.Equal(got, []bool{true, true, false, true, false, false}) {
		t.Errorf("%v", got)
	}
	if got := (&group{power: make([][Bands]float64, 3)}).playing(); slices.Contains(got, true) {
		t.Errorf("silence plays: %v", got)
	}
	empty := Find([]Strip{{Levels: &Levels{}, Group: "a"}, {Levels: &Levels{}, Group: "b", From: 100}})
	if len(empty) != 2 || empty[0].Share != 0 || empty[1].Spans != nil {
		t.Errorf("%+v", empty)
	}
}
