// Package simulate invents ensembles and records them, so that placing takes
// can be measured against a known truth. It is made for tests and
// benchmarks: everything is a function of one number, and nothing in it
// resembles a real recording of a real person.
//
// An [Ensemble] has a tempo map and players. Each player has an instrument
// whose registers and notes speak each in its own time, a part, human timing (a steady
// lateness, slow wander, jitter; people begin as early as their instrument speaks slowly, so that
// what is heard falls on the beat, mostly), a room, a microphone with a clock of its
// own, and whatever happened in front of it: warming up, talking, steps, doors,
// a clap too many, the guide leaking from headphones. Times are guide seconds
// unless a name says file. [Take.Source] renders all of it; [Take.Record] puts
// notes that another synthesiser played into the same room.
package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ripieno/mix/tempo"
)

// Level says how much stands in the way of the measurement.
type Level int

// Easy is a quiet room and a clear clap; Typical is what players send: noise,
// talk and steps before the guide, snaps or notes for claps, level control;
// Hard has more noise and room, soft cues, claps too many, counting aloud, false
// starts, loud clicks, steady pulses, late starts and strange clocks.
const (
	Easy Level = iota
	Typical
	Hard
)

// String returns the level's name in lower case.
func (l Level) String() string { return [...]string{"easy", "typical", "hard"}[l] }

// Options choose what New invents.
type Options struct {
	Level   Level
	Players int     // at least 1
	Seconds float64 // of music, about
	Rate    int     // hertz of every file; 0: 44100 or 48000 by chance
	Devices int     // files of every player, 1 (default) or 2

	Bows float64  // share of the players who bow, of those who would play something else; 0: as drawn
	RT60 float64  // seconds of every room's tail; 0: as the level has it
	Leak *float64 // dB of the guide's clicks over every music's peak, NaN: none; nil: as the level has it
}

// Ensemble is one invented production.
type Ensemble struct {
	Map   *tempo.Map
	Takes []*Take
	Title string // what kind of piece it became
}

// Truth is what a take's file really is.
type Truth struct {
	Offset   float64 // guide time at the file's time zero
	DriftPPM float64 // guide = Offset + t·(1 + DriftPPM·1e-6)
	Cue      float64 // file time at which the cue sounds (a note: is heard); NaN when there is none
	Lateness float64 // of the playing, as the player means it to be heard, against the notation, seconds
	Attack   float64 // seconds the instrument needs to sound fully
	Notes    int     // played within the file
	Cued     string  // clap, snap, note, false, none
	slow     bool
}

// Slow reports whether the notes pull naive onset timing off: those of bows,
// horns and voices.
func (t Truth) Slow() bool { return t.slow }

// MeanOffset returns the offset at which the notes lie on the beats: the mean of what the
// player meant. By what the registers of a part need more or less than the instrument does
// mostly they are heard a little off that, and nobody who measures can tell the two apart.
func (t Truth) MeanOffset() float64 { return t.Offset - t.Lateness }

// rng returns the generator for one purpose, so that changing one part of the
// simulation leaves the random numbers of the others alone.
func rng(number uint64, purpose string, i int) *rand.Rand {
	h := number*0x9e3779b97f4a7c15 + uint64(i)*0xbf58476d1ce4e5b9
	for _, c := range purpose {
		h = (h ^ uint64(c)) * 0x100000001b3
	}
	return rand.New(rand.NewPCG(h, number))
}

// New invents the ensemble of the given number.
func New(number uint64, o Options) *Ensemble {
	r := rng(number, "piece", 0)
	m, title := newMap(r, o)
	s := newScore(r, m, o)
	e := &Ensemble{Map: m, Title: title + " " + s.style}
	for i := range o.Players {
		p := newPlayer(rng(number, "player", i), number, i, m, s, o)
		for d := range max(1, o.Devices) {
			t := newTake(rng(number, fmt.Sprint("take", d), i), p, d, o)
			if d == 0 {
				t.codec = newCodec(rng(number, "codec", i), o.Level)
			}
			e.Takes = append(e.Takes, t)
		}
	}
	return e
}

// newMap draws a tempo map of about o.Seconds of music.
func newMap(r *rand.Rand, o Options) (*tempo.Map, string) {
	meters := []string{"4/4", "4/4", "3/4", "2/2", "6/8", "2/4"}
	name := meters[r.IntN(len(meters))]
	meter, err := tempo.ParseMeter(name)
	if err != nil {
		panic(err) // the table above is wrong
	}
	bpm := math.Round(60 + 80*r.Float64())
	if name == "6/8" {
		bpm = math.Round(50 + 45*r.Float64())
	}
	count := 4
	if r.IntN(2) == 0 && bpm*float64(4)/float64(meter.Beats()) > 70 {
		count = 8
	}
	measures := max(8, int(o.Seconds*bpm/60/float64(meter.Beats())))
	cue, beat := tempo.DefaultCue(count)
	spec := tempo.Spec{
		Measures: measures,
		CountIn:  tempo.CountIn{Measures: count, CueMeasure: cue, CueBeat: beat},
		Changes:  []tempo.Change{{Measure: 1, Meter: meter, BPM: bpm}},
	}
	title := fmt.Sprintf("%s at %g", name, bpm)
	if r.Float64() < 0.35 && measures > 12 {
		at := measures/2 + r.IntN(measures/4)
		spec.Changes = append(spec.Changes, tempo.Change{Measure: at, BPM: math.Round(bpm * (0.8 + 0.4*r.Float64()))})
		title += " changing"
	}
	if r.Float64() < 0.3 {
		last := spec.Changes[len(spec.Changes)-1].BPM
		spec.Changes = append(spec.Changes, tempo.Change{
			Measure: measures - 2, BPM: last, RampTo: math.Round(last * 0.75), Until: measures + 1,
		})
		title += " slowing"
	}
	if r.Float64() < 0.15 && bpm > 80 && name == "4/4" {
		spec.PickUp = 1
	}
	m, err := tempo.New(spec)
	if err != nil {
		panic(fmt.Sprintf("simulate: %+v: %v", spec, err)) // a mistake in this function
	}
	return m, title
}
