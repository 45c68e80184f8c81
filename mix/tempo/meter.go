package tempo

import (
	"fmt"
	"strconv"
	"strings"
)

// maxBeats bounds the beats of a measure so that a Meter is a plain value
// that can be compared with ==.
const maxBeats = 32

// Meter is a time signature with the beats it is counted in. The zero Meter
// is no meter; make one with [ParseMeter] or [MeterOf].
type Meter struct {
	den    uint8 // written unit: 1/den of a whole note
	n      uint8 // beats
	units  [maxBeats]uint8
	accent uint32 // bit i: beat i begins a written group, beat 0 included
}

// ParseMeter reads "4/4", "2/2", "6/8", additive "3+2/8" and, where another
// beat than the usual one is shown, "6/8 in 6", "3/4 in 1" or "4/4 in 2".
// "C" is 4/4 and "C|" is 2/2.
//
// The usual beats: the written unit, or three of them when the upper number
// is 6, 9, 12 or a higher multiple of 3 (compound meters, so 6/8 has two
// dotted quarters and 6/4 two dotted halves). An additive meter on eighths or
// shorter has one beat for each group; on quarters or longer every unit is a
// beat and the groups only place accents. A composite meter, "3/4+3/8" or
// "2/4+3+2/8", is its parts one after the other: quarters and longer notes are
// beats, a group of eighths or shorter notes is one beat, 6 or 9 of them are two or
// three (common practice, no source).
func ParseMeter(s string) (Meter, error) {
	text, in, counted := strings.Cut(strings.TrimSpace(s), " in ")
	text = strings.TrimSpace(text)
	switch text {
	case "C", "c":
		text = "4/4"
	case "C|", "c|":
		text = "2/2"
	}
	parts, err := splitMeter(text, s)
	if err != nil {
		return Meter{}, err
	}
	groups := parts[0].Groups
	m, err := CompositeOf(parts)
	if err != nil || !counted {
		return m, err
	}
	if len(parts) > 1 {
		return Meter{}, fmt.Errorf("meter %q: its parts already say how it is counted", s)
	}
	beats, err := strconv.Atoi(strings.TrimSpace(in))
	if err != nil || beats < 1 {
		return Meter{}, fmt.Errorf("meter %q: the number after \"in\" is not a number of beats", s)
	}
	if len(groups) > 1 {
		return Meter{}, fmt.Errorf("meter %q: the groups already say how it is counted", s)
	}
	return m.in(beats)
}

// MeterPart is one part of a composite meter, as [MeterOf] takes it.
type MeterPart struct {
	Groups []int
	Den    int
}

// splitMeter reads "3/4+3+2/8" as its parts; whole is the meter as it was written.
// Numbers that stand before one lower number belong to it.
func splitMeter(text, whole string) ([]MeterPart, error) {
	var parts []MeterPart
	var groups []int
	for _, word := range strings.Split(text, "+") {
		upper, lower, ends := strings.Cut(word, "/")
		v, err := strconv.Atoi(strings.TrimSpace(upper))
		if err != nil && (ends || strings.Contains(text, "/")) {
			return nil, fmt.Errorf("meter %q: the upper number is not a number", whole)
		}
		groups = append(groups, v)
		if !ends {
			continue
		}
		den, err := strconv.Atoi(strings.TrimSpace(lower))
		if err != nil {
			return nil, fmt.Errorf("meter %q: the lower number is not a number", whole)
		}
		parts = append(parts, MeterPart{groups, den})
		groups = nil
	}
	if len(parts) == 0 || len(groups) > 0 {
		return nil, fmt.Errorf("meter %q is not like 4/4, 6/8, 3+2/8 or 3/4+3/8", whole)
	}
	return parts, nil
}

// CompositeOf returns the meter whose measures are those of the parts one after the
// other; of one part it is that of [MeterOf]. An error says what no measure can be.
func CompositeOf(parts []MeterPart) (Meter, error) {
	if len(parts) == 1 {
		return MeterOf(parts[0].Groups, parts[0].Den)
	}
	out := Meter{den: 1}
	var made []Meter
	for _, p := range parts {
		m, err := p.meter()
		if err != nil {
			return Meter{}, err
		}
		made = append(made, m)
		out.den = max(out.den, m.den)
	}
	total := 0
	for _, m := range made {
		for i, u := range m.units[:m.n] {
			if out.n == maxBeats {
				return Meter{}, fmt.Errorf("the composite meter has more than %d beats", maxBeats)
			}
			if m.accent&(1<<i) != 0 {
				out.accent |= 1 << out.n
			}
			size := int(u) * int(out.den/m.den)
			if total += size; total > 64 {
				return Meter{}, fmt.Errorf("the composite meter is longer than 64 notes of 1/%d", out.den)
			}
			out.units[out.n] = uint8(size)
			out.n++
		}
	}
	return out, nil
}

// meter returns the meter of a part among others: as it is alone, but a single group of
// eighths or shorter notes that is not compound is one beat.
func (p MeterPart) meter() (Meter, error) {
	m, err := MeterOf(p.Groups, p.Den)
	if err == nil && len(p.Groups) == 1 && int(m.n) == p.Groups[0] && p.Den >= 8 {
		return m.in(1)
	}
	return m, err
}

