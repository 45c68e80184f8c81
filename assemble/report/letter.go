package report

import (
	"fmt"
	"slices"
	"strings"
)

// letter returns the note to the player of take i, for an e-mail: what to ask for
// and thanks, in plain text. Somebody who plays several takes gets one note,
// with the first of them. Timing and tuning are left to the conductor.
func (r Review) letter(i int) string {
	player := r.Takes[i].Player
	var mine []Reviewed
	for k, t := range r.Takes {
		same := k == i || player != "" && t.Player == player
		if same && k < i {
			return ""
		}
		if same {
			mine = append(mine, t)
		}
	}
	var b strings.Builder
	if player == "" {
		b.WriteString("Hello,\n\n")
	} else {
		fmt.Fprintf(&b, "Hello %s,\n\n", oneLine(player))
	}
	wait := true
	for _, t := range mine {
		wait = wait && t.Level == LevelMissing
	}
	if !wait {
		fmt.Fprintf(&b, "thank you very much for recording %s!\n\n", quoteTitle(r.Title))
	}
	for k, t := range mine {
		if k > 0 {
			b.WriteString("\n")
		}
		r.paragraph(&b, t, len(mine) > 1)
	}
	b.WriteString("\nThank you for playing along")
	if r.From != "" {
		fmt.Fprintf(&b, "\n%s", oneLine(r.From))
	}
	if r.Ensemble != "" {
		fmt.Fprintf(&b, "\n%s", oneLine(r.Ensemble))
	}
	return b.String() + "\n"
}

// paragraph writes what there is to say of one take.
func (r Review) paragraph(b *strings.Builder, t Reviewed, several bool) {
	what := "Your recording"
	if several || t.Level == LevelMissing {
		if part := oneLine(t.Part); part != "" {
			what = "Your recording of " + part
		}
	}
	asks := requests(t)
	switch {
	case t.Level == LevelMissing:
		fmt.Fprintf(b, "%s for %s is not in yet, and your place is kept. When may we expect it?\n", what,
			quoteTitle(r.Title))
		r.writeDeadline(b)
	case t.Level == LevelRedo:
		fmt.Fprintf(b, "%s has come, but we cannot use it as it is. It is nothing about your playing:\n\n", what)
		list(b, asks)
		r.writeDeadline(b)
	case t.Release == "no":
		fmt.Fprintf(b, "%s is in. As you wished, nothing of it is published. There is nothing left to do for you.\n", what)
	case t.LeftOut || t.Partly:
		t.waiting(b, what, asks)
	case len(asks) > 0:
		fmt.Fprintf(b, "%s is in and we can use it. It would become even better with a small thing:\n\n", what)
		list(b, asks)
		b.WriteString("\nIf that is no trouble. If it is, we gladly take what we have.\n")
	default:
		fmt.Fprintf(b, "%s is in and everything is fine. There is nothing left to do for you.\n", what)
	}
}

// waiting says of a take that it is not used, or not all of it, and never that it
// is: its place in the piece is still to be found.
func (t Reviewed) waiting(b *strings.Builder, what string, asks []string) {
	yet := "is not in the film yet"
	if t.Partly {
		yet = "is only partly in the film yet"
	}
	fmt.Fprintf(b, "%s has arrived. It %s, because we still have to find its exact place in the piece."+
		" It is nothing about your playing.", what, yet)
	if len(asks) == 0 {
		b.WriteString(" There is nothing to do for you at the moment.\n")
		return
	}
	b.WriteString(" This would help us:\n\n")
	list(b, asks)
}

// requests returns the questions of a take, each once, the worst first.
func requests(t Reviewed) []string {
	var all []string
	for _, f := range t.Findings {
		if f.Level != LevelOK && f.Ask != "" && !slices.Contains(all, f.Ask) {
			all = append(all, f.Ask)
		}
	}
	return all
}

// list writes lines with a dash before each.
func list(b *strings.Builder, items []string) {
	for _, s := range items {
		fmt.Fprintf(b, "- %s\n", oneLine(s))
	}
}

// writeDeadline writes where to and until when.
func (r Review) writeDeadline(b *strings.Builder) {
	switch {
	case r.SendTo != "" && r.Due != "":
		fmt.Fprintf(b, "\nPlease send it to %s, by %s.\n", oneLine(r.SendTo), oneLine(r.Due))
	case r.SendTo != "":
		fmt.Fprintf(b, "\nPlease send it to %s.\n", oneLine(r.SendTo))
	case r.Due != "":
		fmt.Fprintf(b, "\nWe hope for it by %s.\n", oneLine(r.Due))
	}
}

// quoteTitle returns a title in the middle of a sentence.
func quoteTitle(title string) string {
	if title = oneLine(title); title == "" {
		return "our piece"
	}
	return "“" + title + "”"
}

// oneLine keeps a text from beginning a line of its own in a letter.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
