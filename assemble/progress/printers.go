package progress

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// bar draws one line and redraws it. The library only lays the line out; it
// writes to nowhere, and the finished line goes to the terminal in one Write:
// its own drawing writes a line several times a step and knows no messages.
type bar struct {
	w        io.Writer
	width    int // of the terminal; 0 asks it each time, for windows change
	bar      *progressbar.ProgressBar
	barWidth int
	drawn    float64 // when
	shown    bool
}

const (
	barSteps = 1000
	barEvery = 0.1 // seconds between two drawings
)

// eraseLine goes to the line's beginning and erases all of it (ECMA-48 EL).
const eraseLine = "\r\x1b[K"

// newBar returns a bar of so many columns that has not been drawn yet.
func newBar(w io.Writer, width int) *bar { return &bar{w: w, width: width, drawn: math.Inf(-1)} }

// event implements printer.
func (b *bar) event(e event, s state) {
	switch {
	case e.kind == message:
		b.above(e.text, s)
	case e.kind == finished && e.err != nil:
		b.above(fmt.Sprintf("%s %s failed", e.stage, e.name), s)
	case e.kind != added && s.at >= b.drawn+barEvery:
		fmt.Fprint(b.w, eraseLine+b.line(s))
		b.drawn, b.shown = s.at, true
	}
}

// above prints text where the bar stands and the bar below it.
func (b *bar) above(text string, s state) {
	if b.shown {
		text = eraseLine + text
	}
	line := b.line(s)
	fmt.Fprint(b.w, text+"\n"+line)
	b.drawn, b.shown = s.at, line != ""
}

// close implements printer.
func (b *bar) close(state) {
	if b.shown {
		fmt.Fprint(b.w, eraseLine)
	}
}

// line returns the bar as it looks at s, without control characters and narrower
// than the terminal; empty before there is any work.
func (b *bar) line(s state) string {
	if s.total == 0 {
		return ""
	}
	columns := b.columns()
	if w := min(24, max(4, columns/4)); b.bar == nil || w != b.barWidth {
		b.barWidth = w
		// The library's clock, rates and predictions stay off: they know
		// neither costs nor stages.
		b.bar = progressbar.NewOptions(barSteps,
			progressbar.OptionSetWriter(io.Discard),
			progressbar.OptionSetWidth(w),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionSetElapsedTime(false),
			progressbar.OptionShowDescriptionAtLineEnd())
	}
	text := fmt.Sprintf("%d/%d", s.done, s.total)
	if s.left >= 0 {
		text += "  " + duration(s.left) + " left"
	}
	if s.current != "" {
		text += "  " + s.current
	}
	// One step short of full: a full bar is final for the library, and more
	// work may be added. The line is cleared at the end anyway.
	_ = b.bar.Set(min(barSteps-1, int(s.fraction*barSteps)))
	const around = 12 // percent, borders, spaces
	b.bar.Describe(truncate(text, columns-b.barWidth-around))
	return strings.TrimSpace(b.bar.String())
}

// columns returns the width of the terminal, 80 when nobody knows.
func (b *bar) columns() int {
	if b.width > 0 {
		return b.width
	}
	if f, ok := b.w.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			return w
		}
	}
	return 80
}

// truncate shortens s to a number of columns. Runes from the first wide script
// on count as two columns, which is never too few.
func truncate(s string, columns int) string {
	n := 0
	for i, r := range s {
		w := 1
		if r >= 0x1100 {
			w = 2
		}
		if n+w > columns {
			return s[:i]
		}
		n += w
	}
	return s
}

// lines writes a line when a stage is finished and now and then in between.
type lines struct {
	w    io.Writer
	last float64 // when the last line was written
}

