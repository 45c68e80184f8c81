package ffmpeg

import "bytes"

// MaxLine is how many bytes [Lines] keeps of a line: far above the longest that ffmpeg
// writes of itself. What a file's own text makes longer is dropped from there on.
const MaxLine = 1 << 10

// Lines puts text that comes in parts of any size together to lines, in bounded memory.
// The zero value is ready.
type Lines struct{ part []byte }

// Add takes a part of the text and calls take for every line that is complete with it,
// without the line feed. What follows the last line feed waits for the next part.
func (l *Lines) Add(text []byte, take func(line string)) {
	for len(text) > 0 {
		part, rest, ended := bytes.Cut(text, []byte{'\n'})
		if room := MaxLine - len(l.part); room > 0 {
			l.part = append(l.part, part[:min(room, len(part))]...)
		}
		if !ended {
			return
		}
		take(string(l.part))
		l.part, text = l.part[:0], rest
	}
}
