package audition

import (
	"context"
	"net/url"
	"slices"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
)

// Judging is what was found of all takes, to be heard, seen and decided.
type Judging struct {
	Takes []JudgedTake `json:"takes"` // in the order of the manifest

	Sounds
	placing *Placing // its pictures
}

// JudgedTake is a take with what was found of it.
type JudgedTake struct {
	Take     string             `json:"take"`
	Player   string             `json:"player"`
	Part     string             `json:"part"`
	Section  string             `json:"section"`
	Level    string             `json:"level"`   // ok, ask, redo or missing
	Verdict  production.Verdict `json:"verdict"` // the person's own word; "" for none
	Release  string             `json:"release"`
	Picture  bool               `json:"picture"`
	Findings []Found            `json:"findings"` // worst first
	Letter   string             `json:"letter"`   // to the player; "" where another take has it
	With     string             `json:"with"`     // that take
	Mail     string             `json:"mail"`     // an address that opens the mail program; "" without one
}

// Found is a finding and where it is heard and seen.
type Found struct {
	Level string  `json:"level"`
	Sure  float64 `json:"sure"`
	File  string  `json:"file"`
	What  string  `json:"what"`
	Ask   string  `json:"ask"`
	At    float64 `json:"at"`    // seconds of the file
	Seen  float64 `json:"seen"`  // seconds of the picture's file
	Sound *Sound  `json:"sound"` // nil: nothing can be heard
}

// Placing returns what the pictures of the takes are taken by; nil of a nil judging.
func (j *Judging) Placing() *Placing {
	if j == nil {
		return nil
	}
	return j.placing
}

// Gather returns what takes the report that says what was found, and gathers what is to
// be heard and seen of the takes. What it returns must be called once, and fills j.
func (j *Judging) Gather(ctx context.Context, x *session.Session) func(report.Review, []takes.Judged,
	*takes.Set) error {
	return func(page report.Review, judged []takes.Judged, set *takes.Set) error {
		return j.gather(ctx, x, page, judged, set)
	}
}

// gather fills j. Takes of which nothing may be made are neither heard nor shown, and
// are not in the list.
func (j *Judging) gather(ctx context.Context, x *session.Session, page report.Review, judged []takes.Judged,
	set *takes.Set) error {
	j.Takes = []JudgedTake{}
	j.placing = &Placing{files: map[string]*takes.Recording{}}
	var edges []task.Edge
	for _, t := range set.Takes {
		for _, r := range t.Recordings() {
			if !t.IsWithheld() && !r.Sound.IsZero() {
				edges = append(edges, r.Sound)
			}
		}
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return err
	}
	letters := report.Letters(page)
	for i, t := range set.Takes {
		k := slices.IndexFunc(page.Takes, func(r report.Reviewed) bool { return r.Name == t.Name })
		if k < 0 {
			continue // withheld
		}
		one := JudgedTake{Take: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Level: page.Takes[k].Level,
			Verdict: t.Verdict, Release: t.Release.Word(), Findings: []Found{},
			Letter: letters[k].Text, With: letters[k].With}
		if t.Email != "" && one.Letter != "" {
			one.Mail = "mailto:" + url.PathEscape(t.Email) + "?subject=" + url.PathEscape(page.Title) + "&body=" +
				url.PathEscape(one.Letter)
		}
		if v := t.Video; v != nil && v.Err == nil && v.HasPicture() {
			j.placing.files[t.Name], one.Picture = v, true
		}
		for _, f := range judged[i].Findings {
			one.Findings = append(one.Findings, j.found(t, f, judged[i].Facts, res))
		}
		j.Takes = append(j.Takes, one)
	}
	return nil
}

// found returns a finding with where it is heard and seen. At is in the file that is
// heard and Seen in that of the picture: two devices of a player have two clocks. A
// sound that cannot be opened is left out; the finding is told anyway.
func (j *Judging) found(t takes.Take, f intake.Finding, facts intake.Facts, res task.Result) Found {
	one := Found{Level: f.Level.String(), Sure: f.Sure, File: f.File, What: f.What, Ask: f.Ask}
	r := t.Leading()
	for _, of := range t.Recordings() {
		if of.File.Path == f.File {
			r = of
		}
	}
	if r == nil || r.Err != nil {
		return one
	}
	for _, file := range facts.Files {
		if file.Name == r.File.Path {
			one.At = intake.PlaceOf(f.Code, file)
		}
	}
	one.Seen = one.At
	if v := t.Video; v != nil {
		one.Seen += pictureLead(v, r)
	}
	if r.Sound.IsZero() {
		return one
	}
	path, ok, err := r.Sound.Result(res)
	if err != nil || !ok {
		return one
	}
	if s, err := j.Open(path, true, r.Rate); err == nil {
		one.Sound = &s
	}
	return one
}
