package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// studio is one simulated ensemble, measured once for all tests that place it.
var studio = sync.OnceValues(func() (*simulate.Ensemble, []Recording) {
	e := simulate.New(1002, simulate.Options{Level: simulate.Easy, Players: 4, Seconds: 30, Rate: 16000})
	var recs []Recording
	for _, t := range e.Takes {
		f, err := Analyse(t.Source())
		if err != nil {
			panic(err) // a source in memory does not fail
		}
		recs = append(recs, Recording{Name: t.Name, Take: t.Player, Role: "video", Features: f})
	}
	return e, recs
})

func at(v float64) *float64 { return &v }

// show makes placements comparable: NaN equals NaN in print.
func show(p Placement) string { return fmt.Sprintf("%+v", p) }

func TestPlaceIgnoresOrder(t *testing.T) {
	e, recs := studio()
	want := map[string]string{}
	for _, p := range Place(e.Map, recs, nil) {
		want[p.Name] = show(p)
	}
	r := rand.New(rand.NewPCG(1, 1))
	for range 2 {
		mixed := slices.Clone(recs)
		r.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		for i, p := range Place(e.Map, mixed, nil) {
			if p.Name != mixed[i].Name {
				t.Fatalf("placement %d is of %s, want %s", i, p.Name, mixed[i].Name)
			}
			if show(p) != want[p.Name] {
				t.Errorf("another order gives\n%s, was\n%s", show(p), want[p.Name])
			}
		}
	}
}

// The user's word wins and is not argued with.
func TestPlaceUserDecides(t *testing.T) {
	e, recs := studio()
	cue := e.Map.Cue()
	for _, c := range []struct {
		name  string
		set   func(*Recording)
		check func(Placement) bool
	}{
		{"offset", func(r *Recording) { r.Offset = at(-3.25) }, func(p Placement) bool {
			return p.Offset == -3.25 && p.Method == "offset given"
		}},
		{"offset and drift", func(r *Recording) { r.Offset, r.DriftPPM = at(-3.25), at(77) }, func(p Placement) bool {
			return p.Offset == -3.25 && p.DriftPPM == 77
		}},
		{"cue", func(r *Recording) { r.CueAt = at(11.5) }, func(p Placement) bool {
			return math.Abs(p.Offset+11.5*(1+p.DriftPPM*1e-6)-cue) < 1e-9 && p.Method == "cue given" && p.CueAt == 11.5
		}},
		{"cue and drift", func(r *Recording) { r.CueAt, r.DriftPPM = at(11.5), at(-200) }, func(p Placement) bool {
			return math.Abs(p.Offset+11.5*(1-200e-6)-cue) < 1e-9 && p.DriftPPM == -200
		}},
		{"drift alone", func(r *Recording) { r.DriftPPM = at(12) }, func(p Placement) bool {
			return p.DriftPPM == 12 && p.Method != "offset given"
		}},
		{"offset without sound", func(r *Recording) { r.Offset, r.Features = at(9), nil }, func(p Placement) bool {
			return p.Offset == 9 && p.DriftPPM == 0
		}},
	} {
		mine := slices.Clone(recs)
		c.set(&mine[1])
		p := Place(e.Map, mine, nil)[1]
		if !c.check(p) {
			t.Errorf("%s: %+v", c.name, p)
		}
		if c.name != "drift alone" && (!p.Sure || p.Confidence != 1 || p.Reason != "") {
			t.Errorf("%s: not sure: %+v", c.name, p)
		}
	}
}

// A cue given where the player really clapped shows the player's lateness.
func TestPlaceCueGivenReportsLateness(t *testing.T) {
	e, recs := studio()
	truth := e.Takes[2].Truth
	mine := slices.Clone(recs)
	mine[2].CueAt = at(truth.Cue)
	p := Place(e.Map, mine, nil)[2]
	clap := truth.Offset + truth.Cue*(1+truth.DriftPPM*1e-6) - e.Map.Cue() // the clap's own error
	if want := truth.Lateness - clap; math.Abs(p.Lateness-want) > 0.012 {
		t.Errorf("lateness %.1f ms against the cue, truth %.1f", 1000*p.Lateness, 1000*want)
	}
}

// Files with nothing in them are refused with a reason, and harm nobody else.
func TestPlaceNothing(t *testing.T) {
	e, recs := studio()
	silent, err := Analyse(audio.NewMemory(audio.NewBlock(1, 20*16000), 16000))
	if err != nil {
		t.Fatal(err)
	}
	alone := Place(e.Map, recs, nil)
	more := append(slices.Clone(recs),
		Recording{Name: "x-none"},
		Recording{Name: "x-silent", Features: silent},
		Recording{Name: "x-empty", Features: &Features{}},
	)
	for i, p := range Place(e.Map, more, nil) {
		if i < len(recs) {
			if show(p) != show(alone[i]) {
				t.Errorf("%s is placed differently beside empty files", p.Name)
			}
			continue
		}
		if p.Sure || p.Method != "none" || p.Reason == "" || p.Confidence > 0.5 || math.IsNaN(p.Offset) {
			t.Errorf("%s: %+v", p.Name, p)
		}
	}
	if got := Place(e.Map, nil, nil); len(got) != 0 {
		t.Errorf("no recordings give %d placements", len(got))
	}
}

