package survey

import (
	"fmt"
	"strings"

	"ripieno/assemble/report"
	"ripieno/assemble/soundtrack"
)

// cleanedOf returns what the mix does to a take's sound as the page has it; nil for
// nothing.
func cleanedOf(c *soundtrack.CleanResult) *report.Cleaned {
	if c == nil {
		return nil
	}
	out := &report.Cleaned{Reduced: c.Reduced, Lows: c.Lows, Presence: c.Presence, Drawn: c.Tops, Rumble: c.Rumble,
		TurnedUp: c.TurnedUp}
	hum := make([]string, len(c.Hum))
	for i, hz := range c.Hum {
		hum[i] = fmt.Sprintf("%.0f", hz)
	}
	out.Hum = strings.Join(hum, ", ")
	if c.Open != nil {
		out.Closed = 1 - *c.Open
	}
	return out
}

// hidden returns how far the others of the mix cover a take; nothing where that is not worth
// saying.
func (s *Survey) hidden(take string) (list []report.Hidden) {
	c := s.covered[take]
	for _, r := range []*soundtrack.HiddenResult{c.Tune, c.Part} {
		if r == nil {
			continue
		}
		h := report.Hidden{Share: r.Share, Lift: r.Lift, Melody: r == c.Tune}
		if at, ok := r.Longest(); ok {
			h.From, h.To = soundtrack.Measures(s.man.Tempo, at.From, at.To)
		}
		list = append(list, h)
	}
	return list
}

// blended returns by what a take is louder or softer as an ensemble has it; nil for nothing.
func (s *Survey) blended(take string) *report.Blended {
	b := s.covered[take].Blend
	if b == nil {
		return nil
	}
	out := &report.Blended{Instrument: b.Power, Register: b.Register}
	most, more := b.Most()
	for _, m := range most {
		from, to := soundtrack.Measures(s.man.Tempo, m.From, m.To)
		out.Moves = append(out.Moves, report.Moved{Role: string(m.Role), Gain: m.Gain, From: from, To: to})
	}
	out.More = more
	return out
}
