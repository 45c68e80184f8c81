// Package subtitle writes texts that run beside a film: programme notes as
// WebVTT and SubRip, and chapters for the film's own index. It is pure; times
// are seconds from the first frame, and every text is data, never markup.
package subtitle

import (
	"fmt"
	"math"
	"strings"
	"unicode"
)

// Cue is a text and when it is shown, From before To.
type Cue struct {
	From, To float64
	Text     string // lines; blank ones are left out, for they would end the cue
}

// WebVTT returns cues as a WebVTT file (W3C WebVTT: The Web Video Text Tracks
// Format, section 4).
func WebVTT(cues []Cue) string {
	var b strings.Builder
	b.WriteString("WEBVTT\n")
	// A text must not be taken for a tag, an entity or the arrow of a timing.
	safe := strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;")
	for i, c := range cues {
		fmt.Fprintf(&b, "\n%d\n%s --> %s\n%s\n", i+1, clock(c.From, "."), clock(c.To, "."), safe.Replace(lines(c.Text)))
	}
	return b.String()
}

// SRT returns cues as a SubRip file (common practice, no source). The format has no
// way to write "<" that every player reads, so it stays as it is; an arrow
// within a text is broken up.
func SRT(cues []Cue) string {
	var b strings.Builder
	for i, c := range cues {
		fmt.Fprintf(&b, "%d\r\n%s --> %s\r\n%s\r\n\r\n", i+1, clock(c.From, ","), clock(c.To, ","),
			strings.ReplaceAll(strings.ReplaceAll(lines(c.Text), "-->", "–>"), "\n", "\r\n"))
	}
	return b.String()
}

// Chapter begins at From and lasts to the next one or the film's end.
type Chapter struct {
	From float64
	Name string
}

// Metadata returns chapters in ffmpeg's metadata format for a film of the given
// length in seconds (ffmpeg-formats, "Metadata": a special character is escaped
// with a backslash). A name is one line: control characters become spaces.
func Metadata(chapters []Chapter, length float64) string {
	var b strings.Builder
	b.WriteString(";FFMETADATA1\n")
	for i, c := range chapters {
		to := length
		if i+1 < len(chapters) {
			to = chapters[i+1].From
		}
		fmt.Fprintf(&b, "[CHAPTER]\nTIMEBASE=1/1000\nSTART=%d\nEND=%d\ntitle=%s\n",
			millis(c.From), millis(to), metadataValue(c.Name))
	}
	return b.String()
}

// metadataValue returns a text as the value of a key. ffmpeg looks for the end of
// the line before it undoes the escapes, and takes any backslash in front of a
// line feed for one that escapes it, itself escaped or not. A zero byte between
// the two ends the value without being part of it.
func metadataValue(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
	text = metadataEscapes.Replace(text)
	if strings.HasSuffix(text, `\`) {
		text += "\x00"
	}
	return text
}

var metadataEscapes = strings.NewReplacer(`\`, `\\`, "=", `\=`, ";", `\;`, "#", `\#`)

// lines returns a text without blank lines and the spaces round each.
func lines(text string) string {
	var keep []string
	for l := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == '\n' || r == '\r' }) {
		if l = strings.TrimSpace(l); l != "" {
			keep = append(keep, l)
		}
	}
	return strings.Join(keep, "\n")
}

func millis(seconds float64) int64 { return int64(math.Round(max(0, seconds) * 1000)) }

// clock returns h:mm:ss and thousandths behind a mark.
func clock(seconds float64, mark string) string {
	ms := millis(seconds)
	return fmt.Sprintf("%02d:%02d:%02d%s%03d", ms/3600000, ms/60000%60, ms/1000%60, mark, ms%1000)
}