// piece is a piece in 4/4 for takes written by hand.
func piece(t *testing.T, measures, countIn int, bpm float64) *tempo.Map {
	t.Helper()
	return pieceIn(t, "4/4", measures, countIn, bpm)
}

func pieceIn(t *testing.T, meters string, measures, countIn int, bpm float64) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter(meters)
	if err != nil {
		t.Fatal(err)
	}
	s := tempo.Spec{Measures: measures, Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: bpm}}}
	if countIn > 0 {
		cue, beat := tempo.DefaultCue(countIn)
		s.CountIn = tempo.CountIn{Measures: countIn, CueMeasure: cue, CueBeat: beat}
	}
	m, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// plucks is a file in which short notes begin at guide times, recorded from
// offset on; the first of loud is a clap when clap is set.
func plucks(t *testing.T, offset, end float64, claps []float64, notes []float64, number uint64) *Features {
	t.Helper()
	const rate = 16000
	for i := range claps {
		claps[i] -= offset
	}
	x := sketch(rate, end-offset, number, claps...)
	for k, n := range notes {
		f := 220 * math.Pow(2, float64((k*5)%12)/12)
		for i := max(0, int((n-offset)*rate)); i < min(len(x), int((n-offset+0.6)*rate)); i++ {
			if age := float64(i)/rate - (n - offset); age >= 0 {
				a := 0.2 * math.Exp(-age/0.15) * (1 - math.Exp(-age/0.001))
				x[i] += a * (math.Sin(2*math.Pi*f*age) + 0.5*math.Sin(4*math.Pi*f*age) + 0.3*math.Sin(6*math.Pi*f*age))
			}
		}
	}
	return analyse(t, rate, x)
}

// A steady pulse looks the same a beat later: only the cue and the ends of the
// piece can tell, and they must. Every player claps; one claps twice, a beat
// apart, and may be refused but not misplaced.
func TestPlaceSteadyPulse(t *testing.T) {
	m := piece(t, 16, 4, 100)
	var notes []float64
	for b := range m.Beats() {
		if !b.CountIn {
			notes = append(notes, b.Seconds+0.012)
		}
	}
	beat := 0.6
	recs := []Recording{
		{Name: "one", Features: plucks(t, -4.1, m.End()+3, []float64{m.Cue() + 0.02}, notes, 1)},
		{Name: "two", Features: plucks(t, -11.7, m.End()+2, []float64{m.Cue() - 0.025}, notes, 2)},
		{Name: "twice", Features: plucks(t, -6.3, m.End()+2, []float64{m.Cue() - beat, m.Cue()}, notes, 3)},
		{Name: "wrong", Features: plucks(t, -6.9, m.End()+2, []float64{m.Cue() - 4*beat}, notes, 4)},
	}
	want := []float64{-4.1, -11.7, -6.3, -6.9}
	for i, p := range Place(m, recs, nil) {
		off := p.Offset - (want[i] - 0.012)
		if p.Sure && math.Abs(off) > 0.01 {
			t.Errorf("%s: sure and %.0f ms wrong: %+v", p.Name, 1000*off, p)
		}
		if i < 2 && !p.Sure {
			t.Errorf("%s: a clear clap and a clear beginning are refused: %+v", p.Name, p)
		}
		if p.Sure && i < 2 && math.Abs(p.Lateness-[]float64{-0.008, 0.037}[i]) > 0.003 {
			t.Errorf("%s: lateness %.1f ms", p.Name, 1000*p.Lateness)
		}
	}
}

// Without a count-in only the playing is left. A rhythm with a beginning and
// an end is enough to be near, a steady pulse that is cut off is not.
func TestPlaceWithoutCountIn(t *testing.T) {
	m := piece(t, 12, 0, 90)
	r := rand.New(rand.NewPCG(12, 1))
	var notes []float64
	for b := range m.Beats() {
		if b.Downbeat || r.IntN(3) > 0 {
			notes = append(notes, b.Seconds)
		}
		if r.IntN(3) == 0 {
			notes = append(notes, b.Seconds+b.Length/2)
		}
	}
	pulse := notes[:0:0]
	for b := range m.Beats() {
		pulse = append(pulse, b.Seconds)
	}
	got := Place(m, []Recording{
		{Name: "whole", Features: plucks(t, -5.2, m.End()+3, nil, notes, 5)},
		{Name: "part", Features: plucks(t, 10.13, 20, nil, pulse, 6)},
	}, nil)
	if p := got[0]; math.Abs(p.Offset+5.2) > 0.01 || p.Method != "playing" || !math.IsNaN(p.CueOffset) {
		t.Errorf("whole: %+v", p)
	}
	if p := got[1]; p.Sure {
		t.Errorf("a pulse without ends is sure: %+v", p)
	}
}

