package align

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// leakRate is the rate of the sounds of these tests, in hertz.
const leakRate = 16000

// leaked is a file that begins at a guide time, with a clap, notes on some beats that come
// late, and clicks of the guide as loud as clicks says, through a little room, by a clock
// that runs so much faster. Each note is at a place of its own beside the beat.
func leaked(t *testing.T, m *tempo.Map, offset, late, loud, ppm float64) []float64 {
	t.Helper()
	r := rand.New(rand.NewPCG(3, 8))
	at := func(guide float64) int { return int((guide - offset) / audio.PPM(ppm).Ratio() * leakRate) }
	x := sketch(leakRate, m.End()+1-offset, 31, (m.Cue()-offset)/audio.PPM(ppm).Ratio())
	for b := range m.Beats() {
		if !b.CountIn && b.Number != 2 {
			beside := late + 0.008*r.NormFloat64()
			for i := range leakRate * 2 / 5 {
				age := float64(i) / leakRate
				x[at(b.Seconds+beside)+i] += 0.2 * math.Sin(2*math.Pi*300*age) * math.Exp(-age/0.1)
			}
		}
		if b.Cue {
			continue
		}
		pitch, gain := 1175.0, 0.7*loud
		if b.Downbeat {
			pitch, gain = 1760, loud
		}
		exact := (b.Seconds - offset) / audio.PPM(ppm).Ratio() * leakRate
		for i := range leakRate / 5 {
			for _, echo := range [...][2]float64{{0, 1}, {0.011, 0.4}, {0.037, 0.2}} {
				if age := (math.Ceil(exact)+float64(i)-exact)/leakRate - echo[0]; age >= 0 {
					x[int(math.Ceil(exact))+i] += gain * echo[1] * math.Sin(2*math.Pi*pitch*age) * math.Exp(-age/0.006)
				}
			}
		}
	}
	return x
}

// sounding opens x as often as one wants.
func sounding(x ...[]float64) func() (audio.Source, error) {
	return func() (audio.Source, error) { return audio.NewMemory(audio.Block(x), leakRate), nil }
}

// A take into which the guide leaked louder than its notes is placed as well without the
// clicks as if there had been none, whatever its clock does.
func TestUnclickedTakesArePlacedAsWithoutClicks(t *testing.T) {
	m := piece(t, 10, 4, 84)
	const offset, late = -5.3, 0.024
	for _, ppm := range []float64{85} {
		place := func(f *Features) Placement { return Place(m, []Recording{{Name: "x", Features: f}}, nil)[0] }
		plain := place(analyse(t, leakRate, leaked(t, m, offset, late, 0, ppm)))
		x := leaked(t, m, offset, late, 0.12, ppm)
		loud := analyse(t, leakRate, x)
		p := place(loud)
		if !p.LoudLeak(loud) || math.Abs(p.ClickOffset-offset) > 0.003 {
			t.Fatalf("at %g ppm the leak was not noticed: %+v", ppm, p)
		}
		f, err := AnalyseWithoutClicks(sounding(x), m, p.ClickOffset, p.DriftPPM, loud)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.ClickPPM-ppm) > 4 {
			t.Errorf("its clock is %.1f ppm off, by its clicks %.1f", ppm, f.ClickPPM)
		}
		if len(f.Leaked) < 10 {
			t.Errorf("%d clicks are kept as evidence", len(f.Leaked))
		}
		q := place(f)
		middle := func(p Placement) float64 { return p.Offset + 20*p.DriftPPM*1e-6 }
		if d := 1e3 * (middle(q) - middle(plain)); !q.Sure || math.Abs(d) > 2.5 {
			t.Errorf("at %g ppm it lies %.1f ms from where it lies without clicks:\n%v\n%v", ppm, d, q.Evidence,
				plain.Evidence)
		}
		if math.IsNaN(q.ClickDB) || q.LoudLeak(f) && len(f.Leaked) == 0 {
			t.Errorf("what leaked is forgotten: %+v", q)
		}
	}
}

