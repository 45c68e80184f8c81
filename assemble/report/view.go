package report

import (
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
)

// view is a sheet in words, ready for the page.
type view struct {
	Sheet
	Lang      string
	By        string
	Facts     []fact
	Plates    []plate
	Bars      []bar
	CountAlt  string // what the drawing of the count-in shows
	Hear      []string
	Tempo     []tempoRow
	MoreTempo bool
	Picture   []string
	Sound     []string
	Steps     []string
	Send      []string
	Notes     [][]string // paragraphs of lines
}

// fact is a label with a text, which may be a link.
type fact struct{ Label, Text, Link string }

// plate is a moment in large letters; Kind is its colour.
type plate struct{ Kind, Label, Big, Small string }

// Say gives the page a sentence without places to fill in.
func (v view) Say(key string) string { return v.Words.Say(key) }

// cue is where all clap. There is none without a count-in.
type cue struct {
	measure, beat string
	seconds       string
	at            float64
}

// view returns the call sheet as the page shows it, in the player's language.
func (s Sheet) view() view {
	v := view{Sheet: s, Lang: s.Words.Language, Notes: paragraphs(s.Notes)}
	say := s.Words.Say
	if s.Composer != "" {
		v.By = say("by", "composer", s.Composer)
	}
	c, clap := s.cue()
	begin := s.moment(s.Guide.Tempo.Start())
	v.Facts = s.facts()
	v.Plates = s.plates(c, clap, begin)
	if clap {
		v.CountAlt = say("clap-when", "beat", c.beat, "measure", c.measure, "seconds", c.seconds)
		v.Bars = s.bars()
	}
	v.Hear = s.hear(v.CountAlt, begin)
	v.Tempo, v.MoreTempo = s.tempo()
	for _, key := range []string{"landscape", "frame", "light", "background"} {
		v.Picture = append(v.Picture, say(key))
	}
	for _, key := range []string{"headphones", "room", "distance", "effects", "level"} {
		v.Sound = append(v.Sound, say(key))
	}
	v.Steps = append(v.Steps, say("step-start"))
	if clap {
		v.Steps = append(v.Steps,
			say("step-clap", "beat", c.beat, "measure", c.measure, "seconds", c.seconds),
			say("step-quiet", "time", begin))
	}
	v.Steps = append(v.Steps, say("step-play"),
		say("step-hold", "tail", s.Words.Number(math.Floor(s.Guide.Tail), 0)), say("step-check"))
	v.Send = s.send()
	return v
}

// cue finds the beat on which all clap.
func (s Sheet) cue() (cue, bool) {
	for b := range s.Guide.Tempo.Beats() {
		if !b.CountIn {
			break
		}
		if b.Cue {
			return cue{strconv.Itoa(b.Measure), strconv.Itoa(b.Number), s.Words.Number(b.Seconds, 2), b.Seconds}, true
		}
	}
	return cue{}, false
}

// moment returns a time in the guide: seconds, and from a minute on m:ss.
func (s Sheet) moment(seconds float64) string {
	if seconds < 60 {
		return s.Words.Say("seconds", "seconds", s.Words.Number(seconds, 2))
	}
	minutes := math.Floor(seconds / 60)
	rest := s.Words.Number(seconds-60*minutes, 1)
	if len(rest) == 1 || rest[1] < '0' || rest[1] > '9' {
		rest = "0" + rest
	}
	return strconv.Itoa(int(minutes)) + ":" + rest
}

// length returns how long the guide lasts.
func (s Sheet) length() string { return s.Words.Clock(s.Guide.Tempo.End() + s.Guide.Tail) }

// facts returns what a player looks up again and again.
func (s Sheet) facts() []fact {
	say := s.Words.Say
	file := s.fileName()
	all := []fact{{Label: say("play-to"), Text: s.Guide.File + ".mp3"}, {Label: say("file-name"), Text: file}}
	for _, f := range []fact{{"due", s.Due, ""}, {"send-to", s.SendTo, link(s.SendTo)},
		{"contact", s.Contact, link(s.Contact)}} {
		if f.Text != "" {
			f.Label = say(f.Label)
			all = append(all, f)
		}
	}
	return all
}

// fileName returns what to call the recording.
func (s Sheet) fileName() string {
	switch {
	case s.Player != nil:
		return s.Player.File
	case len(s.Roll) > 0:
		return s.Words.Say("own-file")
	}
	return s.Words.Say("any-file")
}

