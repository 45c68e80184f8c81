package graph

import (
	"fmt"
	"math"
	"strings"

	"ripieno/mix/audio"
)

// Pictures of a recording in several parts, of which every frame lies in one. What lies
// in none is not shown; where nothing was recorded the frame before stays, since a frame
// lasts until the next.

// inParts returns an expression for select that is not 0 for a frame of some part, when the
// file was opened at second seek.
func inParts(parts audio.Parts, seek float64) string {
	var terms []string
	for _, p := range parts {
		terms = append(terms, within("t", p, seek))
	}
	return strings.Join(terms, "+")
}

// laterInParts returns the term of an expression for setpts that adds, in guide seconds, by
// how much the part of a frame is shifted.
func laterInParts(parts audio.Parts, seek, ratio float64) string {
	var b strings.Builder
	for _, p := range parts {
		if p.Shift != 0 {
			fmt.Fprintf(&b, "%+.9f*%s", p.Shift*ratio, within("T", p, seek))
		}
	}
	return b.String()
}

// frameSlack is by how much a frame may be before its part, in seconds: time stamps are
// rounded to a file's ticks.
const frameSlack = 0.0005

// within returns an expression that is 1 for a frame of a part and 0 for another. time is what the filter calls the
// seconds of a frame: t in select, T in setpts.
func within(time string, p audio.Part, seek float64) string {
	from := fmt.Sprintf("gte(%s\\,%.9f)", time, p.From-seek-frameSlack)
	if math.IsInf(p.To, 1) {
		return from
	}
	return fmt.Sprintf("%s*lt(%s\\,%.9f)", from, time, p.To-seek-frameSlack)
}
