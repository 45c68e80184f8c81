package picture

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/layout/card"
	"ripieno/mix/tempo"
)

// Marks are what `rough --marks` burns into the picture: the place in the
// score as the manifest writes it and the guide time, so that a remark about a
// moment of the film can be found.

// markChars is room for m9999.16 and 99:59.999.
const markChars = 19

// markLines is how many lines of marks would fit on a canvas. So each is a twentieth
// of the picture high, which is legible at 540 lines.
const markLines = 20

// markTexts returns the line for each frame of a segment.
func markTexts(m *tempo.Map, line plan.Timeline, seg plan.Segment) []string {
	texts := make([]string, seg.Len())
	for i := range texts {
		texts[i] = MarkText(m, line.GuideAtZero()+line.Rate.Seconds(seg.From+i))
	}
	return texts
}

// MarkText says where a guide time lies: "m33.2    1:02.345". Before the piece
// it is "count-in", after it "end".
func MarkText(m *tempo.Map, guide float64) string {
	// A frame on a beat belongs to it, whatever the last bit of its time.
	const nearly = 1e-6
	at := m.Position(guide + nearly)
	place := fmt.Sprintf("m%d.%d", at.Measure, int(math.Floor(at.Beat)))
	switch {
	case at.Measure < 0 || guide+nearly < m.Start():
		place = "count-in"
	case at.Measure > m.Measures():
		place = "end"
	}
	sign, s := "", guide
	if s < 0 {
		sign, s = "-", -s
	}
	ms := int64(math.Round(s * 1000))
	return fmt.Sprintf("%-8s%11s", place, fmt.Sprintf("%s%d:%02d.%03d", sign, ms/60000, ms/1000%60, ms%1000))
}

// quickTexts returns the line for each frame of a first look, which says that it is
// one. The time is left out: its pictures are held, so it would be wrong.
func quickTexts(m *tempo.Map, line plan.Timeline, seg plan.Segment) []string {
	texts := markTexts(m, line, seg)
	for i, t := range texts {
		texts[i] = "quick look " + strings.TrimRight(t[:8], " ")
	}
	return texts
}

// textsOf returns the marks of a segment of a film.
func (c composition) textsOf() []string {
	if c.film.Quick {
		return quickTexts(c.tempo, c.line, c.seg)
	}
	return markTexts(c.tempo, c.line, c.seg)
}

// drawMarks writes the pictures of a segment's marks. The file has one picture of a
// byte a pixel for each text, without a header: the graph is told their size.
func drawMarks(path string, canvasH int, texts []string) (m graph.Marks, err error) {
	c, err := card.NewCounter(canvasH/markLines, markChars)
	if err != nil {
		return m, err
	}
	f, err := os.Create(path)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w := bufio.NewWriter(f)
	frame := make([]byte, c.W*c.H)
	for _, text := range texts {
		c.Draw(frame, text)
		if _, err := w.Write(frame); err != nil {
			return m, err
		}
	}
	return graph.Marks{Path: "file:" + path, W: c.W, H: c.H}, w.Flush()
}
