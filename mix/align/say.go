package align

import (
	"fmt"
	"math"
	"strings"
)

// leastTold is the probability below which a place is no choice worth a word in one line.
const leastTold = 0.005

// By says what [Candidate.At] is the moment of: "clap" or "first note".
func (c Candidate) By() string {
	if c.ByCue {
		return "clap"
	}
	return "first note"
}

// Seconds says where in the file a candidate is, and how likely: "9.94 s (11 %)".
func (c Candidate) Seconds() string { return fmt.Sprintf("%.2f s (%s)", c.At, percent(c.Odds)) }

// percent returns a probability in words. What is asked about is never certain.
func percent(odds float64) string {
	if odds < leastTold {
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", min(99, math.Round(100*odds)))
}

// Rivals returns the candidates between which a person has to choose, the best
// first: all that are likely enough, and none where the place is sure. Candidate i
// has number i+1.
func (p Placement) Rivals() []Candidate {
	if p.Sure || len(p.Candidates) == 0 {
		return nil
	}
	n := 1
	for n < len(p.Candidates) && p.Candidates[n].Odds >= leastTold {
		n++
	}
	return p.Candidates[:n]
}

// Choices returns short words for every rival, such as "clap at 12.34 s (88 %)" and
// "9.94 s (11 %)": what is heard there is said where it is not as in the one before.
func (p Placement) Choices() []string {
	var words []string
	by := ""
	for _, c := range p.Rivals() {
		text := c.Seconds()
		if c.By() != by {
			by = c.By()
			text = by + " at " + text
		}
		words = append(words, text)
	}
	return words
}

// Question says what a person has to decide about a placement, in one line; it is
// empty where the place is sure.
func (p Placement) Question() string {
	choices := p.Choices()
	switch {
	case p.Sure:
		return ""
	case len(choices) == 0 || p.OtherTempo != 0 || p.Former:
		if p.Reason == "" {
			return "its place was not found; give cue_at or offset"
		}
		return p.Reason
	case p.Confidence >= sureBar && !math.IsInf(p.Uncertainty, 0):
		return fmt.Sprintf("%s, but only within about %.0f ms", strings.Join(choices, " or "), 1000*p.Uncertainty)
	}
	return strings.Join(choices, " or ")
}

// lateOrEarly returns the word for a lateness in seconds.
func lateOrEarly(s float64) string {
	if s < 0 {
		return "early"
	}
	return "late"
}

// laterOrEarlier returns the word for one lateness over another, in seconds.
func laterOrEarlier(s float64) string {
	if s < 0 {
		return "earlier"
	}
	return "later"
}