// What is taken out is the click and nothing else: the sound is as it was between clicks, and
// under them to a tenth of what they were.
func TestUnclickedLeavesTheRest(t *testing.T) {
	m := piece(t, 6, 4, 96)
	const offset = -3.0
	plain, loud := leaked(t, m, offset, 0.1, 0, 0), leaked(t, m, offset, 0.1, 0.25, 0)
	src, _ := sounding(loud)()
	c, err := learnClicks(src, m, offset, 0)
	if err != nil || c == nil {
		t.Fatal(c, err)
	}
	src, _ = sounding(loud)()
	b, err := audio.ReadAll(newUnclicked(src, c))
	if err != nil || b.Frames() != len(plain) || len(b) != 1 {
		t.Fatalf("%d frames of %d, %v", b.Frames(), len(plain), err)
	}
	energy := func(x, y []float64) (sum float64) {
		for i := range x {
			sum += (x[i] - y[i]) * (x[i] - y[i])
		}
		return sum
	}
	if left := energy(b[0], plain) / energy(loud, plain); left > 0.01 {
		t.Errorf("%.1f %% of the clicks' energy is left", 100*left)
	}
	quiet := int((m.Start() + 0.55*60/96.0 - offset) * leakRate) // before the next beat
	if e := energy(b[0][quiet:quiet+1000], loud[quiet:quiet+1000]); e > 1e-9 {
		t.Errorf("the sound between clicks was changed by %g", e)
	}
	// However it is read, the same comes out.
	src, _ = sounding(loud)()
	u := newUnclicked(src, c.again(t, m, loud))
	piece, at := audio.NewBlock(1, 777), 0
	for {
		n, err := u.Read(piece)
		for i := range n {
			if piece[0][i] != b[0][at+i] {
				t.Fatalf("sample %d is %g, in one piece %g", at+i, piece[0][i], b[0][at+i])
			}
		}
		at += n
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if at != len(loud) {
		t.Errorf("%d samples of %d", at, len(loud))
	}
}

// again learns the clicks of x anew: those of a file that was read know where it ended.
func (c *clickSound) again(t *testing.T, m *tempo.Map, x []float64) *clickSound {
	t.Helper()
	src, _ := sounding(x)()
	c, err := learnClicks(src, m, -3, 0)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Where nothing sounds alike on the beats of the count-in the file is left as it is, and so
// it is where the count-in is too short; a source that breaks says so.
func TestUnclickedNeedsClicks(t *testing.T) {
	m := piece(t, 6, 4, 96)
	x := leaked(t, m, -3, 0.1, 0, 0)
	before := analyse(t, leakRate, x)
	for name, guide := range map[string]*tempo.Map{"no clicks": m, "one measure": piece(t, 6, 1, 96)} {
		f, err := AnalyseWithoutClicks(sounding(x), guide, -3, 0, before)
		if err != nil || f != before {
			t.Errorf("%s: %v, other features %v", name, err, f != before)
		}
	}
	gone := errors.New("gone")
	none := func() (audio.Source, error) { return nil, gone }
	if _, err := AnalyseWithoutClicks(none, m, -3, 0, before); !errors.Is(err, gone) {
		t.Errorf("a sound that cannot be opened: %v", err)
	}
	opened := 0
	loud := leaked(t, m, -3, 0.1, 0.25, 0)
	_, err := AnalyseWithoutClicks(func() (audio.Source, error) {
		if opened++; opened > 1 {
			return nil, gone
		}
		return audio.NewMemory(audio.Block{loud}, leakRate), nil
	}, m, -3, 0, before)
	if !errors.Is(err, gone) {
		t.Errorf("a sound that cannot be opened twice: %v", err)
	}
}

// Only clicks that are loud beside the playing are worth a second listening.
func TestLoudLeak(t *testing.T) {
	f := &Features{LoudDB: -20}
	for _, c := range []struct {
		p    Placement
		loud bool
	}{
		{Placement{Method: ByCue, ClickDB: -30, ClickOffset: 1}, true},
		{Placement{Method: ByCue, ClickDB: -51, ClickOffset: 1}, false},
		{Placement{Method: ByCue, ClickDB: -30, ClickOffset: math.NaN()}, false},
		{Placement{Method: NoMethod, ClickDB: -30, ClickOffset: 1}, false},
		{Placement{Method: ByCue, ClickDB: math.NaN(), ClickOffset: math.NaN()}, false},
	} {
		if got := c.p.LoudLeak(f); got != c.loud {
			t.Errorf("%+v: %v", c.p, got)
		}
	}
	if (Placement{Method: ByCue, ClickDB: -30, ClickOffset: 1}).LoudLeak(nil) {
		t.Error("a file of which nothing is known has a leak")
	}
}

// The place of a sound between two samples comes out to a fiftieth of one.
func TestBestLag(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	x := make([]float64, 4000)
	for i := range x {
		x[i] = 1e-3 * r.NormFloat64()
	}
	wave := func(age float64) float64 {
		if age < 0 {
			return 0
		}
		return math.Sin(2*math.Pi*0.06*age) * math.Exp(-age/80) * math.Min(1, age/10)
	}
	ref := make([]float64, 400)
	for i := range ref {
		ref[i] = wave(float64(i) - 20)
	}
	for i := range x {
		x[i] += wave(float64(i) - 1020 - 7.3)
	}
	if lag, corr := bestLag(x, 1000, ref, 20); math.Abs(lag-7.3) > 0.05 || corr < 0.98 {
		t.Errorf("lag %.3f, correlation %.3f", lag, corr)
	}
	if _, corr := bestLag(x, 3000, ref, 20); corr > 0.4 {
		t.Errorf("noise is like the click by %.2f", corr)
	}
}
