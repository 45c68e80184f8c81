package interchange

import (
	"fmt"
	"math"

	"ripieno/layout/shot"
)

// Counting is how timecode labels frames (SMPTE ST 12-1): with a nominal whole
// number of frames a second and, at 30 and 60 frames over 1.001, leaving out
// labels so that the label keeps up with the clock.
//
// ST 12-1 ends at 30 frames a second. At 50, 59.94 and 60 all frames are
// counted and 59.94 leaves out four labels a minute, as editing programs do
// (common practice, no source).
type Counting struct {
	Base int // labels in a second
	Drop int // labels left out at the beginning of every minute but each tenth; 0 for none
}

// CountingOf returns the counting of a frame rate. 23.976 is counted without
// leaving out labels, as nobody does otherwise.
func CountingOf(r shot.Rate) Counting {
	c := Counting{Base: int(math.Round(r.FPS()))}
	if r.Den == 1001 && c.Base%30 == 0 {
		c.Drop = c.Base / 15
	}
	return c
}

// Hour returns the frame that has the label 01:00:00:00.
func (c Counting) Hour() int { return c.Base*3600 - 54*c.Drop }

// Label returns the timecode of a frame. Labels repeat after 24 hours; frames
// before 0 have those of the day before.
func (c Counting) Label(frame int) string {
	day := 24 * c.Hour()
	n := ((frame % day) + day) % day
	separator := ":"
	if c.Drop > 0 {
		separator = ";"
		ten := c.Base*600 - 9*c.Drop // frames in ten minutes
		tens, rest := n/ten, n%ten
		n += 9 * c.Drop * tens
		// The first minute of each ten has all its labels, the others fewer.
		if after := rest - c.Base*60; after >= 0 {
			n += c.Drop * (1 + after/(c.Base*60-c.Drop))
		}
	}
	s := n / c.Base
	return fmt.Sprintf("%02d:%02d:%02d%s%02d", s/3600, s/60%60, s%60, separator, n%c.Base)
}