// plates returns what a player must not miss: when to clap, when to play, when it
// is over.
func (s Sheet) plates(c cue, clap bool, begin string) []plate {
	say := s.Words.Say
	var all []plate
	if clap {
		all = append(all, plate{"cue", say("clap-plate"), s.moment(c.at),
			say("clap-place", "measure", c.measure, "beat", c.beat)})
	}
	place := say("begin-place", "measure", strconv.Itoa(s.Guide.First))
	if s.pickUp() {
		place = say("begin-pick-up")
	}
	return append(all, plate{"play", say("begin-plate"), begin, place},
		plate{"", say("end-plate"), s.length(), say("end-place")})
}

// pickUp reports whether the guide begins with the piece's pick-up.
func (s Sheet) pickUp() bool { return s.Guide.Tempo.Spec().PickUp > 0 }

// hear returns in sentences what the guide plays.
func (s Sheet) hear(clap, begin string) []string {
	say, g := s.Words.Say, s.Guide
	first := []string{say("guide-file", "mp3", g.File+".mp3", "wav", g.File+".wav", "length", s.length())}
	if g.Tempo != g.Piece {
		last := g.First + g.Tempo.Measures() - 1
		first = append(first, say("guide-part", "from", strconv.Itoa(g.First), "to", strconv.Itoa(last)))
	} else if g.Own {
		first = append(first, say("guide-own"))
	}
	if g.Others {
		first = append(first, say("guide-others"))
	}
	if g.Conducted {
		first = append(first, say("guide-film", "film", g.File+".mp4"))
	}
	var second []string
	if len(g.Tuning) > 0 {
		var notes []string
		for _, n := range g.Tuning {
			notes = append(notes, s.Words.Note(n))
		}
		second = append(second, say("tuning-notes", "notes", strings.Join(notes, ", ")))
	}
	if n := g.Tempo.Spec().CountIn.Measures; n > 0 {
		meter := g.Tempo.Meter(1)
		second = append(second, s.Words.Count("count-in", n,
			"measures", strconv.Itoa(n), "meter", meter.String(), "beats", strconv.Itoa(meter.Beats())), clap)
	} else {
		second = append(second, say("no-count-in"))
	}
	if s.pickUp() {
		second = append(second, say("starts-pick-up", "time", begin))
	} else {
		second = append(second, say("starts", "measure", strconv.Itoa(g.First), "time", begin))
	}
	if g.CountTones && clap != "" {
		second = append(second, say("count-tones"))
	}
	if g.Subdivided {
		second = append(second, say("subdivisions"))
	}
	return []string{strings.Join(first, " "), strings.Join(second, " "), s.tuning()}
}

// tuning returns the sentence that says to which note and pitch, in hertz, players tune.
func (s Sheet) tuning() string {
	hz := s.Words.Number(s.Guide.PitchHz, 2)
	var tones []string
	for _, t := range s.Guide.Drones {
		note := s.Words.Note(t.Note)
		if t.Fifth {
			note = s.Words.Say("with-fifth", "note", note)
		}
		if t.CountIn {
			tones = append(tones, s.Words.Say("drone-count-in", "note", note))
		} else {
			tones = append(tones, s.Words.Say("drone", "note", note, "measure", strconv.Itoa(t.Measure)))
		}
	}
	if len(tones) == 0 {
		return s.Words.Say("pitch", "hz", hz)
	}
	return s.Words.Say("pitch-drone", "hz", hz, "drones", strings.Join(tones, ", "))
}

// send returns what to do with the recording.
func (s Sheet) send() []string {
	say := s.Words.Say
	all := []string{say("name-file", "file", s.fileName()), say("original")}
	switch {
	case s.SendTo != "" && s.Due != "":
		all = append(all, say("send-by", "to", s.SendTo, "due", s.Due))
	case s.SendTo != "":
		all = append(all, say("send", "to", s.SendTo))
	case s.Due != "":
		all = append(all, say("send-due", "due", s.Due), say("send-ask"))
	default:
		all = append(all, say("send-ask"))
	}
	return append(all, say("no-worry"))
}

// mailForm is one address of mail and nothing else.
var mailForm = regexp.MustCompile(`^[^\s@<>,;?&"]+@[^\s@<>,;?&"]+\.[^\s@<>,;?&"]+$`)

// link returns the address behind a text that is one, else "".
func link(text string) string {
	if mailForm.MatchString(text) {
		return "mailto:" + text
	}
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || strings.ContainsAny(text, " \n") {
		return ""
	}
	return text
}

// paragraphs parts a text at empty lines.
func paragraphs(text string) [][]string {
	var all [][]string
	for _, p := range strings.Split(strings.ReplaceAll(strings.TrimSpace(text), "\r\n", "\n"), "\n\n") {
		if p = strings.TrimSpace(p); p != "" {
			all = append(all, strings.Split(p, "\n"))
		}
	}
	return all
}
