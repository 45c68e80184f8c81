package media

import (
	"regexp"
	"slices"
	"strings"

	"ripieno/assemble/ffmpeg"
)

// complaints counts what a decoder says about a damaged file without keeping
// it.
type complaints struct {
	errors    int // lines that tell of one
	lost      int // those by which ffmpeg gives a packet up
	truncated bool
	unlisted  string // decoder that is not among those allowed
	first     string // error, or sign of a file that ends too early
	unsplit   bool   // the line before told that a packet does not come apart
	lines     ffmpeg.Lines
}

// cutShort are the words by which ffmpeg's demuxers say that a file ends too
// early; it exits with 0 after them.
var cutShort = []string{"partial file", "File ended prematurely", "Truncat", "truncat", "unexpected end of file"}

// givenUp are the words by which ffmpeg says that it throws a packet away: up
// to version 6, and since. The decoder mostly says why in lines of its own.
var givenUp = []string{"Error while decoding stream", "Error submitting packet to decoder"}

// harmless are the words of complaints that say nothing of the file's content:
// of muxers about time stamps, of demuxers about an early end, which is told by
// itself, and of decoders that miss a picture to refer to,
// as they do wherever a recording was cut and when only key frames are decoded.
var harmless = []string{"partial file", "to muxer", "illegal short term buffer", "mmco:", "reference picture",
	"co located POCs", "Could not find ref", "reference frames exceeds"}

// wrongLength and noPicture are what the parser of H.264 says, one after the
// other, of a packet in which a length is wrong: the second follows from the
// first. Alone it tells of a packet by itself.
const (
	wrongLength = "Invalid NAL unit size"
	noPicture   = "missing picture in access unit"
)

// unlisted finds the name of a decoder that is not among those allowed.
var unlisted = regexp.MustCompile(`Codec \(([A-Za-z0-9_.-]{1,40})\) not on whitelist`)

// says reports whether a line has any of some words.
func says(line string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(line, w) })
}

// places returns how many places were damaged: the packets that were lost, or else
// what a decoder or demuxer complains of while it goes on.
func (c *complaints) places() int {
	if c.lost > 0 {
		return c.lost
	}
	return c.errors
}

// note keeps the first complaint, which the others mostly follow from.
func (c *complaints) note(line string) {
	if c.first == "" {
		c.first = line
	}
}

// Write implements io.Writer and never fails.
func (c *complaints) Write(p []byte) (int, error) {
	c.lines.Add(p, c.hear)
	return len(p), nil
}

// hear counts what one line of the log says.
func (c *complaints) hear(line string) {
	same := c.unsplit && strings.Contains(line, noPicture) // packet as the line before
	c.unsplit = strings.Contains(line, wrongLength)
	if strings.Contains(line, "[error]") && !says(line, harmless) && !same {
		c.errors++
		c.note(line)
		if says(line, givenUp) {
			c.lost++
		}
	}
	if m := unlisted.FindStringSubmatch(line); m != nil && c.unlisted == "" {
		c.unlisted = m[1]
	}
	if says(line, cutShort) {
		c.truncated = true
		c.note(line)
	}
}
