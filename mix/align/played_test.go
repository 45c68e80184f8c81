package align

import (
	"math"
	"testing"
)

// drumming is what a microphone hears of a drum from offset on: dull strokes that are all alike, and
// claps where they are asked for.
func drumming(t *testing.T, offset, end float64, claps, strokes []float64) *Features {
	t.Helper()
	const rate = 16000
	at := make([]float64, len(claps))
	for i, c := range claps {
		at[i] = c - offset
	}
	x := sketch(rate, end-offset, 5, at...)
	for _, n := range strokes {
		for i := max(0, int((n-offset)*rate)); i < min(len(x), int((n-offset+0.3)*rate)); i++ {
			age := float64(i)/rate - (n - offset)
			x[i] += 0.5 * math.Exp(-age/0.03) * math.Sin(2*math.Pi*180*age)
			x[i] += 0.2 * math.Exp(-age/0.004) * math.Sin(2*math.Pi*700*age)
		}
	}
	return analyse(t, rate, x)
}

// drumPart is a stroke on the first beat, a rest up to the second measure, and a stroke on every beat
// from there on.
func drumPart(t *testing.T) (start, cue, end float64, strokes []float64, place func(Recording) Placement) {
	t.Helper()
	m := piece(t, 16, 4, 100)
	for b := range m.Beats() {
		if !b.CountIn && (b.Measure > 1 || b.Number == 1) {
			strokes = append(strokes, b.Seconds)
		}
	}
	return m.Start(), m.Cue(), m.End(), strokes, func(r Recording) Placement { return Place(m, []Recording{r}, nil)[0] }
}

// A drummer whose recording begins after the cue, and who rests after the first beat, is not placed
// by that beat, which is like all the others.
func TestAFirstBeatIsNoCue(t *testing.T) {
	start, cue, end, strokes, place := drumPart(t)
	late := drumming(t, start-1, end+2, nil, strokes)
	for _, written := range [][]float64{nil, strokes} {
		if p := place(Recording{Name: "x", Features: late, Onsets: written}); p.Sure && math.Abs(p.Offset-(start-1)) > 0.03 {
			t.Errorf("sure and %.2f s off with %d notes written: %+v", p.Offset-(start-1), len(written), p)
		}
	}
	whole := drumming(t, -3, end+2, []float64{cue}, strokes)
	if p := place(Recording{Name: "x", Features: whole}); !p.Sure || math.Abs(p.Offset+3) > 0.03 {
		t.Errorf("with a clap it is asked about or %.3f s off: %+v", p.Offset+3, p)
	}
}

// What is like five notes of the part may be one of them, however loud; what is brighter, longer,
// slower or in fewer bands is not.
func TestCuesLikeTheNotes(t *testing.T) {
	m := piece(t, 12, 4, 100)
	g := newGrid(m)
	played := func(notes int, change func(e *Event)) bool {
		cue := clapAt(m.Cue())
		change(&cue)
		f := &Features{NoiseDB: -60, LoudDB: -18, Duration: m.End() + 2, Events: []Event{cue}}
		for i := range notes {
			e := clapAt(m.Start() + 0.6*float64(i))
			e.Level -= 9
			f.Events = append(f.Events, e)
		}
		k := newTake(&Recording{Features: f})
		return k.isPlayed(g, hyp{cue: 0})
	}
	same := func(*Event) {}
	if !played(alikeLeast, same) || played(alikeLeast-1, same) {
		t.Errorf("a cue like %d notes and not one like fewer may be a note", alikeLeast)
	}
	for name, change := range map[string]func(e *Event){
		"brighter": func(e *Event) { e.Bright += 0.15 },
		"longer":   func(e *Event) { e.Decay += 0.2 },
		"slower":   func(e *Event) { e.Rise += 0.03 },
		"purer":    func(e *Event) { e.Spread -= 0.4 },
	} {
		if played(20, change) {
			t.Errorf("a cue that is %s is taken for a note", name)
		}
	}
	if (&take{f: &Features{}}).isPlayed(g, hyp{cue: -1}) {
		t.Error("no cue is taken for a note")
	}
}

// A place whose cue is like the notes is believed where it leads without any cue.
func TestLeadsUncued(t *testing.T) {
	cued := func(o, lead, cue float64) hyp {
		h := hyp{o: o, cue: 0, score: lead}
		h.terms[cueAlone] = cue / weights[cueAlone]
		return h
	}
	best := cued(0, 10, 6)
	for _, c := range []struct {
		name string
		hyps []hyp
		want bool
	}{
		{"nobody else", []hyp{best}, true},
		{"far behind without either's cue", []hyp{best, cued(3, 5, 2.5)}, true},
		{"ahead without its cue", []hyp{best, cued(3, 5, 0)}, false},
		{"as near as nothing", []hyp{best, cued(3, 4, 0.5)}, false},
		{"the same place", []hyp{best, cued(0.1, 9, 0)}, true},
	} {
		if got := (&take{hyps: c.hyps}).leadsUncued(best); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Only a clear clap that is none of the part's notes says that a score is another player's.
func TestWhatObjectsToAScore(t *testing.T) {
	m := piece(t, 12, 4, 100)
	g := newGrid(m)
	objects := func(notes int, change func(e *Event)) bool {
		cue := clapAt(m.Cue())
		change(&cue)
		f := &Features{NoiseDB: -60, LoudDB: -18, Duration: m.End() + 2, Events: []Event{cue}}
		for i := range notes {
			f.Events = append(f.Events, clapAt(m.Start()+0.6*float64(i)))
		}
		k := newTake(&Recording{Features: f})
		k.hyps = []hyp{{cue: 0, score: 9}, {cue: -1, o: 0.6}}
		if k.objects(g, 0) {
			t.Error("it objects to its own place")
		}
		return k.objects(g, 2.4)
	}
	if !objects(0, func(*Event) {}) {
		t.Error("a clear clap elsewhere does not object")
	}
	if objects(0, func(e *Event) { e.Bright, e.Spread, e.After = 0.2, 0.6, -30 }) {
		t.Error("a dull sound that is no clear clap objects")
	}
	if objects(20, func(*Event) {}) {
		t.Error("a clap like all the part's own notes objects")
	}
}
