package report

import (
	"cmp"
	"slices"
	"strings"

	"ripieno/assemble/report/phrase"
)

// letter is a note to a player while it is written.
type letter struct {
	strings.Builder
	r Review
	w *phrase.Book // in the player's language
}

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
	l := &letter{r: r, w: r.wordsFor(r.Takes[i])}
	if player == "" {
		l.line("letter.hello")
	} else {
		l.line("letter.hello-name", "name", l.set(player))
	}
	l.WriteString("\n")
	// Nobody is thanked for what has not come.
	wait := true
	for _, t := range mine {
		wait = wait && t.Level == LevelMissing
	}
	if !wait {
		l.line("letter.thanks", "title", l.title())
		l.WriteString("\n")
	}
	for k, t := range mine {
		if k > 0 {
			l.WriteString("\n")
		}
		l.take(t, len(mine) > 1)
	}
	l.WriteString("\n")
	l.line("letter.bye")
	for _, name := range []string{r.From, r.Ensemble} {
		if name != "" {
			l.WriteString(l.set(name) + "\n")
		}
	}
	return l.String()
}

// Letter is the note to the player of a take; With names the take that has it where one
// player has several, and Text is empty then.
type Letter struct{ Text, With string }

// Letters returns the notes to the players of a review, take by take.
func Letters(r Review) []Letter {
	out := make([]Letter, len(r.Takes))
	for i, t := range r.Takes {
		if out[i].Text = r.letter(i); out[i].Text == "" {
			k := slices.IndexFunc(r.Takes, func(o Reviewed) bool { return o.Player == t.Player })
			out[i].With = r.Takes[k].Name
		}
	}
	return out
}

// line writes a sentence as a line of its own.
func (l *letter) line(key string, pairs ...string) { l.WriteString(l.w.Say(key, pairs...) + "\n") }

// take writes what there is to say of one take.
func (l *letter) take(t Reviewed, several bool) {
	what := l.w.Say("letter.recording")
	if part := l.set(t.Part); part != "" && (several || t.Level == LevelMissing) {
		what = l.w.Say("letter.recording-of", "part", part)
	}
	asks := requests(t)
	switch {
	case t.Level == LevelMissing:
		l.line("letter.missing", "recording", what, "title", l.title())
		l.deadline()
	case t.Level == LevelRedo:
		l.line("letter.redo", "recording", what)
		l.list(asks)
		l.deadline()
	case t.Release == "no":
		l.line("letter.withheld", "recording", what)
	case t.LeftOut || t.Partly:
		l.waiting(t, what, asks)
	case len(asks) > 0:
		l.line("letter.better", "recording", what)
		l.list(asks)
		l.WriteString("\n")
		l.line("letter.no-trouble")
	default:
		l.line("letter.fine", "recording", what)
	}
	l.remarks(t)
}

// remarks writes what was said of the film for a take's player and is open.
func (l *letter) remarks(t Reviewed) {
	var list []string
	for _, s := range sayRemarks(l.w, l.r.Remarks) {
		if s.Take == t.Name && !s.Settled {
			list = append(list, s.Where+": "+l.set(s.Text))
		}
	}
	if len(list) > 0 {
		l.WriteString("\n")
		l.line("letter.remarks")
		l.list(list)
	}
}

// waiting says of a take that it is not used, or not all of it, and never that it
// is: its place in the piece is still to be found.
func (l *letter) waiting(t Reviewed, what string, asks []string) {
	key := "letter.waiting"
	if t.Partly {
		key = "letter.waiting-partly"
	}
	text := l.w.Say(key, "recording", what)
	if len(asks) == 0 {
		l.WriteString(text + " " + l.w.Say("letter.nothing-now") + "\n")
		return
	}
	l.WriteString(text + " " + l.w.Say("letter.would-help") + "\n")
	l.list(asks)
}

// requests returns the questions of a take, each once, the worst first.
func requests(t Reviewed) []string {
	var all []string
	for _, f := range t.Findings {
		ask := cmp.Or(f.Request, f.Ask)
		if f.Level != LevelOK && ask != "" && !slices.Contains(all, ask) {
			all = append(all, ask)
		}
	}
	return all
}

// list writes lines with a dash before each, below an empty one.
func (l *letter) list(items []string) {
	l.WriteString("\n")
	for _, s := range items {
		l.WriteString("- " + oneLine(s) + "\n")
	}
}

// deadline writes where to and until when.
func (l *letter) deadline() {
	to, due := oneLine(l.r.SendTo), oneLine(l.r.due(l.w))
	switch {
	case to != "" && due != "":
		l.WriteString("\n")
		l.line("letter.send-by", "to", to, "due", due)
	case to != "":
		l.WriteString("\n")
		l.line("letter.send", "to", to)
	case due != "":
		l.WriteString("\n")
		l.line("letter.due", "due", due)
	}
}

// title returns the title in the middle of a sentence.
func (l *letter) title() string {
	if title := l.set(l.r.Title); title != "" {
		return l.w.Quote(title)
	}
	return l.w.Say("letter.piece")
}

// set returns a text of a person on one line, as the letter's language prints it.
func (l *letter) set(text string) string { return l.w.Typeset(oneLine(text)) }

// oneLine keeps a text from beginning a line of its own in a letter. Spaces at
// which no line breaks stay.
func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return r != '\u00a0' && r != '\u202f' && strings.ContainsRune(" \t\n\v\f\r\u0085\u2028\u2029", r)
	}), " ")
}
