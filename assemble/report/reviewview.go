package report

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripieno/mix/align"
)

// reviewView is a review in words, ready for the page.
type reviewView struct {
	Review
	By     string
	Counts []count
	Ruling string
	Marks  []mark
	Groups []group
	All    []takeView
	Steps  []string // what the steps of the strip of timing mean
	Unsure int      // how many takes need review
}

// count is how many takes have a level.
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
	Play     []string
	Letter   string
	Lines    int    // of the letter
	With     string // the take with which the letter is, when it is not this one
}

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

type loudView struct{ LUFS, Peak, Back string }

// words of the levels, in the order of the page.
var levelWords = []count{
	{LevelRedo, "record again", 0}, {LevelAsk, "ask", 0}, {LevelMissing, "missing", 0}, {LevelOK, "ok", 0},
}

// levelWord returns the word for a level on the page.
func levelWord(level string) string {
	for _, c := range levelWords {
		if c.Level == level {
			return c.Word
		}
	}
	return level
}

func (r Review) view() reviewView {
	v := reviewView{Review: r, Ruling: r.ruling(), Marks: r.marks(), Counts: slices.Clone(levelWords)}
	if r.Composer != "" {
		v.By = "by " + r.Composer
	}
	last := 0.0
	for _, limit := range heatSteps {
		v.Steps = append(v.Steps, fmt.Sprintf("%.0f to %.0f ms", last, limit))
		last = limit
	}
	v.Steps = append(v.Steps, fmt.Sprintf("%.0f ms and more", last))
	for i, t := range r.Takes {
		for k := range v.Counts {
			if v.Counts[k].Level == t.Level {
				v.Counts[k].N++
			}
		}
		tv := r.take(i)
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

func (r Review) take(i int) takeView {
	t := r.Takes[i]
	t.Findings = slices.Clone(t.Findings)
	for k := range t.Findings {
		t.Findings[k].What = withMinusSigns(t.Findings[k].What)
	}
	v := takeView{Reviewed: t, Seat: i + 1, Status: levelWord(t.Level), Staff: r.staff(t), Letter: r.letter(i)}
	v.Lines = strings.Count(v.Letter, "\n") + 2
	if v.Letter == "" {
		k := slices.IndexFunc(r.Takes, func(o Reviewed) bool { return o.Player == t.Player })
		v.With = r.Takes[k].Name
	}
	if len(t.Picture) > 0 && t.Release != "no" && t.Release != "audio-only" {
		v.Thumb = template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(t.Picture))
	}
	if len(t.Findings) > 0 && t.Findings[0].Level != LevelOK {
		v.Brief = strings.TrimPrefix(t.Findings[0].What, "needs review: ") // which its badge says
	}
	v.Consent = releases[t.Release]
	for _, name := range t.Files {
		v.Heard = append(v.Heard, t.file(name))
	}
	if t.Playing != nil && r.Playing {
		v.Play = r.playing(t)
	}
	v.StaffAlt = r.staffAlt(v)
	return v
}

// file returns what was measured of one of a take's files.
func (t Reviewed) file(name string) fileView {
	v := fileView{File: name}
	for _, p := range t.Places {
		if p.File == name {
			name := t.Name
			if len(t.Places) > 1 {
				name += "/" + p.Role
			}
			where := p.view(name)
			v.Where = &where
		}
	}
	for _, l := range t.Levels {
		if l.File == name {
			v.Loud = &loudView{level(l.LUFS, "LUFS"), level(l.Peak, "dBFS"), level(l.Back, "dBFS")}
		}
	}
	return v
}

func level(v *float64, unit string) string {
	if v == nil {
		return "silent"
	}
	return withMinusSigns(fmt.Sprintf("%.1f %s", *v, unit))
}

// releases in words.
var releases = map[string]string{
	"yes": "Picture and sound may be published.", "audio-only": "Only the sound may be published.",
	"no":      "Nothing of it may be published.",
	"missing": "There is no release yet. Ask before anything is published.",
}

// methods are all ways to place a recording, in words.
var methods = map[align.Method]string{
	align.ByCue: "by the clap", align.ByPlaying: "by the playing", align.ByCuePlaying: "by clap and playing",
	align.ByDevice:   "by the player's other device",
	align.ByCueGiven: "by the clap you gave", align.ByOffset: "by the offset you gave", align.NoMethod: "not placed",
}

// view returns a place in words. take is how --accept calls the recording.
func (p Place) view(take string) placeView {
	v := placeView{Place: p, At: withMinusSigns(fmt.Sprintf("%+.3f s", p.Offset)), Drift: "none found", How: methods[p.Method],
		Late: "not known"}
	if p.DriftPPM != 0 {
		v.Drift = withMinusSigns(fmt.Sprintf("%+.1f ppm", p.DriftPPM))
	}
	v.Evidence = make([]string, len(p.Evidence))
	for i, e := range p.Evidence {
		v.Evidence[i] = withMinusSigns(e)
	}
	v.Sureness = strconv.FormatFloat(math.Floor(1000*p.Confidence)/10, 'f', 1, 64) + " %"
	if !p.Sure {
		v.Sureness += ", which is not sure enough"
		v.How = "not yet; a guess " + v.How
		if p.Method == align.NoMethod {
			v.How = "not yet"
		}
	}
	if ms := 1000 * p.Uncertainty; ms > 0 && !math.IsInf(ms, 0) {
		v.Exact = fmt.Sprintf("within about %.0f ms", math.Ceil(ms))
	}
	for i, c := range p.choices() {
		accept := fmt.Sprintf("ripieno sync --accept %s=%d", take, i+1)
		one := choiceView{Number: i + 1, At: fmt.Sprintf("%s at %s", c.By(), c.Seconds()), Accept: accept}
		for _, e := range c.Evidence {
			one.Evidence = append(one.Evidence, withMinusSigns(e))
		}
		v.Choices = append(v.Choices, one)
	}
	if p.LateMS != nil {
		v.Late = describeLateness(*p.LateMS)
	}
	return v
}

// choices are the places that a person may accept: all that sync found, where none
// is sure and the recording does not only follow another.
func (p Place) choices() []align.Candidate {
	if p.Sure || p.Method == align.ByDevice {
		return nil
	}
	return p.Candidates
}

var negative = regexp.MustCompile(`(^|[ (])-([0-9])`)

// withMinusSigns gives numbers the sign for less than nothing, which does not part from
// its number at the end of a line as a hyphen does.
func withMinusSigns(text string) string { return negative.ReplaceAllString(text, "${1}−${2}") }

// describeLateness returns a lateness in words.
func describeLateness(ms float64) string {
	switch n := math.Round(math.Abs(ms)); {
	case n < 1:
		return "as one"
	case ms > 0:
		return fmt.Sprintf("%.0f ms after the clap", n)
	default:
		return fmt.Sprintf("%.0f ms before the clap", n)
	}
}

// staffAlt returns what the drawing shows.
func (r Review) staffAlt(t takeView) string {
	if t.Wave == nil {
		return "Nothing to draw yet"
	}
	text := "Loudness over the piece"
	if t.Guess {
		text = "A guess, at the likeliest place: loudness over the piece"
	}
	if n := r.soundingShare(t.Wave); n >= 0 {
		text += fmt.Sprintf(", sound in %d %% of the music", n)
	}
	if t.Playing != nil && r.Playing {
		text += "; timing measure by measure"
		if n := len(t.Playing.Missed); n > 0 {
			text += "; marked: " + strings.Join(gaps(t.Playing.Missed), ", ")
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

func gaps(missed []Gap) []string {
	var all []string
	for _, g := range missed {
		all = append(all, measures(g.From, g.To))
	}
	return all
}

// measures names a run of them.
func measures(from, to int) string {
	if from == to {
		return fmt.Sprintf("measure %d", from)
	}
	return fmt.Sprintf("measures %d to %d", from, to)
}
