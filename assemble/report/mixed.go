package report

import (
	"fmt"
	"math"

	"ripieno/assemble/report/phrase"
)

// mixed says what the mix does to a take's sound and how far the others cover it there.
func (r Review) mixed(t Reviewed) []string {
	list := append(t.Cleaned.words(r.words()), r.blendedWords(t.Blended)...)
	for _, h := range t.Hidden {
		list = append(list, r.hiddenWords(h))
	}
	return list
}

// words says what was done to a take's sound; nothing for a nil one.
func (c *Cleaned) words(w *phrase.Book) []string {
	if c == nil {
		return nil
	}
	var list []string
	if c.Drawn > 0 {
		list = append(list, w.Say("report.drawn", "percent", w.Figure(fmt.Sprintf("%.2g", 100*c.Drawn))))
	}
	if percent := math.Round(100 * c.Closed); percent >= 1 {
		list = append(list, w.Say("report.closed", "percent", w.Number(percent, 0)))
	}
	if c.Reduced > 0 {
		list = append(list, w.Say("report.reduced", "db", w.Number(c.Reduced, 0)))
	}
	if c.Hum != "" {
		list = append(list, w.Say("report.hum", "hertz", c.Hum))
	}
	if c.Rumble > 0 {
		list = append(list, w.Say("report.rumble", "hertz", w.Number(c.Rumble, 0)))
	}
	if c.TurnedUp > 0 {
		list = append(list, w.Say("report.turned-up", "db", w.Number(c.TurnedUp, 0)))
	}
	if c.Lows != 0 || c.Presence != 0 {
		signed := func(v float64) string { return w.Figure(fmt.Sprintf("%+.1f", v)) }
		list = append(list, w.Say("report.phone", "lows", signed(c.Lows), "presence", signed(c.Presence)))
	}
	return list
}

// blendedWords says by what a take is louder or softer in the ensemble; nothing for nil.
func (r Review) blendedWords(b *Blended) []string {
	if b == nil {
		return nil
	}
	w := r.words()
	signed := func(v float64) string { return w.Figure(fmt.Sprintf("%+.1f", v)) }
	var list []string
	if b.Instrument != 0 || b.Register != 0 {
		list = append(list, w.Say("report.ensemble", "instrument", signed(b.Instrument), "register",
			signed(b.Register)))
	}
	for _, m := range b.Moves {
		list = append(list, w.Say("report.as-"+m.Role, "db", signed(m.Gain), "place", r.measures(m.From, m.To)))
	}
	if b.More {
		list = append(list, w.Say("report.as-more"))
	}
	return list
}

// hiddenWords says that a take is hidden, for how much of its playing, where and what would help.
func (r Review) hiddenWords(h Hidden) string {
	w := r.words()
	key, where := "report.hidden", ""
	if h.Melody {
		key = "report.melody-hidden"
	}
	if h.From > 0 {
		where = w.Say("report.hidden-where", "place", r.measures(h.From, h.To))
	}
	return w.Say(key, "percent", w.Number(math.Round(100*h.Share), 0), "where", where,
		"gain", fmt.Sprintf("gain: %+.1f", h.Lift))
}
