package follow

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripieno/mix/tempo"
)

// Line is a beat in a list that people read and correct.
type Line struct {
	Number int            // of the line in the file, from 1
	At     float64        // seconds
	Place  tempo.Position // Measure and Beat; Beat 0: the line does not say
	// Found is true when the line is as the program has written it, so that a person has
	// not touched it.
	Found bool
	Weak  bool // hardly anything begins there
}

// Bounds of lists.
const (
	mostLines  = 200_000
	mostOfLine = 1000
)

// title begins the line that says what a list is of.
const title = "beats of "

var (
	lineForm  = regexp.MustCompile(`^(?:(\d{1,3}):)?(\d{1,6}(?:[.,]\d+)?)$`)
	placeForm = regexp.MustCompile(`^m?(\d{1,5})\.(\d{1,2})$|^m(\d{1,5})$`)
	foundForm = regexp.MustCompile(`^@(\d+\.\d+)$`)
)

// Parse reads a list of beats: a line for each, with its seconds (12.5 or 1:12.5) and, if
// need be, which beat it is (m33 or m33.2), separated by tabs, spaces, commas or
// semicolons. Labels as editors of sound keep them, with a beginning, an end and a text,
// are such lines, in whatever order. # begins a remark. of is what the title line says, ""
// without one. An error names the line.
func Parse(data []byte) (lines []Line, of string, err error) {
	if bytes.ContainsRune(data, 0) {
		return nil, "", errors.New("it is not a text")
	}
	scan := bufio.NewScanner(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	scan.Buffer(nil, mostOfLine)
	for n := 1; scan.Scan(); n++ {
		text, _, _ := strings.Cut(scan.Text(), "#")
		if _, rest, ok := strings.Cut(text, title); ok && of == "" {
			of = strings.TrimSpace(rest)
			continue
		}
		fields := fieldsOf(text)
		if len(fields) == 0 {
			continue
		}
		l, err := parseLine(fields)
		if err != nil {
			return nil, "", fmt.Errorf("line %d: %w", n, err)
		}
		l.Number = n
		if lines = append(lines, l); len(lines) > mostLines {
			return nil, "", fmt.Errorf("more than %d beats", mostLines)
		}
	}
	if err := scan.Err(); err != nil {
		return nil, "", fmt.Errorf("a line is longer than %d characters", mostOfLine)
	}
	slices.SortStableFunc(lines, func(a, b Line) int { return cmp.Compare(a.At, b.At) })
	for i := 1; i < len(lines); i++ {
		if l := lines[i]; l.At == lines[i-1].At {
			return nil, "", fmt.Errorf("line %d: the beat at %.3f s is on line %d too", l.Number, l.At,
				lines[i-1].Number)
		}
	}
	return lines, of, nil
}

// fieldsOf splits a line. A comma stands between fields only where no tab, semicolon or
// space does: elsewhere it may be a decimal one.
func fieldsOf(text string) []string {
	split := func(r rune) bool { return r == '\t' || r == ';' || r == ' ' || r == '"' || r == '\r' }
	fields := strings.FieldsFunc(text, split)
	if len(fields) != 1 || lineForm.MatchString(fields[0]) && !strings.Contains(fields[0], ".") {
		return fields
	}
	return strings.FieldsFunc(fields[0], func(r rune) bool { return r == ',' })
}

// parseLine reads the fields of a line.
func parseLine(fields []string) (Line, error) {
	var l Line
	at, ok := seconds(fields[0])
	if !ok {
		return l, fmt.Errorf("%q is not a time such as 12.5 or 1:12.5", clip(fields[0]))
	}
	l.At = at
	fields = fields[1:]
	if len(fields) > 0 {
		if _, isEnd := seconds(fields[0]); isEnd && !placeForm.MatchString(fields[0]) || len(fields) > 1 && isEnd {
			fields = fields[1:] // the end of a label
		}
	}
	if len(fields) > 0 {
		p := placeForm.FindStringSubmatch(fields[0])
		if p == nil {
			return l, nil // words of a person's own
		}
		l.Place.Beat = 1
		if p[3] != "" {
			l.Place.Measure, _ = strconv.Atoi(p[3])
		} else {
			l.Place.Measure, _ = strconv.Atoi(p[1])
			l.Place.Beat, _ = strconv.ParseFloat(p[2], 64)
		}
		fields = fields[1:]
	}
	for _, f := range fields {
		if x := foundForm.FindStringSubmatch(f); x != nil {
			found, _ := strconv.ParseFloat(x[1], 64)
			l.Found = math.Abs(found-l.At) < 0.0015
		}
		l.Weak = l.Weak || f == "?"
	}
	return l, nil
}

// seconds reads a time such as 12.5, 12,5 or 1:02.5; ok is false for any other text.
func seconds(s string) (float64, bool) {
	p := lineForm.FindStringSubmatch(s)
	if p == nil {
		return 0, false
	}
	x, _ := strconv.ParseFloat(strings.Replace(p[2], ",", ".", 1), 64)
	if p[1] != "" {
		minutes, _ := strconv.ParseFloat(p[1], 64)
		x += 60 * minutes
	}
	return x, true
}

// clip shortens what a message quotes of a file to 40 bytes.
func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}

// Format writes a list as labels that editors of sound import: seconds twice and which
// beat it is, with tabs between. Behind @ stands the time at which the program has found
// it, so that a line that was moved is known for a person's own; ? says that hardly
// anything begins there. of is told in a label at 0.
func Format(lines []Line, of string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%.3f\t%.3f\t%s%s\n", 0.0, 0.0, title, of)
	for _, l := range lines {
		fmt.Fprintf(&b, "%.3f\t%.3f\tm%d.%g", l.At, l.At, l.Place.Measure, l.Place.Beat)
		if l.Found {
			fmt.Fprintf(&b, " @%.3f", l.At)
		}
		if l.Weak {
			b.WriteString(" ?")
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// Times returns the times of a list for a piece: each line is its next beat. A line that
// says it is another one is an error that names the line.
func Times(lines []Line, m *tempo.Map) ([]float64, error) {
	places := Places(m)
	var times []float64
	for i, l := range lines {
		if i == len(places) {
			break
		}
		if p := places[i].Position; l.Place.Beat > 0 && l.Place != p {
			return nil, fmt.Errorf("line %d: beat %g of measure %d stands where beat %g of measure %d is due", l.Number,
				l.Place.Beat, l.Place.Measure, p.Beat, p.Measure)
		}
		times = append(times, l.At)
	}
	return times, nil
}

// Anchors returns a person's own lines of a list as anchors among pulses of which each
// beat has so many; per is that of a piece whose beats are alike. A line of a beat that the
// piece has not is an error.
func Anchors(lines []Line, m *tempo.Map, unit float64) ([]Anchor, error) {
	places := Places(m)
	index := map[tempo.Position]int{}
	for _, p := range places {
		index[p.Position] = PulseAt(p.Quarter, places[0].Quarter, unit)
	}
	var list []Anchor
	for _, l := range lines {
		a := Anchor{At: l.At, Index: Uncounted}
		switch i, ok := index[l.Place]; {
		case l.Found:
			continue
		case l.Place.Beat == 0:
		case !ok:
			return nil, fmt.Errorf("line %d: the piece has no beat %g in measure %d", l.Number, l.Place.Beat,
				l.Place.Measure)
		default:
			a.Index = i
		}
		list = append(list, a)
	}
	return list, nil
}

// PulseAt returns which pulse of so many quarters a place is, from the first place on.
func PulseAt(quarter, first, unit float64) int { return int(math.Round((quarter - first) / unit)) }
