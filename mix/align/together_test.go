package align

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/mix/align/simulate"
)

// Who is sure among some takes is sure, and at the same place, among more of them.
func TestMoreTakesMakeNobodyUnsure(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 31))
	asked, held := 0, 0
	for k := range 2 {
		e := simulate.New(uint64(4300+k), simulate.Options{Level: simulate.Hard, Players: 7, Seconds: 24, Rate: 16000})
		recs := measured(t, e)
		full := byName(Place(e.Map, recs, nil))
		for range 6 {
			some := slices.DeleteFunc(slices.Clone(recs), func(Recording) bool { return r.IntN(2) == 0 })
			for _, p := range Place(e.Map, some, nil) {
				if !p.Sure {
					asked++
					continue
				}
				held++
				if q := full[p.Name]; !q.Sure || q.Offset != p.Offset || q.DriftPPM != p.DriftPPM {
					t.Errorf("%s of ensemble %d: sure at %.6f among %d takes, and with all: %+v", p.Name, k, p.Offset, len(some), q)
				}
			}
		}
	}
	if asked == 0 || held < 20 {
		t.Errorf("among some takes %d were sure and %d unsure: hardly anything was tested", held, asked)
	}
}

// byName returns placements by the names of their recordings.
func byName(all []Placement) map[string]Placement {
	out := map[string]Placement{}
	for _, p := range all {
		out[p.Name] = p
	}
	return out
}

// A part without attacks that was played to another tempo, among others that were not,
// is told by its harmony: its beats say nothing.
func TestHarmonyTellsAnotherTempo(t *testing.T) {
	t.Parallel()
	e := simulate.New(4400, simulate.Options{Level: simulate.Easy, Players: 6, Seconds: 40, Rate: 16000})
	recs := measured(t, e)
	for i, right := range Place(e.Map, recs, nil) {
		if !right.Sure {
			t.Errorf("%s is not sure at its own tempo: %s", recs[i].Name, right.Reason)
		}
		slow := 40000.0 // parts per million
		wrong := slices.Clone(recs)
		wrong[i].DriftPPM = &slow
		if p := Place(e.Map, wrong, nil)[i]; p.Sure {
			t.Errorf("%s is sure at a tempo 4 %% off: %+v", recs[i].Name, p)
		}
	}
}

// Who fits another tempo far better is nobody by whose harmony another's tempo is told, nor their own,
// however well they lie on the guide's beats.
func TestWhoFitsAnotherTempoIsNoWitness(t *testing.T) {
	plain := &pace{fits: paceClear, tempi: []float64{0.8}, v: []float64{paceClear}}
	odd := &pace{fits: 0.8, held: 0.8, tempi: []float64{0.8}, v: []float64{2 * paceBetter * 0.8}}
	if got := fitting([]*pace{plain, odd}, 4); got != 3 {
		t.Errorf("of four voices %d clearly fit the guide, want 3", got)
	}
}

// A part that lies where its end is the guide's, and has no clear clap, shows its tempo from there.
func TestHarmonyFromTheEnd(t *testing.T) {
	t.Parallel()
	e := simulate.New(4402, simulate.Options{Level: simulate.Easy, Players: 5, Seconds: 40, Rate: 16000})
	recs := measured(t, e)
	g, placed := newGrid(e.Map), Place(e.Map, recs, nil)
	const who, slow = 3, 1.08
	c := newChoir(g)
	for i, p := range placed {
		if i != who {
			c.add(g, newTake(&recs[i]), p.Offset, nil, 1)
		}
	}
	k := newTake(&recs[who])
	k.ppm = (slow - 1) * 1e6
	o := g.end - (g.end-placed[who].Offset)*slow // the end stays where it is
	k.hyps = []hyp{{cue: -1, o: o, p: 1}}
	p := &pace{files: []int{0}}
	tempo, gain := p.byHarmony(g, []*take{k}, []Placement{{Offset: o}}, c)
	if math.Abs(tempo*slow-1) > 2*paceSame || gain < 2*paceGain {
		t.Errorf("its tempo is told as %.3f with a gain of %.3f, want %.3f", tempo, gain, 1/slow)
	}
}

// What two devices of a player show together counts; one that hears too few notes to tell leaves it
// to the other, whose own agreement with the guide it is held against.
func TestPaceOfTwoDevices(t *testing.T) {
	tempi := []float64{0.9, 1.1}
	odd := &pace{fits: 0.3, tempi: tempi, v: []float64{0.2, 0.9}, best: 1}
	plain := &pace{fits: 0.5, tempi: tempi, v: []float64{0.3, 0.1}}
	if f := odd.other(); f != 1.1 {
		t.Errorf("one device alone shows %v, want 1.1", f)
	}
	both := *odd
	both.v = slices.Clone(odd.v)
	both.join(plain)
	if f := both.other(); f != 0 || math.Abs(both.fits-0.4) > 1e-9 {
		t.Errorf("both show %v with fits %v", f, both.fits)
	}
	odd.held = odd.fits
	for _, fits := range []float64{0.3, 0.1} {
		for _, first := range []bool{true, false} {
			a, b := *odd, pace{fits: 0.2}
			if a.held = fits; !first {
				a, b = b, a
			}
			if a.join(&b); a.other() != 1.1 {
				t.Errorf("beside a device that tells no tempo one shows %v, want 1.1 (fits %.1f, first %v)", a.other(), fits, first)
			}
		}
	}
	close := *odd
	close.held = 0.7 // it fits the guide nearly as well
	close.join(&pace{fits: 0.2})
	if f := close.other(); f != 0 {
		t.Errorf("who fits the guide nearly as well shows %v", f)
	}
}

// Where nobody tells the tempo by harmony, playing that hardly lies on the guide's beats is not sure,
// and nothing is said of another tempo.
func TestPlayingBesideTheBeats(t *testing.T) {
	placed := []Placement{{Sure: true, Confidence: 1}, {Sure: true, Confidence: 1}, {}}
	(&pace{files: []int{0, 2}}).doubtBeats(placed)
	if p := placed[0]; p.Sure || p.Confidence >= sureBar || p.OtherTempo != 0 || p.Reason == "" {
		t.Errorf("its own recording: %+v", p)
	}
	if !placed[1].Sure || placed[2].Reason != "" {
		t.Errorf("somebody else's, and one that was not sure: %+v", placed[1:])
	}
}

// A note is heard to begin where its whole sound passes 10 dB below its peak, however
// its bands rise, and as vaguely as it takes from 15 to 6 dB below.
func TestHeardOfASwell(t *testing.T) {
	const rate, rise = 16000, 0.2
	x := make([]float64, 4*rate)
	for k := range 3 {
		from := 0.5 + float64(k)
		for i := range x {
			if s := float64(i)/rate - from; s > 0 && s < 0.6 {
				x[i] += 0.3 * math.Min(1, s/rise) * math.Sin(2*math.Pi*440*s)
			}
		}
	}
	f := analyse(t, rate, x)
	for k := range 3 {
		from := 0.5 + float64(k)
		i := slices.IndexFunc(f.Events, func(e Event) bool { return math.Abs(e.Heard-from-0.316*rise) < 0.02 })
		if i < 0 {
			t.Fatalf("no event is heard near %.3f s: %+v", from+0.316*rise, f.Events)
		}
		// From 10^(−15/20) to 10^(−6/20) of a straight rise.
		if want := (0.501 - 0.178) * rise / 2; math.Abs(f.Events[i].Vague-want) > 0.012 {
			t.Errorf("vague by %.3f s, want %.3f", f.Events[i].Vague, want)
		}
	}
}
