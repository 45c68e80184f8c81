// Package score is the written music of the demo: a compact notation for one
// part, and the piece itself, which is our own.
//
// It knows measures, beats and pitches, and nothing of seconds but what a
// tempo map tells it. Times inside a measure are ticks, [Quarter] to a quarter
// note; pitches are MIDI note numbers with 60 = C4.
package score

import (
	"fmt"
	"strings"

	"ripieno/mix/tempo"
)

// Quarter is the number of ticks in a quarter note: enough for dotted
// sixteenths without a fraction.
const Quarter = 48

// Place is a position in the piece: a measure from 1 and ticks from its start.
type Place struct{ Measure, Tick int }

// Note is one attack: a note, or a chord of notes struck together.
type Note struct {
	From, To Place   // To is where the written value ends; ties are already joined
	Pitches  []int   // MIDI note numbers, low to high as written
	Level    float64 // loudness asked for by the dynamics, 0 to 1
	Short    bool    // staccato: half the written value is played
}

// Part is what one player plays.
type Part struct {
	Name  string
	Notes []Note // in order of time, not overlapping
}

// Piece is the whole music.
type Piece struct {
	Title      string
	Composer   string
	Dedication string
	Tempo      tempo.Spec
	Parts      []Part
}

// Part returns the part with that name; it panics when there is none, because
// parts are asked for by the code that wrote them.
func (p Piece) Part(name string) Part {
	for _, part := range p.Parts {
		if part.Name == name {
			return part
		}
	}
	panic(fmt.Sprintf("score: no part %q", name))
}

// meterTicks returns the length of every measure of spec, index 0 = measure 1.
func meterTicks(spec tempo.Spec) []int {
	lengths := make([]int, spec.Measures)
	ticks := 4 * Quarter
	next := 0
	for i := range lengths {
		for next < len(spec.Changes) && spec.Changes[next].Measure <= i+1 {
			if m := spec.Changes[next].Meter; !m.IsZero() {
				ticks = int(m.Quarters() * Quarter)
			}
			next++
		}
		lengths[i] = ticks
	}
	return lengths
}

// Seconds returns the guide time of a place, as a metronome would play it. A place
// at the end of a measure is the beginning of the next one, and the end of the
// last measure is the end of the piece.
func Seconds(m *tempo.Map, p Place) (float64, error) {
	if p.Measure == m.Measures()+1 && p.Tick == 0 {
		return m.End(), nil
	}
	start, err := m.Quarters(tempo.Position{Measure: p.Measure, Beat: 1})
	if err != nil {
		return 0, fmt.Errorf("score: measure %d: %w", p.Measure, err)
	}
	return m.SecondsAt(start + float64(p.Tick)/Quarter), nil
}

// values are the note values of the notation, in ticks.
var values = map[byte]int{'w': 4 * Quarter, 'h': 2 * Quarter, 'q': Quarter, 'e': Quarter / 2, 's': Quarter / 4}

// dynamics are the words that set the level of what follows. The steps are
// about 4 dB, less than on a stage: a recording has less room.
var dynamics = map[string]float64{"pp": 0.25, "p": 0.38, "mp": 0.5, "mf": 0.65, "f": 0.82, "ff": 1}

// Parse reads one part written for the measures of spec, from measure 1.
//
//	mp D5:q F5:q G5:q. A5:e | [D3 A3 F#4]:h r:h | R*4 | E5:h~ E5:q C5:q'
//
// A note is pitch:value with dots; [..] is a chord; r is a rest; R*4 stands
// for four measures of rest; ~ ties to the next note; ' is staccato; pp to ff
// set the level. The bar lines | are checked: a measure that does not add up
// is an error that names it. The last measures may be left out.
func Parse(name, text string, spec tempo.Spec) (Part, error) {
	r := reader{part: Part{Name: name}, lengths: meterTicks(spec), level: dynamics["mf"], at: Place{1, 0}}
	for _, token := range tokens(text) {
		if err := r.token(token); err != nil {
			return Part{}, fmt.Errorf("score: %s, measure %d: %q: %w", name, r.at.Measure, token, err)
		}
	}
	if err := r.bar(); err != nil {
		return Part{}, fmt.Errorf("score: %s: %w", name, err)
	}
	return r.part, nil
}

// tokens splits at blanks, but not inside a chord.
func tokens(text string) []string {
	chord := false
	return strings.FieldsFunc(text, func(c rune) bool {
		switch c {
		case '[':
			chord = true
		case ']':
			chord = false
		}
		return !chord && strings.ContainsRune(" \t\n", c)
	})
}

// reader is the state of Parse between tokens.
type reader struct {
	part    Part
	lengths []int
	level   float64
	at      Place
	tied    bool // the last note goes on in the next
}

