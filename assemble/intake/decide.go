package intake

import "ripieno/assemble/report/phrase"

// Decide returns findings as a person wants them taken, worst first: none asks for more
// than the level that was decided, and where none asks for as much, one that says so
// comes before them.
func Decide(level Level, findings []Finding) []Finding {
	out := make([]Finding, 0, len(findings)+1)
	if Worst(findings) < level {
		said := phrase.New("found.by-hand-" + level.String())
		out = append(out, Finding{Code: ByHand, Level: level, Sure: 1, What: said.Plain(), Said: said,
			Ask: question(ByHand).Plain()})
	}
	for _, f := range findings {
		if f.Level = min(f.Level, level); f.Level == OK {
			f.Ask = ""
		}
		out = append(out, f)
	}
	return out
}
