package manifest

import (
	"bytes"
	"slices"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// source finds the bytes that nodes were read from. The YAML package knows where a
// node begins, in lines and characters, but not where it ends; who changes a few
// bytes and must leave all others alone needs both.
type source struct {
	data  []byte
	lines []int // where each line begins
}

// newSource notes where the lines of data begin. A byte-order mark belongs to no
// line. A carriage return alone ends a line too, as in YAML.
func newSource(data []byte) *source {
	s := &source{data: data, lines: []int{len(data) - len(bytes.TrimPrefix(data, []byte("\ufeff")))}}
	for i, b := range data {
		if b == '\n' || b == '\r' && (i+1 == len(data) || data[i+1] != '\n') {
			s.lines = append(s.lines, i+1)
		}
	}
	return s
}

// offset returns the byte where a node begins. The YAML package counts columns in
// characters.
func (s *source) offset(n *yaml.Node) int {
	// An empty value at the end of the file stands on a line that is not there.
	if n.Line < 1 || n.Line > len(s.lines) {
		return len(s.data)
	}
	i := s.lines[n.Line-1]
	for c := 1; c < n.Column && i < len(s.data); c++ {
		_, size := utf8.DecodeRune(s.data[i:])
		i += size
	}
	return i
}

// before returns what stands on the line of a byte before it.
func (s *source) before(at int) string {
	i, found := slices.BinarySearch(s.lines, at)
	if !found {
		i--
	}
	return string(s.data[s.lines[max(i, 0)]:at])
}

// lineEnd returns the first line break at or after a byte, or the end of the file.
func (s *source) lineEnd(at int) int {
	if i := bytes.IndexAny(s.data[at:], "\r\n"); i >= 0 {
		return at + i
	}
	return len(s.data)
}

// newline returns the line break after a byte, or the last one before it. What is
// written into a file ends its lines as the line before it does, so a file from
// Windows stays one.
func (s *source) newline(at int) string {
	i := s.lineEnd(at)
	if i == len(s.data) {
		i = bytes.LastIndexAny(s.data[:at], "\r\n")
		if i > 0 && s.data[i] == '\n' && s.data[i-1] == '\r' {
			i--
		}
	}
	switch {
	case i < 0:
		return "\n"
	case bytes.HasPrefix(s.data[i:], []byte("\r\n")):
		return "\r\n"
	}
	return string(s.data[i : i+1])
}

// scalar finds where a value begins and ends. ok is false for values of
// several lines without quotes, and whatever else does not look as it reads. flow
// tells that it stands in braces or brackets.
//
// The caller may put another value between begin and end, and nothing else.
func (s *source) scalar(n *yaml.Node, flow bool) (begin, end int, ok bool) {
	begin = s.offset(n)
	rest := s.data[begin:]
	switch {
	case n.Style&yaml.DoubleQuotedStyle != 0:
		for i := 1; i < len(rest); i++ {
			switch rest[i] {
			case '\\':
				i++
			case '"':
				return begin, begin + i + 1, true
			}
		}
		return 0, 0, false
	case n.Style&yaml.SingleQuotedStyle != 0:
		for i := 1; i < len(rest); i++ {
			if rest[i] != '\'' {
				continue
			}
			if i+1 < len(rest) && rest[i+1] == '\'' { // a quote in the text
				i++
				continue
			}
			return begin, begin + i + 1, true
		}
		return 0, 0, false
	}
	// Plain: what is written is what is read, so the value is its own length.
	return begin, begin + len(n.Value), bytes.HasPrefix(rest, []byte(n.Value))
}