// token takes one word of the notation.
func (r *reader) token(token string) error {
	if token == "|" {
		return r.bar()
	}
	if level, ok := dynamics[token]; ok {
		r.level = level
		return nil
	}
	if count, ok := strings.CutPrefix(token, "R*"); ok {
		return r.rest(count)
	}
	body, value, ok := strings.Cut(token, ":")
	if !ok {
		return fmt.Errorf("no value")
	}
	return r.note(body, value)
}

// bar checks that the measure before a bar line is full. A bar line at the
// beginning of a measure says nothing and is allowed, so that lines of music
// can be put together freely.
func (r *reader) bar() error {
	if r.at.Tick != 0 {
		return fmt.Errorf("measure %d is %d ticks long, not %d", r.at.Measure, r.at.Tick, r.lengths[r.at.Measure-1])
	}
	return nil
}

// rest skips whole measures, count of them in digits. It fails for anything else, inside a
// measure, after a tie and where it would leave the piece.
func (r *reader) rest(count string) error {
	var n int
	if _, err := fmt.Sscanf(count, "%d", &n); err != nil || n < 1 {
		return fmt.Errorf("not a number of measures")
	}
	if r.at.Tick != 0 || r.tied {
		return fmt.Errorf("measures of rest begin at a bar line")
	}
	if r.at.Measure+n > len(r.lengths)+1 {
		return fmt.Errorf("goes on after the last measure")
	}
	r.at.Measure += n
	return nil
}

// note adds a note, chord or rest, or lengthens the one it is tied to.
func (r *reader) note(body, value string) error {
	ticks, tie, short, err := parseValue(value)
	if err != nil {
		return err
	}
	from := r.at
	if from.Measure > len(r.lengths) {
		return fmt.Errorf("goes on after the last measure")
	}
	r.at.Tick += ticks
	switch length := r.lengths[r.at.Measure-1]; {
	case r.at.Tick > length:
		return fmt.Errorf("goes %d ticks over the bar line", r.at.Tick-length)
	case r.at.Tick == length:
		r.at = Place{r.at.Measure + 1, 0}
	}
	if body == "r" {
		if r.tied || tie {
			return fmt.Errorf("a rest cannot be tied")
		}
		return nil
	}
	pitches, err := parsePitches(body)
	if err != nil {
		return err
	}
	if r.tied {
		last := &r.part.Notes[len(r.part.Notes)-1]
		if fmt.Sprint(last.Pitches) != fmt.Sprint(pitches) {
			return fmt.Errorf("tied to another pitch")
		}
		last.To, last.Short = r.at, short
	} else {
		r.part.Notes = append(r.part.Notes, Note{From: from, To: r.at, Pitches: pitches, Level: r.level, Short: short})
	}
	r.tied = tie
	return nil
}

// parseValue reads what follows the colon: a letter, dots, a tie, staccato.
func parseValue(s string) (ticks int, tie, short bool, err error) {
	if s == "" || values[s[0]] == 0 {
		return 0, false, false, fmt.Errorf("a value is one of w h q e s")
	}
	ticks = values[s[0]]
	half := ticks / 2
	for _, c := range s[1:] {
		switch c {
		case '.':
			ticks += half
			half /= 2
		case '~':
			tie = true
		case '\'':
			short = true
		default:
			return 0, false, false, fmt.Errorf("unknown mark %q", c)
		}
	}
	return ticks, tie, short, nil
}

// parsePitches reads a pitch or a chord in brackets.
func parsePitches(s string) ([]int, error) {
	inner, chord := strings.CutPrefix(s, "[")
	if !chord {
		p, err := ParsePitch(s)
		return []int{p}, err
	}
	inner, closed := strings.CutSuffix(inner, "]")
	if !closed {
		return nil, fmt.Errorf("the chord is not closed")
	}
	var all []int
	for name := range strings.FieldsSeq(inner) {
		p, err := ParsePitch(name)
		if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("the chord is empty")
	}
	return all, nil
}

// ParsePitch returns the MIDI number of a name such as C4 (60), F#5 or Bb2.
func ParsePitch(s string) (int, error) {
	if len(s) < 2 || !strings.Contains("CDEFGAB", s[:1]) {
		return 0, fmt.Errorf("%q is not a pitch", s)
	}
	// Semitones above C of the letters A to G.
	n := [7]int{9, 11, 0, 2, 4, 5, 7}[s[0]-'A']
	rest := s[1:]
	switch rest[0] {
	case '#':
		n, rest = n+1, rest[1:]
	case 'b':
		n, rest = n-1, rest[1:]
	}
	if len(rest) != 1 || rest[0] < '0' || rest[0] > '9' {
		return 0, fmt.Errorf("%q is not a pitch", s)
	}
	return n + 12*(int(rest[0]-'0')+1), nil
}
