package smf

import (
	"strings"
	"testing"
)

// Files of which a general library panics, allocates what they claim, or reads what is
// not there: ours refuses them or reads what there is.
func TestStrangeFiles(t *testing.T) {
	const notes = "\x00\x90\x3c\x40\x60\x80\x3c\x40"
	for _, c := range []struct{ name, file, want string }{
		{"SMPTE time", "MThd\x00\x00\x00\x06\x00\x00\x00\x01\xe7\x28MTrk\x00\x00\x00\x04\x00\xff\x2f\x00",
			"its division is SMPTE time (25 frames a second)"},
		{"a text of 256 MB", string(midi(0, 96, "\x00\xff\x01\xff\xff\xff\x7f")), "the track ends within an event"},
		{"a system exclusive event of 256 MB", string(midi(0, 96, "\x00\xf0\xff\xff\xff\x7f")),
			"the track ends within an event"},
		{"a data byte above 0x7f", string(midi(0, 96, "\x00\x90\x3c\xff\x00\xff\x2f\x00")),
			"data byte 0xff above 0x7f"},
		{"no end of track", string(midi(0, 96, notes)), ""},
	} {
		s, err := Read(strings.NewReader(c.file))
		switch {
		case c.want == "" && (err != nil || len(s.Parts) != 1):
			t.Errorf("%s: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}
}
