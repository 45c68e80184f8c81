package score

import (
	"strings"

	"ripieno/mix/tempo"
)

// The ground is four measures of falling fifths, two chords a measure:
//
//	Dm Gm | C F | Bb Em7b5 | A A
//
// Four tunes are written over it so that each pair of them makes good
// counterpoint: A leans on the second half of the measure, B moves in the
// first half and holds in the second, C tolls below, D floats above. A voice
// that enters plays A, then B, then C, while the next one begins with A: a
// round. The last eight measures turn to D major in six eight, and all play.
const (
	tuneA = "D5:q F5:q G5:q. A5:e | G5:q E5:q F5:q. G5:e | F5:q D5:q E5:q. F5:e | E5:h C#5:h | "
	tuneB = "A5:e G5:e A5:e F5:e Bb5:h | Bb5:e A5:e Bb5:e G5:e A5:h | A5:e G5:e A5:e F5:e G5:h | G5:e F5:e G5:e E5:e " +
		"E5:q A5:q | "
	tuneC = "D5:q A4:q D5:h | C5:q G4:q C5:h | Bb4:q F4:q Bb4:h | A4:h r:q A4:q | "
	tuneD = "F6:q E6:q D6:h | E6:q D6:q C6:h | D6:q C6:q Bb5:h | C#6:q D6:q E6:h | "

	// The same tune A where the flute and the clarinet play it.
	tuneAHigh = "D6:q F6:q G6:q. A6:e | G6:q E6:q F6:q. G6:e | F6:q D6:q E6:q. F6:e | E6:h C#6:h | "
	tuneALow  = "D4:q F4:q G4:q. A4:e | G4:q E4:q F4:q. G4:e | F4:q D4:q E4:q. F4:e | E4:h C#4:h | "

	broken = `D3:e A3:e F4:e A3:e G2:e D3:e Bb3:e D3:e | C3:e G3:e E4:e G3:e F2:e C3:e A3:e C3:e |
		Bb2:e F3:e D4:e F3:e E2:e Bb2:e G3:e D4:e | A2:e E3:e C#4:e E3:e A2:e E3:e G3:e C#4:e | `
)

