package intake

import (
	"fmt"
	"math"

	"ripieno/assemble/intake/limit"
)

// Break is a place at which a recording is not one piece of time.
type Break struct {
	At      float64 `json:"at"`      // seconds of the file
	Jump    float64 `json:"jump"`    // seconds that are missing there, or, negative, that are too much
	Measure int     `json:"measure"` // in which the first part ends
	By      string  `json:"by"`      // what shows it: "playing", "silence", "device" or "picture"
	Mended  bool    `json:"mended"`  // the parts are placed each by itself
}

// String says in a line what a break is and what became of it.
func (b Break) String() string {
	what := seconds(math.Abs(b.Jump)) + " missing"
	if b.Jump < 0 {
		what = seconds(-b.Jump) + " too much"
	}
	where := fmt.Sprintf("%s at %.2f s of the file, in measure %d", what, b.At, b.Measure)
	if b.Mended {
		return "in two parts: " + where + ", by the " + b.by() + "; both are placed"
	}
	return "perhaps in two parts: " + where + ", by the " + b.by() + "; left as it is"
}

// by is what shows the break.
func (b Break) by() string {
	switch b.By {
	case "device":
		return "other device"
	case "silence":
		return "playing and a digital silence"
	}
	return b.By
}

// override says how to contradict sync in the manifest.
func (b Break) override() string {
	if b.Mended {
		return "parts: [{from: 0}] for this file leaves it as it is"
	}
	end := b.At + math.Max(0, -b.Jump)
	return fmt.Sprintf("parts: [{to: %.3f}, {from: %.3f, shift: %.3f}] for this file would mend it", b.At, end, b.Jump)
}

// seconds prints a short time.
func seconds(s float64) string {
	if s < 0.9995 {
		return fmt.Sprintf("%.0f ms", 1000*s)
	}
	return fmt.Sprintf("%.2f s", s)
}

// pieces judges whether the file is one piece of time. What is too much is taken out and
// nothing is lost; what is missing nobody can put back.
func (j *judge) pieces() {
	for _, b := range j.file.Breaks {
		level, sure := OK, 0.95
		if lost, _ := j.limits.Over(limit.MissingAsk, b.Jump); lost && b.Mended {
			level = Ask
		}
		if !b.Mended {
			level, sure = Ask, 0.6
		}
		j.add(Broken, level, sure, "%s; %s", b, b.override())
	}
	if a := j.file.Info.Audio; a != nil && j.file.TrueRate > 0 && j.file.TrueRate != a.Rate {
		j.add(WrongRate, OK, 0.95, "its sound was recorded with %d samples a second and is labelled %d; it is used as recorded, unless sample_rate: %d says otherwise",
			j.file.TrueRate, a.Rate, a.Rate)
	}
}
