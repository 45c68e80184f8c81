package report

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"ripieno/assemble/report/phrase"
	"ripieno/mix/align"
)

// reviewView is a review in words, ready for the page.
type reviewView struct {
	Review
	By    string
	Until string // the last day for takes, in words
	// Withdrawn says how many takes are not on the page; "" for none.
	Withdrawn string
	Counts    []count
	Ruling    string
	Marks     []mark
	Groups    []group
	All       []takeView
	Steps     []string // what the steps of the strip of timing mean
	Unsure    int      // how many takes need review
	Said      []saidView
}

// count says for the summary how many takes were judged alike: ok, worth a question, or to be
// recorded again.
type count struct {
	Level, Word string
	N           int
}

// group is a run of takes of one section.
type group struct {
	Section string
	Takes   []takeView
}

// takeView is one take in words.
type takeView struct {
	Reviewed
	Seat     int
	Status   string // its level in words
	Brief    string // the worst finding, or how it stands
	Staff    staff
	StaffAlt string
	Thumb    template.URL
	Heard    []fileView
	Consent  string
	Mixed    []string // what the mix does to its sound by itself
	Play     []string
	Letter   string
	Language string     // of the letter
	Lines    int        // of the letter
	With     string     // the take with which the letter is, when it is not this one
	Said     []saidView // remarks that are for it
}

// placeView is where a file lies, and how it was found, in words.
type placeView struct {
	Place
	At, Drift, Sureness, How, Late, Exact string
	Choices                               []choiceView
}

// choiceView is a place that a person may accept, and the words that do it.
type choiceView struct {
	Number     int
	At, Accept string
	Evidence   []string
}

// fileView is what was measured of one file: where it lies and how loud it is,
// either of which may be missing.
type fileView struct {
	File  string
	Where *placeView
	Loud  *loudView
}

// loudView is how loud a file is, in words with their units.
type loudView struct{ LUFS, Peak, Back string }

// levels are those of takes, in the order of the page.
var levels = []string{LevelRedo, LevelAsk, LevelMissing, LevelOK}

// view returns the review as the page shows it: every number is words already, so that the
// template decides nothing.
func (r Review) view() reviewView {
	w := r.words()
	letters := make([]string, len(r.Takes)) // in languages of their own
	for i := range r.Takes {
		letters[i] = r.letter(i)
	}
	r = r.typeset(w)
	v := reviewView{Review: r, Ruling: r.ruling(), Marks: r.marks(), Until: r.due(w)}
	for _, level := range levels {
		v.Counts = append(v.Counts, count{level, w.Say("report." + level), 0})
	}
	if r.Composer != "" {
		v.By = w.Say("by", "composer", r.Composer)
	}
	v.Score = nil
	for _, text := range r.Score {
		v.Score = append(v.Score, w.Translate(text))
	}
	v.Guides = nil
	for _, g := range r.Guides {
		v.Guides = append(v.Guides, Notice{w.Translate(g.What), w.Translate(g.Hint)})
	}
	if r.Withheld > 0 {
		v.Withdrawn = w.Count("report.withheld", r.Withheld, "count", strconv.Itoa(r.Withheld))
	}
	v.Said = r.said(w, func(Said) bool { return true })
	last := "0"
	for _, limit := range heatSteps {
		next := w.Number(limit, 0)
		v.Steps = append(v.Steps, w.Say("report.step", "from", last, "to", next))
		last = next
	}
	v.Steps = append(v.Steps, w.Say("report.step-last", "from", last))
	for i, t := range r.Takes {
		for k := range v.Counts {
			if v.Counts[k].Level == t.Level {
				v.Counts[k].N++
			}
		}
		tv := r.take(i, letters[i])
		if t.Unsure() {
			v.Unsure++
		}
		v.All = append(v.All, tv)
		if n := len(v.Groups); n == 0 || v.Groups[n-1].Section != t.Section {
			v.Groups = append(v.Groups, group{Section: t.Section})
		}
		g := &v.Groups[len(v.Groups)-1]
		g.Takes = append(g.Takes, tv)
	}
	return v
}

