package report

import (
	"encoding/base64"
	"encoding/json"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"

	"ripieno/assemble/report/phrase"
)

// Handout is the page for a conductor: the film inside it, and a way to say something
// about it that is saved as a small file.
type Handout struct {
	Words                     *phrase.Book // of the page; nil is English
	Title, Composer, Ensemble string
	Film                      []byte // MP4; H.264 and AAC
	FilmName, Hash            string // of the film that it was made of
	AtZero                    float64
	Beats                     []BeatAt // of the piece, in order
	End                       float64  // guide time of the last measure's end
	Players                   []Addressee
	Said                      []Said // what was said before and is open
}

// BeatAt is a beat on guide time.
type BeatAt struct {
	At              float64
	Measure, Number int
}

// Addressee is whom a remark can be for.
type Addressee struct{ Take, Name, Part string }

// Who returns how a player is called: by name, by part where the name is not shown.
func (p Addressee) Who() string {
	for _, s := range []string{p.Name, p.Part} {
		if s != "" {
			return s
		}
	}
	return p.Take
}

// handoutView is a handout in words, ready for the page.
type handoutView struct {
	Handout
	words *phrase.Book
	title string // as the manifest has it, by which a file that comes back is told
}

// Lang returns the language of the page, for its lang attribute.
func (v handoutView) Lang() string { return v.words.Language }

// Say returns a sentence of the page.
func (v handoutView) Say(key string, pairs ...string) string { return v.words.Say(key, pairs...) }

// Data returns the film as text that a page can hold: of letters, digits, +, / and =.
func (v handoutView) Data() template.HTML {
	return template.HTML(base64.StdEncoding.EncodeToString(v.Film))
}

// Facts returns what the script of the page needs to know, as JSON for an attribute.
func (v handoutView) Facts() (string, error) {
	beats := make([][3]float64, len(v.Beats)) // short, since there are thousands
	for i, b := range v.Beats {
		beats[i] = [3]float64{b.At, float64(b.Measure), float64(b.Number)}
	}
	words := map[string]string{}
	for _, key := range []string{"handout.place", "handout.count-in", "handout.guide-time", "handout.for-all",
		"handout.for",
		"handout.go", "handout.take-away", "handout.added", "handout.saved", "handout.nothing", "handout.no-name",
		"handout.no-play", "handout.taken-away"} {
		words[key] = v.Say(key)
	}
	data, err := json.Marshal(map[string]any{"beats": beats, "end": v.End, "zero": v.AtZero, "title": v.title,
		"film": v.FilmName, "sha256": v.Hash, "words": words, "decimal": v.Say("decimal")})
	return string(data), err
}

// Remarks returns what was said before, in words.
func (v handoutView) Remarks() []saidView { return sayRemarks(v.words, v.Said) }

var handoutPage = sync.OnceValue(func() *template.Template {
	return page("handout.html", "handout.css", "handout.js")
})

// WriteHandout writes the page. The same handout gives the same bytes.
func WriteHandout(w io.Writer, h Handout) error {
	words := h.Words
	if words == nil {
		words = phrase.Of(phrase.Default)
	}
	title := h.Title
	h.Title, h.Composer, h.Ensemble = words.Typeset(h.Title), words.Typeset(h.Composer), words.Typeset(h.Ensemble)
	return handoutPage().Execute(w, handoutView{h, words, title})
}

// Said is a remark on the film.
type Said struct {
	ID, Place      string
	At             float64 // guide time
	Take, For      string  // "" for all; For is the player's name
	By, Text       string
	Settled, Older bool // Older: said of an earlier cut
}

// Approved is somebody's word that a film is good; Current says that the film is the
// same still.
type Approved struct {
	By, Film string
	Current  bool
}

// saidView is a remark in words.
type saidView struct {
	Said
	Where, Whom string
	Film        string // seconds of the film, for a link
}

// sayRemarks returns remarks in words.
func sayRemarks(w *phrase.Book, list []Said) []saidView {
	var out []saidView
	for _, s := range list {
		v := saidView{Said: s, Where: placeWords(w, s.Place), Whom: w.Say("handout.for-all")}
		if s.Take != "" {
			who := s.For
			if who == "" {
				who = s.Take
			}
			v.Whom = w.Say("handout.for", "name", w.Typeset(who))
		}
		out = append(out, v)
	}
	return out
}

// placeWords returns a beat such as m12.3 in words.
func placeWords(w *phrase.Book, place string) string {
	measure, beat, ok := strings.Cut(strings.TrimPrefix(place, "m"), ".")
	if !ok {
		beat = "1"
	}
	if _, err := strconv.Atoi(measure); err != nil {
		return place
	}
	return w.Say("handout.place", "measure", measure, "beat", beat)
}

// said returns the remarks that choose takes, in words, with their moments of the film
// when there is one.
func (r Review) said(w *phrase.Book, choose func(Said) bool) []saidView {
	list := sayRemarks(w, slices.DeleteFunc(slices.Clone(r.Remarks), func(s Said) bool { return !choose(s) }))
	for i := range list {
		if r.Film != nil {
			list[i].Film = strconv.FormatFloat(max(0, list[i].At-r.Film.AtZero), 'f', 3, 64)
		}
	}
	return list
}
