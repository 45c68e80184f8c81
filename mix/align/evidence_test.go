package align

import (
	"math"
	"slices"
	"strings"
	"testing"

	"ripieno/mix/tempo"
)

// trio is three players of a piece, whose claps and notes are clear.
func trio(t *testing.T, m *tempo.Map, notes []float64) []Recording {
	return []Recording{
		{Name: "one", Features: plucks(t, -4.1, m.End()+3, []float64{m.Cue() + 0.02}, notes, 1)},
		{Name: "two", Features: plucks(t, -8.7, m.End()+2, []float64{m.Cue() - 0.01}, notes, 2)},
		{Name: "three", Features: plucks(t, -6.4, m.End()+2, []float64{m.Cue() + 0.01}, notes, 3)},
	}
}

// A lone clap beats rhythm: a player who strikes on the second beat only, while
// all others strike on the first, is placed by the clap and not a beat early.
func TestLoneClapBeatsRhythm(t *testing.T) {
	m := piece(t, 16, 4, 100)
	var first, second []float64
	for b := range m.Beats() {
		switch {
		case b.CountIn:
		case b.Number == 1:
			first = append(first, b.Seconds, b.Seconds+b.Length/2)
		case b.Number == 2:
			second = append(second, b.Seconds, b.Seconds+b.Length/2, b.Seconds+0.75*b.Length)
		}
	}
	const offset = -5.3
	guitar := Recording{Name: "guitar", Features: plucks(t, offset, m.End()+2, []float64{m.Cue()}, second, 7)}
	p := Place(m, append(trio(t, m, first), guitar), nil)[3]
	if off := p.Offset - offset; !p.Sure || math.Abs(off) > 0.02 {
		t.Errorf("placed %.0f ms off: %+v", 1000*off, p)
	}
}

// Players who go on after the last measure are placed by their clap all the same.
func TestPlayingOnAfterTheEnd(t *testing.T) {
	m := piece(t, 12, 4, 100)
	notes, _ := tune(m)
	more := slices.Clone(notes)
	for k := range 16 {
		more = append(more, m.End()+0.012+0.6*float64(k))
	}
	const offset = -5.3
	on := Recording{Name: "on", Features: plucks(t, offset, m.End()+14, []float64{m.Cue()}, more, 8)}
	for _, recs := range [][]Recording{{on}, append(trio(t, m, notes), on)} {
		p := Place(m, recs, nil)[len(recs)-1]
		if off := p.Offset - (offset - 0.012); !p.Sure || math.Abs(off) > 0.02 {
			t.Errorf("with %d others: placed %.0f ms off: %+v", len(recs)-1, 1000*off, p)
		}
	}
}

// Where nobody plays, a lone clap places a file and one of two does not.
func TestClapsWithoutPlaying(t *testing.T) {
	m := piece(t, 12, 4, 100)
	const offset = -5.0
	for _, claps := range [][]float64{{m.Cue()}, {m.Cue(), m.Cue() + 0.6}, {m.Cue() - 2.4, m.Cue()}} {
		f := plucks(t, offset, m.End()+2, slices.Clone(claps), nil, 14)
		p := Place(m, []Recording{{Name: "x", Features: f}}, nil)[0]
		if len(claps) > 1 && p.Sure {
			t.Errorf("claps at %v: sure of %+v", claps, p)
		}
		if len(claps) == 1 && (!p.Sure || math.Abs(p.Offset-offset) > 0.002) {
			t.Errorf("a lone clap: %+v", p)
		}
	}
}

// A late take moves nobody who was sure, by not one digit.
func TestLateTakeMovesNobody(t *testing.T) {
	m := piece(t, 12, 4, 100)
	notes, even := tune(m)
	recs := append(trio(t, m, notes), Recording{Name: "no cue", Features: plucks(t, -3.3, m.End()+2, nil, notes, 9)})
	before := Place(m, recs, nil)
	late := Recording{Name: "late", Features: plucks(t, -2.2, m.End()+2, []float64{m.Cue()}, even, 10)}
	for i, is := range Place(m, append(recs, late), nil)[:len(before)] {
		was := before[i]
		if was.Sure && (!is.Sure || is.Offset != was.Offset || is.DriftPPM != was.DriftPPM) {
			t.Errorf("%s was at %v, is at %v (sure %v)", is.Name, was.Offset, is.Offset, is.Sure)
		}
	}
}

// The candidates of a placement come in order of their odds, with the second of
// the file at which the clap is heard.
func TestCandidates(t *testing.T) {
	m := piece(t, 12, 4, 100)
	notes, _ := tune(m)
	claps := []float64{m.Cue(), m.Cue() - 2.4} // the same sound a measure early
	p := Place(m, []Recording{{Name: "x", Features: plucks(t, -5, m.End()+2, claps, notes, 11)}}, nil)[0]
	if len(p.Candidates) < 2 {
		t.Fatalf("%d candidates", len(p.Candidates))
	}
	for i, c := range p.Candidates {
		if i > 0 && c.Odds > p.Candidates[i-1].Odds || c.Odds < 0 || c.Odds > 1 || len(c.Evidence) == 0 {
			t.Errorf("candidate %d: %+v", i, c)
		}
	}
	best := p.Candidates[0]
	if !best.ByCue || math.Abs(best.At-(m.Cue()+5)) > 0.002 {
		t.Errorf("the clap at %.3f s is told as %+v", m.Cue()+5, best)
	}
	other := slices.ContainsFunc(p.Candidates, func(c Candidate) bool {
		return c.ByCue &&
			math.Abs(c.At-(m.Cue()+2.6)) < 0.002
	})
	if !other {
		t.Errorf("the second clap at %.3f s is not told: %+v", m.Cue()+2.6, p.Candidates)
	}
}