// Who returns how a take is called on the page.
func (t takeView) Who() string {
	if t.Player != "" {
		return t.Player
	}
	return t.Name
}

// typeset returns the review with the words of people set as a language prints them.
func (r Review) typeset(w *phrase.Book) Review {
	r.Title, r.Composer, r.Ensemble = w.Typeset(r.Title), w.Typeset(r.Composer), w.Typeset(r.Ensemble)
	r.Takes = slices.Clone(r.Takes)
	for i := range r.Takes {
		t := &r.Takes[i]
		t.Player, t.Part, t.Section = w.Typeset(t.Player), w.Typeset(t.Part), w.Typeset(t.Section)
	}
	return r
}

// take returns a take in words, with the note to its player.
func (r Review) take(i int, letter string) takeView {
	t := r.Takes[i]
	w := r.words()
	v := takeView{Reviewed: t, Seat: i + 1, Status: w.Say("report." + t.Level), Staff: r.staff(t), Letter: letter,
		Language: r.wordsFor(t).Language, Said: r.said(w, func(s Said) bool { return s.Take == t.Name })}
	v.Lines = strings.Count(v.Letter, "\n") + 2
	if v.Letter == "" {
		k := slices.IndexFunc(r.Takes, func(o Reviewed) bool { return o.Player == t.Player })
		v.With = r.Takes[k].Name
	}
	if len(t.Picture) > 0 && t.Release != "no" && t.Release != "audio-only" {
		v.Thumb = template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(t.Picture))
	}
	if len(t.Findings) > 0 && t.Findings[0].Level != LevelOK {
		v.Brief = strings.TrimPrefix(t.Findings[0].What, w.Say("found.cue", "question", "")) // which its badge says
	}
	if key := releases[t.Release]; key != "" {
		v.Consent = w.Say(key)
	}
	for _, name := range t.Files {
		v.Heard = append(v.Heard, t.file(w, name))
	}
	v.Mixed = r.mixed(t)
	if t.Playing != nil && r.Playing {
		v.Play = r.playing(t)
	}
	v.StaffAlt = r.staffAlt(v)
	return v
}

// file returns what was measured of one of a take's files.
func (t Reviewed) file(w *phrase.Book, name string) fileView {
	v := fileView{File: name}
	for _, p := range t.Places {
		if p.File == name {
			name := t.Name
			if len(t.Places) > 1 {
				name += "/" + p.Role
			}
			where := p.view(w, name)
			v.Where = &where
		}
	}
	for _, l := range t.Levels {
		if l.File == name {
			v.Loud = &loudView{level(w, l.LUFS, "LUFS"), level(w, l.Peak, "dBFS"), level(w, l.Back, "dBFS")}
		}
	}
	return v
}

// level returns a level with its unit.
func level(w *phrase.Book, v *float64, unit string) string {
	if v == nil {
		return w.Say("report.silent")
	}
	return w.Figure(fmt.Sprintf("%.1f", *v)) + "\u00a0" + unit
}

// releases are the sentences about them.
var releases = map[string]string{
	"yes": "report.release-yes", "audio-only": "report.release-audio", "no": "report.release-no",
	"missing": "report.release-missing",
}

// methods are the words for all ways to place a recording.
var methods = map[align.Method]string{
	align.ByCue: "report.by-cue", align.ByPlaying: "report.by-playing", align.ByCuePlaying: "report.by-both",
	align.ByDevice: "report.by-device", align.ByCueGiven: "report.by-given-cue",
	align.ByOffset: "report.by-given-offset", align.NoMethod: "report.not-placed",
}