// event implements printer.
func (l *lines) event(e event, s state) {
	switch e.kind {
	case message:
		fmt.Fprintln(l.w, e.text)
		return
	case finished:
		if e.err != nil {
			fmt.Fprintf(l.w, "%s %s failed\n", e.stage, e.name)
			l.last = s.at
		}
		for _, st := range s.stages {
			if st.name == e.stage && st.done == st.total {
				fmt.Fprintf(l.w, "%s: %d done in %s\n", st.name, st.done, duration(st.seconds))
				l.last = s.at
				return
			}
		}
	}
	// Every 5 s at first, then ever more slowly up to once a minute: the log
	// of a long run stays readable. Common practice, no source.
	if s.at-l.last >= min(60, max(5, s.at/20)) && s.done < s.total {
		l.last = s.at
		fmt.Fprintln(l.w, summary(s))
	}
}

// close implements printer.
func (l *lines) close(state) {}

// summary returns "43 %, conform 12/25, mix 0/1, 1m20s left".
func summary(s state) string {
	parts := []string{fmt.Sprintf("%.0f %%", math.Floor(100*s.fraction))}
	for _, st := range s.stages {
		if st.done < st.total {
			parts = append(parts, fmt.Sprintf("%s %d/%d", st.name, st.done, st.total))
		}
	}
	if s.left >= 0 {
		parts = append(parts, duration(s.left)+" left")
	}
	return strings.Join(parts, ", ")
}

// jsonLines writes one object a line; the fields are in the package comment.
type jsonLines struct {
	w    io.Writer
	last float64
	any  bool
}

// jsonEvent is a line. Numbers are pointers where 0 says something else than nothing.
type jsonEvent struct {
	Event    string   `json:"event"`
	T        float64  `json:"t"`
	Stage    string   `json:"stage,omitempty"`
	Name     string   `json:"name,omitempty"`
	Seconds  *float64 `json:"seconds,omitempty"`
	Error    string   `json:"error,omitempty"`
	Text     string   `json:"text,omitempty"`
	Fraction *float64 `json:"fraction,omitempty"`
	Done     *int     `json:"done,omitempty"`
	Total    *int     `json:"total,omitempty"`
	Left     *float64 `json:"left_s,omitempty"`
}

// event implements printer.
func (j *jsonLines) event(e event, s state) {
	out := jsonEvent{T: s.at, Stage: e.stage, Name: e.name, Text: e.text}
	switch e.kind {
	case started:
		out.Event = "start"
		j.print(out)
	case finished:
		out.Event, out.Seconds = "finish", &e.seconds
		if e.err != nil {
			out.Error = e.err.Error()
		}
		j.print(out)
	case message:
		out.Event = "message"
		j.print(out)
	}
	if s.total > 0 && (!j.any || s.at-j.last >= 0.5) {
		j.any, j.last = true, s.at
		j.print(jsonState("progress", s))
	}
}

// close implements printer.
func (j *jsonLines) close(s state) {
	end := jsonState("end", s)
	end.Left = nil
	j.print(end)
}

// jsonState returns an event with how far the work is.
func jsonState(name string, s state) jsonEvent {
	out := jsonEvent{Event: name, T: s.at, Fraction: &s.fraction, Done: &s.done, Total: &s.total}
	if s.left >= 0 {
		out.Left = &s.left
	}
	return out
}

// print rounds times to milliseconds; one Write a line, so that lines of
// several writers to one pipe stay whole.
func (j *jsonLines) print(e jsonEvent) {
	e.T = milli(e.T)
	for _, p := range []*float64{e.Seconds, e.Left} {
		if p != nil {
			*p = milli(*p)
		}
	}
	b, err := json.Marshal(e)
	if err != nil {
		return // finite numbers and strings: cannot happen
	}
	_, _ = j.w.Write(append(b, '\n'))
}

// milli rounds seconds to whole milliseconds.
func milli(seconds float64) float64 { return math.Round(seconds*1000) / 1000 }

// duration returns seconds for people: "0s", "45s", "3m20s", "1h02m".
func duration(seconds float64) string {
	s := int64(math.Round(min(max(0, seconds), 1e9)))
	switch {
	case s < 60:
		return fmt.Sprintf("%ds", s)
	case s < 3600:
		return fmt.Sprintf("%dm%02ds", s/60, s%60)
	}
	return fmt.Sprintf("%dh%02dm", s/3600, s%3600/60)
}