// written are the parts, in the order of the seats.
var written = []struct{ name, music string }{
	{"Flute", "R*8 mf " + tuneAHigh + "mf " + tuneB + `
		mf r:q. D6:e E6:e D6:e | C#6:q. A5:q. | D6:q. B5:e C#6:e D6:e | C#6:q. r:q. |
		f D6:q F#6:e G6:q. | E6:q C#6:e D6:q. | B5:q D6:e C#6:q E6:e | D6:h. |`},
	{"Oboe", "R*4 mf " + tuneA + "mp " + tuneB + "mf " + tuneC + `
		mf D5:q F#5:e G5:q. | E5:q C#5:e D5:q. | B4:q D5:e B4:q. | C#5:q D5:e E5:e D5:e C#5:e |
		F#5:q D5:e D5:q. | A5:q E5:e F#5:q. | G5:q. E5:q. | A5:h. |`},
	{"Clarinet", "R*12 mf " + tuneALow + `
		mp D4:e F#4:e A4:e G4:e D4:e B3:e | C#4:e E4:e A4:e F#4:e D4:e A3:e |
		B3:e D4:e F#4:e E4:e G4:e B4:e | A4:e G4:e E4:e C#4:e E4:e G4:e |
		F#4:e A4:e D5:e B4:e G4:e D4:e | E4:e A4:e C#5:e D5:e B4:e F#4:e |
		G4:e B4:e E4:e E4:e G4:e C#4:e | D4:h. |`},
	{"Horn", `R*4 p F4:w | E4:w | D4:w | C#4:w |
		mp r:q F4:q F4:h | r:q E4:q E4:h | r:q D4:q D4:h | C#4:h E4:h |
		mf F4:q. F4:e F4:h | E4:q. E4:e E4:h | D4:q. D4:e D4:h | C#4:q E4:q A4:h |
		A3:q. B3:q. | C#4:q. D4:q. | D4:q. E4:q. | E4:q. C#4:q. |
		A4:q. G4:q. | E4:q. F#4:q. | G4:q. E4:q. | F#4:h. |`},
	{"Glockenspiel", `pp A6:w | R*7 p r:h D7:h | r:h C7:h | r:h Bb6:h | A6:w |
		mp D7:q A6:q Bb6:h | C7:q G6:q A6:h | Bb6:q F6:q G6:h | E6:q G6:q A6:q C#7:q |
		D7:q. B6:q. | R*1 | F#6:q. G6:q. | R*1 |
		A6:e r:e F#6:e G6:e r:e B6:e | C#7:q. D7:q. | r:q. E6:e A6:e C#7:e | D7:h. |`},
	{"Violin", "mf " + tuneA + "mp " + tuneB + "mp " + tuneC + "mf " + tuneD + `
		f F#5:q A5:e B5:q. | A5:q G5:e F#5:q. | D5:q F#5:e G5:q. | E5:q F#5:e G5:e F#5:e E5:e |
		mf D5:e F#5:e A5:e D5:e G5:e B5:e | C#5:e E5:e A5:e B4:e D5:e F#5:e |
		B4:e E5:e G5:e A4:e C#5:e G5:e | F#5:h. |`},
	{"Viola", `R*4
		mp r:q A3:q' r:q Bb3:q' | r:q Bb3:q' r:q A3:q' | r:q A3:q' r:q G3:q' | r:q G3:q' G3:q' E3:q' |
		A3:h Bb3:h | Bb3:h A3:h | A3:h G3:h | G3:h A3:q G3:q |
		mf A3:e D4:e A3:e D4:e Bb3:e D4:e Bb3:e D4:e | Bb3:e E4:e Bb3:e E4:e A3:e C4:e A3:e C4:e |
		A3:e D4:e A3:e D4:e G3:e Bb3:e G3:e Bb3:e | G3:e C#4:e G3:e C#4:e A3:e E4:e A3:e C#4:e |
		F#4:q F#4:e D4:q D4:e | E4:q E4:e D4:q D4:e | F#4:q D4:e B3:q B3:e | C#4:q C#4:e E4:q E4:e |
		A3:q D4:e D4:q B3:e | C#4:q A3:e B3:q D4:e | B3:q D4:e G3:q A3:e | A3:h. |`},
	{"Cello", `mp D3:h G2:h | C3:h F2:h | Bb2:h E2:h | A2:h A2:h |
		mf D3:q A2:q G2:h | C3:q G2:q F2:h | Bb2:q F2:q E2:h | A2:q E2:q A2:h |
		D3:q F3:q G3:q F3:q | E3:q C3:q F3:q E3:q | D3:q Bb2:q E3:q D3:q | C#3:q B2:q A2:q C#3:q |
		f D3:e D3:e F3:q G3:e G3:e Bb3:q | C3:e C3:e E3:q F3:e F3:e A3:q |
		Bb2:e Bb2:e D3:q E3:e E3:e G3:q | A2:q C#3:q E3:q A2:q |
		D3:q A2:e G2:q D3:e | A2:q E3:e D3:q A2:e | B2:q F#3:e E3:q B2:e | A2:q E3:e A2:q C#3:e |
		D3:q F#3:e G3:q D3:e | C#3:q A2:e B2:q D3:e | E3:q G2:e A2:q A2:e | D2:h. |`},
	{"Guitar", "mp " + broken + broken + `
		mp [D3 A3 D4 F4]:h [G2 D3 G3 Bb3]:h | [C3 G3 C4 E4]:h [F2 C3 F3 A3]:h |
		[Bb2 F3 Bb3 D4]:h [E2 Bb2 G3 D4]:h | [A2 E3 A3 C#4]:h r:h | mf ` + broken + `
		[D3 A3 D4 F#4]:q. [G2 D3 G3 B3]:q. | [A2 E3 A3 C#4]:q. [D3 A3 D4 F#4]:q. |
		[B2 F#3 B3 D4]:q. [E2 B2 E3 G3]:q. | [A2 E3 G3 C#4]:q. [A2 E3 G3 C#4]:q. |
		[D3 A3 D4 F#4]:q. [G2 D3 G3 B3]:q. | [A2 E3 A3 C#4]:q. [B2 F#3 B3 D4]:q. |
		[E2 B2 G3 D4]:q. [A2 E3 G3 C#4]:q. | [D2 A2 D3 F#3 A3 D4]:h. |`},
}

// TempoLines is the tempo of the piece as production.yaml writes it; it says
// the same as [Lamplighter]'s Tempo, and a test compares the two.
const TempoLines = `  count_in: {measures: 8, cue: {measure: 5, beat: 1}}  # all clap on the first beat of measure 5
  changes:
    - {measure: 1, meter: 2/2, bpm: 88}                       # bpm counts the beats of the meter: half notes
    - {measure: 17, meter: 6/8, beat: dotted-quarter, bpm: 76}
    - {measure: 22, bpm: 76, ramp_to: 56, until: 24}          # slower and slower, and the last chord at 56
  measures: 24
`

// lamplighterTempo returns [TempoLines] as a value.
func lamplighterTempo() tempo.Spec {
	cut, _ := tempo.ParseMeter("2/2") // the literals are right, and a test plays them
	jig, _ := tempo.ParseMeter("6/8")
	dotted, _ := tempo.ParseUnit("dotted-quarter")
	return tempo.Spec{
		CountIn: tempo.CountIn{Measures: 8, CueMeasure: 5, CueBeat: 1},
		Changes: []tempo.Change{
			{Measure: 1, Meter: cut, BPM: 88},
			{Measure: 17, Meter: jig, Beat: dotted, BPM: 76},
			{Measure: 22, BPM: 76, RampTo: 56, Until: 24},
		},
		Measures: 24,
	}
}

// Lamplighter returns "The Lamplighter's Round" for nine players, 24 measures.
// Every call gives a fresh copy. It panics when the notes in this file do not
// fit their measures, which a test rules out.
func Lamplighter() Piece {
	p := Piece{
		Title:      "The Lamplighter's Round",
		Composer:   "Tam Wexley",
		Dedication: "For those who light the lamps before we come home",
		Tempo:      lamplighterTempo(),
	}
	for _, w := range written {
		part, err := Parse(w.name, strings.TrimSpace(w.music), p.Tempo)
		if err != nil {
			panic(err)
		}
		p.Parts = append(p.Parts, part)
	}
	return p
}
