package align

import (
	"math"
	"os"
	"strconv"
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/robust"
)

// heardNotes gathers, by instrument, how much later than a simulated player's notes
// are heard to begin their events lie, in seconds: by [Event.Time] and by
// [Event.Heard]. Farther than 0.12 s from every note, an event is none.
func heardNotes(tk *simulate.Take, rec *Recording, time, heard map[string][]float64) {
	x := newTake(rec)
	x.ppm = tk.Truth.DriftPPM
	for i, e := range x.f.Events {
		if x.weight[i] < 0.5 {
			continue
		}
		off := math.Inf(1)
		for _, n := range tk.Notes() {
			if d := x.guide(tk.Truth.Offset, i) - n.Played; math.Abs(d) < math.Abs(off) {
				off = d
			}
		}
		if math.Abs(off) < 0.12 {
			time[tk.Instrument()] = append(time[tk.Instrument()], off)
			heard[tk.Instrument()] = append(heard[tk.Instrument()], off+e.Heard-e.Time)
		}
	}
}

// TestHeardWhereTheEnvelopeSays holds the moment at which a note is taken to begin
// against where its simulated envelope passes 10 dB below its peak (Vos and Rasch,
// 1981, second hand: 6 to 15). Bowed and sung notes start up to 0.05 s before that.
//
//	RIPIENO_SYNC_LATENESS=6 go test -run TestHeard -v ./mix/align
//
// The number is how many ensembles of six players each level gets.
func TestHeardWhereTheEnvelopeSays(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_LATENESS"))
	if err != nil {
		n = 1
	}
	time, heard := map[string][]float64{}, map[string][]float64{}
	for k := range n {
		e := simulate.New(uint64(60+k), simulate.Options{Level: simulate.Easy, Players: 8, Seconds: 24, Rate: 16000})
		for i, r := range measured(t, e) {
			heardNotes(e.Takes[i], &r, time, heard)
		}
	}
	for name, off := range heard {
		by, was := 1000*robust.Median(off), 1000*robust.Median(time[name])
		t.Logf("%-16s %5d notes, heard %+6.1f ms, start %+6.1f ms after 10 dB below the peak", name, len(off), by, was)
		if len(off) >= 20 && math.Abs(by) > 15 {
			t.Errorf("%s: taken to begin %.1f ms late", name, by)
		}
	}
}

// A note that speaks, wavers and swells is heard when it speaks: low notes beat at their own
// pitch, and bows and horns swell for half a second. Where the sound before it is as loud,
// nothing tells.
func TestHeardAtTheFirstCrossing(t *testing.T) {
	level := func(before float64) *profile {
		e := make([]float32, 600)
		for i := range e {
			v := before
			switch {
			case i >= 300 && i < 316:
				v = 0.2 // 7 dB below the peak to come
			case i >= 316 && i < 330:
				v = 0.06 // and 12 dB
			case i >= 330:
				v = math.Min(1, 0.06+float64(i-330)*0.01)
			}
			e[i] = float32(math.Max(v, before))
		}
		return newProfile([][]float32{e}, []*band{newBand(200, 900, 14000)})
	}
	at, vague, ok := level(1e-6).heard(300, 500)
	if !ok || math.Abs(at-300*hop) > 0.006 {
		t.Errorf("heard at %.3f s ± %.3f (%v), it speaks at %.3f", at, vague, ok, 300*hop)
	}
	if _, _, ok := level(0.3).heard(300, 500); ok {
		t.Error("a note that is no louder than what was before it is heard to begin")
	}
}

// Notes that were all found by a slow rise or a new pitch say less about a player's timing
// than those that set in.
func TestSoftNotesDoubtMore(t *testing.T) {
	m := piece(t, 8, 4, 100)
	g := newGrid(m)
	doubt := func(slow int) float64 {
		f := &Features{NoiseDB: -80, LoudDB: -20, Duration: m.End() + 2}
		for b := range m.Beats() {
			if !b.CountIn {
				f.Events = append(f.Events, Event{Time: b.Seconds, Heard: b.Seconds + 0.01, Vague: 0.01, Strength: 8,
					Level: -20, Before: -40, After: -30, Rise: 0.05, Slow: len(f.Events) < slow})
			}
		}
		return newTake(&Recording{Features: f}).refine(g, 0, clicks{}).doubt
	}
	all, half, none := doubt(32), doubt(16), doubt(0)
	if !(all > half && half > none) || math.Abs(none-vagueDoubt*0.01) > 1e-9 || all < softDoubt {
		t.Errorf("doubts of %.1f, %.1f and %.1f ms", 1e3*all, 1e3*half, 1e3*none)
	}
}

// Nobody can begin early by what each of their notes needs when each needs another time, so
// notes that are heard sooner and later after their start doubt more, as a whole, than notes
// that are heard equally late; and a vagueness that was only guessed counts up to a bound.
func TestUnevenNotesDoubtMore(t *testing.T) {
	m := piece(t, 8, 4, 100)
	g := newGrid(m)
	doubt := func(vague float64, after ...float64) float64 {
		f := &Features{NoiseDB: -80, LoudDB: -20, Duration: m.End() + 2}
		for b := range m.Beats() {
			if !b.CountIn {
				late := after[len(f.Events)%len(after)]
				f.Events = append(f.Events, Event{Time: b.Seconds - late, Heard: b.Seconds, Vague: vague, Strength: 8,
					Level: -20, Before: -40, After: -30, Rise: 0.05})
			}
		}
		return newTake(&Recording{Features: f}).refine(g, 0, clicks{}).doubt
	}
	even, uneven := doubt(0.01, 0.02), doubt(0.01, 0, 0.04)
	// All lie 20 ms from the middle: 1.4826 times that of a normal distribution.
	if want := math.Hypot(even, unevenDoubt*1.4826*0.02); math.Abs(uneven-want) > 1e-6 {
		t.Errorf("notes heard equally late doubt %.2f ms, others %.2f, want %.2f", 1e3*even, 1e3*uneven, 1e3*want)
	}
	// A third are ends of notes that were taken for soft ones.
	if ends := doubt(0.01, 0.02, 0.02, 0.12); math.Abs(ends-even) > 1e-6 {
		t.Errorf("with ends among them %.2f ms instead of %.2f", 1e3*ends, 1e3*even)
	}
	if a, b := doubt(mostVague, 0.02), doubt(2*mostVague, 0.02); a != b || a <= even {
		t.Errorf("vague by %.0f ms: doubt %.2f; twice that: %.2f", 1e3*mostVague, 1e3*a, 1e3*b)
	}
}

// A clap near by is exact enough, whatever the notes are. A note for a cue is not, nor is a clap farther away.
func TestANoteForACueIsNoExactCue(t *testing.T) {
	for _, c := range []struct {
		byNote bool
		beside float64
		known  bool
	}{{false, 0.02, true}, {true, 0.02, false}, {false, 0.07, false}} {
		p := Placement{Method: ByCuePlaying, Uncertainty: mostUnsure + 0.001, CueOffset: c.beside, byNote: c.byNote}
		if p.isKnown() != c.known {
			t.Errorf("%+v: known %v", c, !c.known)
		}
		if p.Uncertainty = mostUnsure; !p.isKnown() {
			t.Errorf("%+v: not known though its error is small", c)
		}
	}
}
