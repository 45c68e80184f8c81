package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// playing returns in sentences how a take was played. They are for whoever
// conducts; no word of them goes into a note to a player.
func (r Review) playing(t Reviewed) []string {
	p := t.Playing
	all := []string{p.timing()}
	if wide := p.widest(); wide != "" {
		all = append(all, wide)
	}
	all = append(all, p.tuning(r.PitchHz))
	for _, g := range p.Missed {
		all = append(all, g.words())
	}
	return all
}

// timing returns a sentence about how closely notes lie to the beats.
func (p Playing) timing() string {
	switch {
	case p.SpreadMS == nil && p.Notes == 0:
		return "Timing: no clear beginnings of notes to measure."
	case p.SpreadMS == nil:
		return fmt.Sprintf("Timing: only %s could be timed, too few to say more.", count1(p.Notes, "note"))
	case p.Soft:
		return fmt.Sprintf("Timing: notes lie about %.0f ms round the beats (%d notes). Many begin gently or ring "+
			"into each other, so take that as a rough value.", *p.SpreadMS, p.Notes)
	}
	return fmt.Sprintf("Timing: notes lie about %.0f ms round the beats (%d notes).", *p.SpreadMS, p.Notes)
}

// count1 returns a number of things.
func count1(n int, thing string) string {
	if n == 1 {
		return "one " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

// widest names up to four measures that stand out.
func (p Playing) widest() string {
	if p.SpreadMS == nil || p.Soft {
		return ""
	}
	type measure struct {
		number int
		off    float64
	}
	var out []measure
	for k, off := range p.Measures {
		if off >= heatSteps[1] && off > 1.7**p.SpreadMS {
			out = append(out, measure{k + 1, off})
		}
	}
	slices.SortFunc(out, func(a, b measure) int { return cmp.Or(cmp.Compare(b.off, a.off), a.number-b.number) })
	out = out[:min(len(out), 4)]
	slices.SortFunc(out, func(a, b measure) int { return a.number - b.number })
	var names []string
	for _, m := range out {
		names = append(names, strconv.Itoa(m.number))
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return "A place to listen to together: measure " + names[0] + "."
	}
	return "Places to listen to together: measures " + strings.Join(names[:len(names)-1], ", ") + " and " +
		names[len(names)-1] + "."
}

// tuning returns a sentence about how a take is tuned against a pitch.
func (p Playing) tuning(hz float64) string {
	if p.Cents == nil {
		return "Tuning: too few steady tones to say anything."
	}
	against := fmt.Sprintf("A = %s Hz", strconv.FormatFloat(hz, 'f', -1, 64))
	where := "sits on " + against
	switch c := math.Round(*p.Cents); {
	case c >= 1:
		where = fmt.Sprintf("sits %.0f cents above %s", c, against)
	case c <= -1:
		where = fmt.Sprintf("sits %.0f cents below %s", -c, against)
	}
	by := "the nearest notes of the scale"
	if p.Score {
		by = "the notes of the score"
	}
	text := fmt.Sprintf("Tuning: %s", where)
	switch {
	case p.CentsOff == nil:
	case *p.CentsOff < 1:
		text += ", single tones within a cent of that"
	default:
		text += fmt.Sprintf(", single tones about %.0f cents round that", *p.CentsOff)
	}
	return fmt.Sprintf("%s (%s against %s).", text, count1(p.Tones, "steady tone"), by)
}

// words returns a gap as a question.
func (g Gap) words() string {
	why := map[string]string{
		"score": "where the score has notes", "part": "where the same part sounds in other takes",
		"others": "where all others sound",
	}[g.Why]
	return fmt.Sprintf("Entries: nothing is heard in %s, %s. Perhaps a rest; worth a listen.", measures(g.From, g.To),
		why)
}