// view returns a place in words. take is how --accept calls the recording.
func (p Place) view(w *phrase.Book, take string) placeView {
	v := placeView{Place: p, At: w.Figure(fmt.Sprintf("%+.3f", p.Offset)) + "\u00a0s", Drift: w.Say("report.no-drift"),
		How: w.Say(methods[p.Method]), Late: w.Say("report.late-unknown")}
	if p.DriftPPM != 0 {
		v.Drift = w.Figure(fmt.Sprintf("%+.1f", p.DriftPPM)) + "\u00a0ppm"
	}
	v.Reason = w.Translate(p.Reason)
	v.Evidence = translateAll(w, p.Evidence)
	v.Sureness = w.Figure(strconv.FormatFloat(math.Floor(1000*p.Confidence)/10, 'f', 1, 64)) + "\u00a0%"
	if !p.Sure {
		v.Sureness = w.Say("report.unsure", "percent", v.Sureness)
		v.How = w.Say("report.placed-guess", "how", v.How)
		if p.Method == align.NoMethod {
			v.How = w.Say("report.placed-not-yet")
		}
	}
	if ms := 1000 * p.Uncertainty; ms > 0 && !math.IsInf(ms, 0) {
		v.Exact = w.Say("report.within", "ms", w.Number(math.Ceil(ms), 0))
	}
	for i, c := range p.choices() {
		key := "report.note-at"
		if c.ByCue {
			key = "report.clap-at"
		}
		v.Choices = append(v.Choices, choiceView{
			Number: i + 1, At: w.Say(key, "place", w.Translate(c.Seconds())),
			Accept: fmt.Sprintf("ripieno sync --accept %s=%d", take, i+1), Evidence: translateAll(w, c.Evidence),
		})
	}
	if p.LateMS != nil {
		v.Late = describeLateness(w, *p.LateMS)
	}
	return v
}

// translateAll returns sentences of the program in the language of the page.
func translateAll(w *phrase.Book, list []string) []string {
	out := make([]string, len(list))
	for i, e := range list {
		out[i] = w.Translate(e)
	}
	return out
}

// choices returns the places that a person may accept: all that sync found, where none
// is sure and the recording does not only follow another.
func (p Place) choices() []align.Candidate {
	if p.Sure || p.Method == align.ByDevice {
		return nil
	}
	return p.Candidates
}

// describeLateness returns a lateness in words.
func describeLateness(w *phrase.Book, ms float64) string {
	n := math.Round(math.Abs(ms))
	key := "report.late"
	switch {
	case n < 1:
		return w.Say("report.late-none")
	case ms < 0:
		key = "report.early"
	}
	return w.Say(key, "ms", w.Number(n, 0))
}

// staffAlt returns what the drawing shows.
func (r Review) staffAlt(t takeView) string {
	w := r.words()
	if t.Wave == nil {
		return w.Say("report.nothing-drawn")
	}
	text := w.Say("report.wave")
	if t.Guess {
		text = w.Say("report.wave-guess")
	}
	if n := r.soundingShare(t.Wave); n >= 0 {
		text += ", " + w.Say("report.wave-share", "percent", strconv.Itoa(n))
	}
	if t.Playing != nil && r.Playing {
		text += "; " + w.Say("report.wave-timing")
		if n := len(t.Playing.Missed); n > 0 {
			text += "; " + w.Say("report.wave-marked", "places", strings.Join(r.gaps(t.Playing.Missed), ", "))
		}
	}
	return text
}

// soundingShare returns the share of the music in which a take is heard, in per cent,
// −1 for none.
func (r Review) soundingShare(wave []float64) int {
	loud, all := 0, 0
	for i, v := range wave {
		at := r.Span[0] + (float64(i)+0.5)*(r.Span[1]-r.Span[0])/float64(len(wave))
		if at < r.Start || len(r.Bars) == 0 || at > r.Bars[len(r.Bars)-1] {
			continue
		}
		all++
		if v > 0.03 {
			loud++
		}
	}
	if all == 0 {
		return -1
	}
	return int(math.Round(100 * float64(loud) / float64(all)))
}

// gaps returns the runs of measures that were missed, in words.
func (r Review) gaps(missed []Gap) []string {
	var all []string
	for _, g := range missed {
		all = append(all, r.measures(g.From, g.To))
	}
	return all
}

// measures names the measures from one to another, or the only one.
func (r Review) measures(from, to int) string {
	if from == to {
		return r.words().Say("report.measure", "measure", r.name(from))
	}
	return r.words().Say("report.measures", "from", r.name(from), "to", r.name(to))
}

// name returns what a measure is called.
func (r Review) name(measure int) string {
	if measure >= 1 && measure <= len(r.Names) {
		return r.Names[measure-1]
	}
	return strconv.Itoa(measure)
}