// A take that was played to another tempo is not sure, however clear its clap; when
// all were, none is, and the tempo is told.
func TestAnotherTempoIsNeverSure(t *testing.T) {
	t.Parallel()
	m, quicker := piece(t, 16, 4, 100), piece(t, 16, 4, 106)
	notes, _ := tune(m)
	quick, _ := tune(quicker)
	other := Recording{Name: "other", Features: plucks(t, -5, m.End()+2, []float64{m.Cue()}, quick, 12)}
	p := Place(m, append(trio(t, m, notes), other), nil)
	for _, is := range p[:3] {
		if !is.Sure || is.OtherTempo != 0 {
			t.Errorf("%s fits, and is told: %+v", is.Name, is)
		}
	}
	if p[3].Sure || math.Abs(p[3].OtherTempo-1.06) > 0.005 ||
		!strings.Contains(p[3].Reason, "faster than the guide's") {
		t.Errorf("six per cent faster: %+v", p[3])
	}
	for _, is := range Place(m, trio(t, quicker, quick), nil) {
		if is.Sure || math.Abs(is.OtherTempo-1.06) > 0.005 {
			t.Errorf("%s of an ensemble that all heard another guide: %+v", is.Name, is)
		}
	}
}

// Clicks of the guide that leak as loud as a clap may make a take need review, but
// its best place stays where it is without them.
func TestLoudLeakMovesNobody(t *testing.T) {
	m := piece(t, 12, 4, 100)
	notes, _ := tune(m)
	var clicks []float64
	for b := range m.Beats() {
		clicks = append(clicks, b.Seconds)
	}
	const offset = -5.0
	var off [2]float64
	for i, claps := range [][]float64{{m.Cue()}, append(clicks, m.Cue())} {
		p := Place(m, []Recording{{Name: "x", Features: plucks(t, offset, m.End()+2, claps, notes, 13)}}, nil)[0]
		off[i] = math.Abs(p.Offset - (offset - 0.012))
	}
	if off[0] > 0.005 || off[1] > off[0]+0.005 {
		t.Errorf("%.1f ms off without clicks, %.1f ms with them", 1000*off[0], 1000*off[1])
	}
}

func TestPeaksLieApart(t *testing.T) {
	v := make([]float64, 200)
	v[10], v[15], v[40], v[120], v[199] = 3, 2, 5, 1, 4
	got := peaks(v, 4)
	if want := []int{40, 199, 10, 120}; !slices.Equal(got, want) {
		t.Errorf("peaks %v, want %v", got, want)
	}
}

// A burst with others round it stands less alone than one in silence.
func TestIsolated(t *testing.T) {
	lone, among := make([]uint8, 400), make([]uint8, 400)
	lone[200] = 120
	for i := range among {
		if i%8 == 0 {
			among[i] = 100
		}
	}
	among[200] = 120
	a, b := isolation(lone)[200], isolation(among)[200]
	if math.Abs(a-1.2) > 1e-9 || b > 0.5*a {
		t.Errorf("alone %.2f, want 1.20; among others %.2f, want less than half", a, b)
	}
}

// Chroma of a chord points at its pitch classes, whatever the level.
func TestChromaOfAChord(t *testing.T) {
	const rate = 16000
	x := sketch(rate, 8, 3)
	for i := rate * 3; i < rate*6; i++ {
		for _, midi := range []int{60, 64, 67} {
			x[i] += 0.01 * math.Sin(2*math.Pi*440*math.Pow(2, float64(midi-69)/12)*float64(i)/rate)
		}
	}
	f := analyse(t, rate, x)
	v := f.Chroma[int(4.5/ChromaHop)]
	for p, is := range v {
		in := p == 0 || p == 4 || p == 7
		if in != (is > 20) {
			t.Errorf("pitch class %d: %d", p, is)
		}
	}
}

// Harmony clears a voice whose beats mislead, and doubts one by itself only where its beats hardly
// fit the guide: in small ensembles it goes better with another tempo by chance.
func TestHarmonyAndBeatsTellTheTempo(t *testing.T) {
	for _, c := range []struct {
		name            string
		fits, own, gain float64
		want            float64
	}{
		{"beats alone", 0.6, 1.1, 0.01, 1.1},
		{"beats that mislead", 0.6, 1.1, -0.03, 0},
		{"harmony of playing that hardly fits", 0.4, 0, 0.05, 1.2},
		{"harmony of playing that half fits", 0.57, 0, 0.05, 0},
		{"harmony that says little", 0.4, 0, 0.03, 0},
		{"the same of playing that fits less", 0.3, 0, 0.03, 1.2},
		{"playing that does not fit at all", 0.2, 0, 0, 1.2},
		{"harmony that says much of playing that half fits, as five against four does", 0.6, 0, 0.09, 1.2},
		{"harmony that hardly clears what the beats deny", 0.2, 1.1, -0.03, 1.1},
		{"harmony that clears what the beats deny", 0.2, 1.1, -0.05, 0},
	} {
		if got := (&pace{fits: c.fits}).heed(c.own, 1.2, c.gain); got != c.want {
			t.Errorf("%s: another tempo %g, want %g", c.name, got, c.want)
		}
	}
}