// A microphone switched on after the clap is placed by the phone beside it.
func TestPlacePairs(t *testing.T) {
	m := piece(t, 12, 4, 96)
	var notes []float64
	for b := range m.Beats() {
		if !b.CountIn && b.Number != 3 {
			notes = append(notes, b.Seconds)
		}
	}
	phone := Recording{Name: "a-phone", Take: "a", Features: plucks(t, -7.5, m.End()+1, []float64{m.Cue()}, notes, 7)}
	mic := Recording{Name: "a-mic", Take: "a", Features: plucks(t, m.Start()+8.003, m.End()+1, nil, notes, 8)}
	match := Match{OffsetSeconds: m.Start() + 8.003 + 7.5, DriftPPM: 21, Confidence: 1, Agree: 30, Windows: 30}
	pairs := []Pair{{A: "a-phone", B: "a-mic", Match: match}, {A: "a-phone", B: "missing", Match: match}}
	got := Place(m, []Recording{mic, phone}, pairs)
	if !got[1].Sure || math.Abs(got[1].Offset+7.5) > 0.005 {
		t.Fatalf("phone: %+v", got[1])
	}
	p := got[0]
	if !p.Sure || p.Method != "device" ||
		math.Abs(p.Offset-got[1].Offset-match.OffsetSeconds*(1+got[1].DriftPPM*1e-6)) > 1e-9 {
		t.Errorf("mic: %+v", p)
	}
	if math.Abs(p.DriftPPM-got[1].DriftPPM-21) > 0.01 {
		t.Errorf("mic's clock: %g, phone's %g", p.DriftPPM, got[1].DriftPPM)
	}
	// The other way round: what the user fixed on the microphone moves the phone.
	mic.Offset, mic.DriftPPM = at(100), at(21)
	got = Place(m, []Recording{mic, phone}, pairs)
	if math.Abs(got[1].Offset-(100-match.OffsetSeconds/(1+0))) > 1e-3 || got[0].Offset != 100 {
		t.Errorf("fixed microphone: %+v", got)
	}
	// A doubtful match ties nothing.
	pairs[0].Match.Confidence = 0.5
	mic.Offset, mic.DriftPPM = nil, nil
	if got = Place(m, []Recording{mic, phone}, pairs); got[0].Method == "device" || got[1].Method == "device" {
		t.Errorf("doubtful match used: %+v", got)
	}
}

func TestTieBothWays(t *testing.T) {
	x := tie{match: Match{OffsetSeconds: 12.345, DriftPPM: 60}}
	o, ppm := x.toB(-4, 33)
	a, back := x.toA(o, ppm)
	if math.Abs(a+4) > 1e-9 || math.Abs(back-33) > 1e-9 {
		t.Errorf("there and back: %g, %g", a, back)
	}
	// A moment of b must have one guide time by either device.
	const tb = 100.0
	ta := 12.345 + tb*(1+60e-6)
	if d := o + tb*(1+ppm*1e-6) - (-4 + ta*(1+33e-6)); math.Abs(d) > 1e-9 {
		t.Errorf("the devices disagree by %g s", d)
	}
}

// Drift is found where the playing is long, and not claimed where it is short.
func TestPlaceDrift(t *testing.T) {
	m := piece(t, 60, 4, 132)
	r := rand.New(rand.NewPCG(2, 2))
	for _, ppm := range []float64{80, -450} {
		var notes []float64
		for b := range m.Beats() {
			if !b.CountIn && (b.Downbeat || r.IntN(4) > 0) {
				notes = append(notes, (b.Seconds+0.004*r.NormFloat64()+5)/(1+ppm*1e-6)-5)
			}
		}
		f := plucks(t, -5, m.End()+2, []float64{(m.Cue()+5)/(1+ppm*1e-6) - 5}, notes, 11)
		p := Place(m, []Recording{{Name: "x", Features: f}}, nil)[0]
		if math.Abs(p.DriftPPM-ppm) > 30 || !p.Sure {
			t.Errorf("drift %g: found %g: %+v", ppm, p.DriftPPM, p)
		}
		for _, g := range []float64{m.Start(), m.End()} {
			file := (g + 5) / (1 + ppm*1e-6)
			if off := p.Offset + file*(1+p.DriftPPM*1e-6) - g; math.Abs(off) > 0.005 {
				t.Errorf("drift %g: %.1f ms off at %g s", ppm, 1000*off, g)
			}
		}
	}
	short := piece(t, 8, 4, 110)
	var notes []float64
	for b := range short.Beats() {
		if !b.CountIn {
			notes = append(notes, b.Seconds)
		}
	}
	p := Place(short, []Recording{{Name: "x", Features: plucks(t, -5, short.End()+1, []float64{short.Cue()}, notes,
		12)}}, nil)[0]
	if p.DriftPPM != 0 {
		t.Errorf("%g ppm claimed from %g s of playing", p.DriftPPM, short.End()-short.Start())
	}
}

func BenchmarkPlace(b *testing.B) {
	e, recs := studio()
	for b.Loop() {
		Place(e.Map, recs, nil)
	}
}
