// Package click makes the guide: what players hear in their headphones while
// they record. It turns a tempo map into a mono stream of clicks, a count-in,
// a cue that sounds unlike any click, and a drone to tune to.
//
// Every click begins at the sample nearest to its guide time; nothing else
// moves it, so an hour of clicks ends where the tempo map ends. The stream is
// a pure function of the sample number: it holds no more than one chunk and
// gives the same samples for every block size.
//
// # Levels
//
// All figures are for the mono file at 0 dB in [Options]; a player who hears
// it in both ears hears 3 LU more. Clicks are stated by the momentary loudness
// (400 ms, ITU-R BS.1770-4) that one of them alone reaches, drones by their
// loudness while they sound:
//
//	downbeat    −28 LUFS        first beat of a group  −30 LUFS
//	beat        −32 LUFS        subdivision            −40 LUFS
//	cue         −28 LUFS        count tone             −34 LUFS
//	drone       −36 LUFS        word                   −30 LUFS
//
// A whole guide at an ordinary tempo has an integrated loudness near −30 LUFS.
// The clicks peak at −8 dBTP, words at −12 dBTP at most, a drone between −36 dBTP (C7) and −23 dBTP (C1
// with its fifth), and nothing above −3 dBTP: louder wishes are refused, since a sudden peak in
// headphones harms. Clicks 4 dB louder than stated are always possible.
//
// # Not here
//
// Files and encoders. [Over] puts other parts under a guide; a guide for a
// re-take is that of an excerpt of the tempo map. A MIDI file of the same clicks is written by tempo/smf.
package click

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// Ceiling is the highest true peak of a guide, in dBTP.
const Ceiling audio.Decibels = -3

// Options is what a guide can be asked for. The zero value is a plain guide.
type Options struct {
	PitchHz          float64 // A4 in hertz, 380 to 480; 0: 440
	Drones           []Drone
	ClickDB, DroneDB audio.Decibels // added to the stated levels; −Inf leaves them out
	// Subdivisions is the clicks in a beat: 0 or 1 for beats only, 2 to 8
	// for equal parts, [Written] for what the meter writes.
	Subdivisions int
	// CountTones adds a tone to every count-in beat but the cue, as a voice
	// would count: up the major scale with the beats of each measure, and an
	// octave higher in the last measure.
	CountTones bool
	// Words are spoken on the beats of the count-in but the cue: the first on beat 1 of each
	// measure, and so on. They are as loud as ClickDB makes clicks.
	Words []Word
	Tail  float64 // seconds after the end of the last measure, 0 to 600
}

// Written is the value of Options.Subdivisions for three eighths in the beat
// of 6/8, the eighths of each group in 3+2/8 and two halves of a plain beat.
const Written = -1

// Guide returns the guide of m as a mono stream at [audio.Rate]. Options out
// of range, or levels that together would pass [Ceiling], are errors.
func Guide(m *tempo.Map, o Options) (audio.Source, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	g := &guide{
		m:      m,
		length: audio.FramesAt(m.End() + o.Tail),
		kit:    newKit(o.ClickDB.Gain()),
		parts:  max(o.Subdivisions, 1),
		chunk:  make([]float64, chunkFrames),
		at:     chunkFrames,
	}
	if o.Subdivisions == Written {
		g.parts = 0
	}
	if o.CountTones {
		g.kit.addTones(m.Spec().CountIn.Measures, o.pitch(), o.ClickDB.Gain())
	}
	for _, d := range o.Drones {
		// Within the guide, so that it is soft at the guide's ends too.
		d.From, d.To = max(d.From, 0), min(d.To, g.length.Seconds())
		if d.From < d.To {
			g.drones = append(g.drones, newDrone(d, o.pitch(), o.DroneDB.Gain()))
		}
	}
	g.words = speak(m, o.Words, o.ClickDB.Gain())
	clicks, drones := g.kit.peak+loudestWord(g.words), loudestSum(g.drones)
	if peak := audio.DecibelsOf(clicks + drones); peak > Ceiling {
		what := fmt.Sprintf("clicks %.1f, drone %.1f", audio.DecibelsOf(clicks), audio.DecibelsOf(drones))
		lower := "both"
		switch {
		case drones == 0:
			what, lower = "clicks alone", "them"
		case clicks == 0:
			what, lower = "the drone alone", "it"
		}
		return nil, fmt.Errorf("click: the guide would reach %.1f dBTP (%s), more than %.0f: lower %s by %.1f dB",
			peak, what, Ceiling, lower, math.Ceil(10*float64(peak-Ceiling))/10)
	}
	return g, nil
}

// pitch returns the reference in hertz.
func (o Options) pitch() float64 {
	if o.PitchHz == 0 {
		return 440 // ISO 16
	}
	return o.PitchHz
}

// check refuses options out of range.
func (o Options) check() error {
	if p := o.pitch(); !(p >= 380 && p <= 480) {
		return fmt.Errorf("click: reference pitch of %g Hz is not between 380 and 480", p)
	}
	if o.Subdivisions < Written || o.Subdivisions > 8 {
		return fmt.Errorf("click: %d subdivisions of a beat; 0 to 8 are possible", o.Subdivisions)
	}
	if !(o.Tail >= 0 && o.Tail <= 600) {
		return fmt.Errorf("click: a tail of %g seconds is not between 0 and 600", o.Tail)
	}
	for _, db := range []audio.Decibels{o.ClickDB, o.DroneDB} {
		if math.IsNaN(float64(db)) || db > 60 {
			return fmt.Errorf("click: a level of %g dB", float64(db))
		}
	}
	for _, d := range o.Drones {
		if !(d.From < d.To) || math.IsInf(d.From, 0) || math.IsInf(d.To, 0) {
			return fmt.Errorf("click: a drone from %g to %g seconds", d.From, d.To)
		}
		if d.MIDINote < 0 || d.MIDINote > 127 {
			return fmt.Errorf("click: a drone on note %d; 0 to 127 are possible", d.MIDINote)
		}
	}
	return nil
}

// ParseNote reads a note name with its octave, "D3", "F#2", "Bb3" or "E♭4", as a MIDI
// note number; C4 is 60 (General MIDI). The result is 0 to 127. Any other text fails,
// and so does a note that MIDI does not have.
func ParseNote(s string) (midi int, err error) {
	fail := func() (int, error) {
		return 0, fmt.Errorf("note %q is not like D3, F#2 or Bb3", s)
	}
	text := strings.TrimSpace(s)
	if text == "" {
		return fail()
	}
	step := strings.IndexByte("C-D-EF-G-A-B", text[0]&^0x20)
	if step < 0 || text[0] == '-' {
		return fail()
	}
	text = text[1:]
	for _, sign := range []struct {
		mark string
		by   int
	}{{"#", 1}, {"♯", 1}, {"b", -1}, {"♭", -1}} {
		if rest, ok := strings.CutPrefix(text, sign.mark); ok {
			step, text = step+sign.by, rest
			break
		}
	}
	octave, err := strconv.Atoi(text)
	if err != nil || strings.HasPrefix(text, "+") {
		return fail()
	}
	if octave < -1 || octave > 9 {
		return 0, fmt.Errorf("note %q is outside C-1 to G9", s)
	}
	midi = 12*(octave+1) + step
	if midi < 0 || midi > 127 {
		return 0, fmt.Errorf("note %q is outside C-1 to G9", s)
	}
	return midi, nil
}
