package report

import (
	"html/template"
	"io"
	"sync"

	"ripieno/assemble/report/phrase"
	"ripieno/mix/tempo"
)

// Sheet is what a call sheet says. Empty texts are left out of the page.
type Sheet struct {
	Words    *phrase.Book
	Title    string
	Composer string
	Ensemble string
	Player   *Player  // whose sheet it is; nil for everybody
	Roll     []Player // who plays, on the sheet for everybody
	Guide    Guide
	Due      string // in words
	SendTo   string // an address on the web or of mail becomes a link
	Contact  string
	Notes    string // paragraphs are parted by empty lines
}

// Player is one part of the production.
type Player struct {
	Name, Part string
	File       string // what to call the recording, without an ending
	Guide      string // name of its guide's files, without an ending
}

// Guide is what the player hears.
type Guide struct {
	File       string     // name without an ending
	Tempo      *tempo.Map // of this guide
	Piece      *tempo.Map // of the whole piece; the same when the guide plays all of it
	First      int        // measure of the piece that the guide's measure 1 is
	Own        bool       // it is not the one all play to
	Others     bool       // other parts are heard in it
	Conducted  bool       // there is a film of it in which somebody conducts
	Subdivided bool
	CountTones bool
	PitchHz    float64
	Tail       float64  // seconds after the last measure
	Tuning     []string // notes before the count-in, in order
	Drones     []Tone
}

// Tone is a drone that begins at a measure.
type Tone struct {
	Note    string // "D3"
	Fifth   bool
	Measure int  // of the piece
	CountIn bool // it begins with the guide
}

var callSheetPage = sync.OnceValue(func() *template.Template { return page("callsheet.html") })

// CallSheet writes a sheet as one page. It fails when w does.
func CallSheet(w io.Writer, s Sheet) error {
	return callSheetPage().Execute(w, s.typeset().view())
}

// typeset returns the sheet with the words of people set as the language prints them.
// Names of files and addresses stay as they are typed.
func (s Sheet) typeset() Sheet {
	set := s.Words.Typeset
	s.Title, s.Composer, s.Ensemble, s.Notes = set(s.Title), set(s.Composer), set(s.Ensemble), set(s.Notes)
	if s.Player != nil {
		own := s.Player.typeset(s.Words)
		s.Player = &own
	}
	roll := make([]Player, len(s.Roll))
	for i, p := range s.Roll {
		roll[i] = p.typeset(s.Words)
	}
	s.Roll = roll
	return s
}

// typeset returns the player with name and part set as a language prints them.
func (p Player) typeset(w *phrase.Book) Player {
	p.Name, p.Part = w.Typeset(p.Name), w.Typeset(p.Part)
	return p
}