// MeterOf returns the meter with the written groups over den, in notes of 1/den;
// one group for a plain time signature. den is a power of two up to 64, the
// sum of the groups at most 64.
func MeterOf(groups []int, den int) (Meter, error) {
	name := writeGroups(groups, den)
	if den < 1 || den > 64 || den&(den-1) != 0 {
		return Meter{}, fmt.Errorf("meter %s: the lower number must be 1, 2, 4, 8, 16, 32 or 64", name)
	}
	total := 0
	for _, g := range groups {
		if g < 1 || g > 64 {
			return Meter{}, fmt.Errorf("meter %s: the upper number must be 1 to 64", name)
		}
		total += g
	}
	if total < 1 || total > 64 {
		return Meter{}, fmt.Errorf("meter %s: the upper number must be 1 to 64", name)
	}
	m := Meter{den: uint8(den)}
	for _, g := range groups {
		first := int(m.n)
		size := 1
		switch {
		case len(groups) > 1 && den >= 8:
			size = g
		case len(groups) == 1 && g > 3 && g%3 == 0:
			size = 3
		}
		for range g / size {
			if m.n == maxBeats {
				return Meter{}, fmt.Errorf("meter %s has more than %d beats", name, maxBeats)
			}
			m.units[m.n] = uint8(size)
			m.n++
		}
		m.accent |= 1 << first
	}
	return m, nil
}

// writeGroups returns a meter as it is written, "3+2/8".
func writeGroups(groups []int, den int) string {
	var b strings.Builder
	for i, g := range groups {
		if i > 0 {
			b.WriteByte('+')
		}
		b.WriteString(strconv.Itoa(g))
	}
	return b.String() + "/" + strconv.Itoa(den)
}

// in returns m counted in that many equal beats.
func (m Meter) in(beats int) (Meter, error) {
	total := m.total()
	if beats > maxBeats || total%beats != 0 {
		return Meter{}, fmt.Errorf("meter %d/%d cannot be counted in %d equal beats", total, m.den, beats)
	}
	out := Meter{den: m.den, n: uint8(beats), accent: 1}
	for i := range beats {
		out.units[i] = uint8(total / beats)
	}
	return out, nil
}

// total returns the length of a measure in written units.
func (m Meter) total() int {
	sum := 0
	for _, u := range m.units[:m.n] {
		sum += int(u)
	}
	return sum
}

// IsZero reports whether m is no meter.
func (m Meter) IsZero() bool { return m.n == 0 }

// Beats returns the number of beats in a measure; 0 for the zero Meter.
func (m Meter) Beats() int { return int(m.n) }

// Quarters returns the length of a measure in quarter notes.
func (m Meter) Quarters() float64 {
	if m.n == 0 {
		return 0
	}
	return float64(m.total()) * 4 / float64(m.den)
}

// Fraction returns the time signature as written, upper and lower number.
func (m Meter) Fraction() (upper, lower int) { return m.total(), int(m.den) }

// Unit returns the meter's own beat, or the written unit when its beats are not
// all of one length.
func (m Meter) Unit() Unit {
	if m.n == 0 {
		return Unit{}
	}
	size := m.units[0]
	for _, u := range m.units[:m.n] {
		if u != size {
			size = 1
		}
	}
	return Unit{int(size), int(m.den)}.reduced()
}

// String returns the meter as [ParseMeter] reads it.
func (m Meter) String() string {
	if m.n == 0 {
		return "no meter"
	}
	var groups []int
	for i, u := range m.units[:m.n] {
		if m.accent&(1<<i) != 0 {
			groups = append(groups, 0)
		}
		groups[len(groups)-1] += int(u)
	}
	text := writeGroups(groups, int(m.den))
	if usual, err := MeterOf(groups, int(m.den)); err == nil && usual == m {
		return text
	}
	if composite := m.composite(); composite != "" {
		return composite
	}
	return text + " in " + strconv.Itoa(int(m.n))
}

// Beat returns the beat, counted from 1 with fractions, that lies that many quarter
// notes after the barline; past the measure it goes on in the length of the
// last beat. It is 1 for the zero Meter.
func (m Meter) Beat(quarters float64) float64 { return m.beat(quarters) }

// Offset returns the distance in quarter notes from the barline to a beat, counted
// from 1 with fractions; it is the inverse of [Meter.Beat], and 0 for the zero Meter.
func (m Meter) Offset(beat float64) float64 {
	if m.n == 0 {
		return 0
	}
	return m.offset(beat)
}

// offset returns the distance in quarters from the barline to beat, counted from 1
// with fractions within the beat. Beats past the last go on in its length.
func (m Meter) offset(beat float64) float64 {
	whole := min(max(int(beat)-1, 0), int(m.n)-1)
	units := 0
	for _, u := range m.units[:whole] {
		units += int(u)
	}
	into := (beat - 1 - float64(whole)) * float64(m.units[whole])
	return (float64(units) + into) * 4 / float64(m.den)
}

// beat returns the inverse of offset for quarters within the measure.
func (m Meter) beat(quarters float64) float64 {
	units := quarters * float64(m.den) / 4
	for i, u := range m.units[:m.n] {
		if units < float64(u) || i == int(m.n)-1 {
			return float64(i) + 1 + units/float64(u)
		}
		units -= float64(u)
	}
	return 1
}
