package musicxml

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// WriteOptions are what a written stub says besides the tempo.
type WriteOptions struct {
	Title string
	Marks []score.Mark // rehearsal marks
}

// Write writes m as a MusicXML 4.0 score of one part with rests: measures as played,
// time signatures, tempos and rehearsal marks, to be filled with music elsewhere. The
// count-in is not in it. Measures are numbered as played; a text says where the page
// has another number. A ramp has a tempo for each beat, as long as the beat is; a
// hold is a fermata, which has no length there. Groups of an additive meter stay;
// what conductors show ("6/8 in 6") has no place in a time signature and is lost.
func Write(w io.Writer, m *tempo.Map, o WriteOptions) error {
	var b bytes.Buffer
	b.WriteString(xml.Header + `<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" ` +
		`"http://www.musicxml.org/dtds/partwise.dtd">` + "\n" + `<score-partwise version="4.0">` + "\n")
	fmt.Fprintf(&b, " <work><work-title>%s</work-title></work>\n", escapeXML(o.Title))
	b.WriteString(` <part-list><score-part id="P1"><part-name>Guide</part-name></score-part></part-list>` + "\n" +
		` <part id="P1">` + "\n")
	s := stub{Buffer: &b, m: m, marks: map[int][]string{}, holds: map[int]bool{}}
	for _, k := range o.Marks {
		s.marks[k.Measure] = append(s.marks[k.Measure], k.Text)
	}
	for _, h := range m.Spec().Holds {
		s.holds[h.At.Measure] = true
	}
	first := 1
	if m.Spec().PickUp > 0 {
		first = 0
	}
	for n := first; n <= m.Measures(); n++ {
		if err := s.measure(n, n == first); err != nil {
			return err
		}
	}
	b.WriteString(" </part>\n</score-partwise>\n")
	_, err := w.Write(b.Bytes())
	return err
}

// stubDivisions is how many parts a quarter note has in a stub: enough for a pick-up
// of a triplet and for a 64th.
const stubDivisions = 96

// stub writes measure after measure. meter and speed are what was written last, so
// that only changes are.
type stub struct {
	*bytes.Buffer
	m     *tempo.Map
	marks map[int][]string
	holds map[int]bool
	meter tempo.Meter
	speed float64 // quarters a minute in force
}

// measure writes measure n, with a rest of its whole length; the pick-up measure 0 is marked as
// one that is not counted.
func (s *stub) measure(n int, first bool) error {
	begin, err := s.m.Quarters(tempo.Position{Measure: n, Beat: 1})
	if err != nil {
		return err
	}
	end, err := s.m.Quarters(tempo.Position{Measure: n + 1, Beat: 1})
	if err != nil {
		return err
	}
	implicit := ""
	if n == 0 {
		implicit = ` implicit="yes"`
	}
	fmt.Fprintf(s, "  <measure number=\"%d\"%s>\n", n, implicit)
	meter := s.m.Meter(n)
	if first || meter != s.meter {
		s.WriteString("   <attributes>")
		if first {
			fmt.Fprintf(s, "<divisions>%d</divisions>", stubDivisions)
		}
		s.WriteString("<time>" + timeOf(meter) + "</time></attributes>\n")
		s.meter = meter
	}
	if page := s.m.Elsewhere(n); page != "" {
		s.direction("<words>" + escapeXML(page) + "</words>")
	}
	for _, mark := range s.marks[n] {
		s.direction("<rehearsal>" + escapeXML(mark) + "</rehearsal>")
	}
	s.beats(meter, begin, end, s.holds[n])
	s.WriteString("  </measure>\n")
	return nil
}

// direction writes a direction at the place where the measure stands.
func (s *stub) direction(inside string) {
	s.WriteString("   <direction><direction-type>" + inside + "</direction-type></direction>\n")
}

// beats writes the tempos of a measure where they change, each beat by the time it
// takes without holds, and rests between them.
func (s *stub) beats(meter tempo.Meter, begin, end float64, held bool) {
	from := begin
	rest := func(to float64) {
		if d := int(math.Round((to - from) * stubDivisions)); d > 0 {
			fermata := ""
			if held && to == end {
				fermata = "<notations><fermata/></notations>"
			}
			fmt.Fprintf(s, "   <note><rest/><duration>%d</duration>%s</note>\n", d, fermata)
		}
		from = to
	}
	beats := meter.Beats()
	full := meter.Quarters()
	for i := 1; i <= beats; i++ {
		at, next := end-full+meter.Offset(float64(i)), end-full+meter.Offset(float64(i+1))
		if next <= begin {
			continue // before the pick-up
		}
		at = max(at, begin)
		speed := s.m.SpeedAt(at)
		if v := s.m.SpeedAt(math.Nextafter(next, at)); math.Abs(v-speed) > 1e-9*speed {
			// On a ramp that is linear in quarter notes a beat takes as long as at
			// this, the logarithmic mean of both ends.
			speed = (v - speed) / math.Log(v/speed) // the same time at one tempo
		}
		if math.Abs(speed-s.speed) > 1e-6*speed {
			rest(at)
			s.tempo(meter.Unit(), speed)
		}
	}
	rest(end)
}

// tempo writes a tempo, with a metronome mark when its number is a plain one.
// Metronome marks have two decimals at most: what is not exact there is left to the
// sound element, which has nine.
func (s *stub) tempo(unit tempo.Unit, speed float64) {
	s.speed = speed
	sound := `<sound tempo="` + formatDecimal(speed, 9) + `"/>`
	plain := formatDecimal(speed/unit.Quarters(), 2)
	if x, err := strconv.ParseFloat(plain, 64); err != nil || math.Abs(x*unit.Quarters()-speed) > 1e-9*speed {
		s.WriteString("   " + sound + "\n")
		return
	}
	fmt.Fprintf(s,
		"   <direction><direction-type><metronome>%s<per-minute>%s</per-minute></metronome></direction-type>"+
			"%s</direction>\n", beatUnit(unit), plain, sound)
}

// timeOf returns the numbers of a time signature.
func timeOf(m tempo.Meter) string {
	text, _, _ := strings.Cut(m.String(), " in ")
	var b strings.Builder
	for {
		upper, rest, _ := strings.Cut(text, "/")
		lower, more, composite := strings.Cut(rest, "+")
		fmt.Fprintf(&b, "<beats>%s</beats><beat-type>%s</beat-type>", upper, lower)
		if !composite {
			return b.String()
		}
		text = more
	}
}

// beatUnit returns a note value as a metronome mark has it.
func beatUnit(u tempo.Unit) string {
	for name, plain := range noteValues {
		for dots := range 2 {
			if plain.Dotted(dots) == u {
				return "<beat-unit>" + name + "</beat-unit>" + strings.Repeat("<beat-unit-dot/>", dots)
			}
		}
	}
	return "<beat-unit>quarter</beat-unit>"
}

// formatDecimal prints a number with at most so many decimals.
func formatDecimal(x float64, decimals int) string {
	text := strconv.FormatFloat(x, 'f', decimals, 64)
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}

// escapeXML returns text for the content of an element or a quoted attribute.
func escapeXML(text string) string {
	var b bytes.Buffer
	if xml.EscapeText(&b, []byte(clean(text))) != nil {
		return ""
	}
	return b.String()
}
