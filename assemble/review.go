package assemble

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"

	"ripieno/assemble/intake"
	"ripieno/assemble/plan"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/playing"
	"ripieno/mix/tempo"
)

// ReviewOptions choose what the report says.
type ReviewOptions struct {
	NoPlaying bool // nothing about how takes were played, and nothing measured for it
}

// ReviewedTake is one take in the report.
type ReviewedTake struct {
	Name    string         `json:"name"`
	Player  string         `json:"player"`
	Level   string         `json:"level"`             // ok, ask, redo or missing
	Picture bool           `json:"picture"`           // the page shows a frame of it
	Playing *ReviewPlaying `json:"playing,omitempty"` // absent when it was not measured
}

// ReviewPlaying is how a take was played. Values that are not known are null.
type ReviewPlaying struct {
	LatenessMS *float64     `json:"lateness_ms"` // of the playing against the clap, positive late
	Notes      int          `json:"notes"`       // whose timing was used
	SpreadMS   *float64     `json:"spread_ms"`   // robust standard deviation about the take's own steady timing
	Soft       bool         `json:"soft"`        // notes begin too gradually for the spread to be exact
	Measures   []*float64   `json:"measures_ms"` // how far off the notes of each measure are, root of the mean square
	Cents      *float64     `json:"cents"`       // median of the tuning against the reference, positive sharp
	CentsOff   *float64     `json:"cents_spread"`
	Tones      int          `json:"tones"`        // steady ones
	Score      bool         `json:"score_tuning"` // against the notes of the score
	Missed     []MissedSpan `json:"missed"`
}

// MissedSpan is a run of measures without a sound where one is expected.
type MissedSpan struct {
	From int    `json:"from"`
	To   int    `json:"to"`
	Why  string `json:"why"` // score, part or others
}

// ReviewResult is what `report` wrote.
type ReviewResult struct {
	File   string         `json:"file"`
	Bytes  int            `json:"bytes"`
	Takes  []ReviewedTake `json:"takes"`
	Film   string         `json:"film,omitempty"` // the rough cut the page shows
	Tasks  TaskCount      `json:"tasks"`          // for the page, besides those of sync
	Faults []Bad          `json:"faults,omitempty"`
}

// The page, and the rough cut that it shows, both in the folder of outputs.
const (
	reviewName = "report.html"
	roughFile  = "rough.mp4"
)

// survey is everything that was measured for the page.
type survey struct {
	all      []located
	line     plan.Timeline
	heard    []*located // of each take, nil for none
	features []*align.Features
	stills   map[string]plan.Conform // by take
	res      task.Result
	facts    []intake.Facts
	played   map[string]playing.Report // by take; empty when it was not asked for
}

// Review writes out/report.html: one page about all takes, for whoever puts the
// production together. It depends on the takes, the manifest and whether there
// is a rough cut, and on no date.
func (p *Production) Review(ctx context.Context, o ReviewOptions) (ReviewResult, error) {
	r := ReviewResult{Takes: []ReviewedTake{}}
	var err error
	if r.File, err = p.outFile(reviewName); err != nil {
		return r, err
	}
	f, err := p.survey(ctx, o)
	if err != nil {
		return r, err
	}
	check, err := p.judge(ctx, f.facts, f.all)
	if err != nil {
		return r, err
	}
	r.Faults, r.Tasks = check.Faults, TaskCount{Run: f.res.Stats.Run, Reused: f.res.Stats.Reused}
	page := p.reviewPage(f.line, o)
	words := p.hiddenWords()
	for i, t := range p.man.Takes {
		if t.IsWithheld() {
			continue
		}
		one, err := p.reviewed(i, check.Takes[i], f, page.Span)
		if err != nil {
			return r, err
		}
		hide(&one, words)
		page.Takes = append(page.Takes, one)
		r.Takes = append(r.Takes, ReviewedTake{
			Name: t.Name, Player: one.Player, Level: one.Level, Picture: one.Picture != nil,
			Playing: jsonPlaying(f.played, t.Name, one.Places),
		})
	}
	if page.Film != nil {
		r.Film = filepath.Join(filepath.Dir(r.File), page.Film.Name)
	}
	var out bytes.Buffer
	if err := report.WriteReview(&out, page); err != nil {
		return r, fmt.Errorf("report %s: %w", r.File, err)
	}
	r.Bytes = out.Len()
	return r, publishBytes(ctx, r.File, out.Bytes())
}

// survey measures what the page shows: what check measures, a frame of every
// picture, and unless it is switched off how everybody plays.
func (p *Production) survey(ctx context.Context, o ReviewOptions) (f survey, err error) {
	var h hearing
	if f.all, h, err = p.listen(ctx); err != nil {
		return f, err
	}
	if f.line, err = plan.NewTimeline(p.man); err != nil {
		return f, err
	}
	f.heard, f.stills = p.heard(f.all), p.frames(f.all, f.line)
	tasks, err := p.reviewTasks(f, o)
	if err != nil {
		return f, err
	}
	if f.res, err = p.run(ctx, tasks); err != nil {
		return f, err
	}
	if f.facts, err = p.intakeFacts(f.all, f.res, h.features); err != nil {
		return f, err
	}
	f.features = make([]*align.Features, len(f.heard))
	for i, l := range f.heard {
		if l != nil {
			f.features[i] = h.features[l.name()]
		}
	}
	if o.NoPlaying {
		return f, nil
	}
	f.played, err = p.playing(f.heard, f.features, f.res)
	return f, err
}

// reviewTasks are the tasks of survey.
func (p *Production) reviewTasks(f survey, o ReviewOptions) ([]task.Task, error) {
	var tasks []task.Task
	for _, l := range f.all {
		if l.err == nil {
			tasks = append(tasks, p.checkTasks(l)...)
		}
	}
	for i, l := range f.heard {
		if l != nil && l.usable() && !o.NoPlaying {
			tasks = append(tasks, p.tonesTask(l.recording))
		}
		if c, ok := f.stills[p.man.Takes[i].Name]; ok {
			t, err := p.stillTask(c, f.line)
			if err != nil {
				return nil, err
			}
			t.Keep = true
			tasks = append(tasks, t)
		}
	}
	return tasks, nil
}

// reviewPage is what the page says of the production.
func (p *Production) reviewPage(line plan.Timeline, o ReviewOptions) report.Review {
	man := p.man
	end := man.Tempo.End()
	r := report.Review{
		Title: man.Title, Composer: man.Composer, Ensemble: man.Ensemble,
		Due: man.CallSheet.Due, SendTo: man.CallSheet.SendTo, From: man.CallSheet.Contact,
		Span:  [2]float64{min(0, man.Tempo.Start()), end + man.Picture.Tail},
		Start: man.Tempo.Start(), Playing: !o.NoPlaying, PitchHz: man.Guide.PitchHz, Withheld: p.countWithheld(),
	}
	if words, err := phrase.Open(phrase.Default, nil); err == nil && !man.CallSheet.DueDay.IsZero() {
		r.Due = words.Date(man.CallSheet.DueDay, man.CallSheet.DueClock)
	}
	for m := 1; m <= man.Tempo.Measures()+1; m++ {
		if at, err := man.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1}); err == nil {
			r.Bars = append(r.Bars, at)
		}
	}
	if info, err := os.Stat(filepath.Join(p.set.Out, roughFile)); err == nil && info.Mode().IsRegular() {
		r.Film = &report.Film{Name: roughFile, AtZero: line.GuideAtZero()}
	}
	return r
}

// reviewed is what was found out about take i.
func (p *Production) reviewed(i int, c CheckedTake, f survey, span [2]float64) (report.Reviewed, error) {
	t := p.man.Takes[i]
	out := report.Reviewed{
		Name: t.Name, Player: t.PublicName(), Part: t.Part, Section: t.Section, Level: c.Level, Release: releaseWord(t),
	}
	if c.Level == levelMissing {
		return out, nil
	}
	for _, one := range c.Findings {
		out.Findings = append(out.Findings, report.Found{Level: one.Level.String(), Sure: one.Sure, File: one.File, What: one.What, Ask: one.Ask})
	}
	for _, file := range f.facts[i].Files {
		out.Files = append(out.Files, file.Name)
		if s := file.Sound; s != nil {
			out.Levels = append(out.Levels, levelsOf(file.Name, *s))
		}
	}
	for _, l := range f.all {
		if l.take != i || l.err != nil {
			continue
		}
		out.Places = append(out.Places, report.Place{
			File: l.file.Path, Offset: l.place.Offset, DriftPPM: l.place.DriftPPM, Confidence: l.place.Confidence, Sure: l.place.Sure,
			Method: l.place.Method, Evidence: l.place.Evidence, Reason: l.place.Reason, LateMS: finite(1000 * l.place.Lateness),
		})
	}
	if l := f.heard[i]; l != nil && f.features[i] != nil && l.usable() {
		out.Wave = waveform(f.features[i], l.place, span)
	}
	if rep, ok := f.played[t.Name]; ok {
		out.Playing = pagePlaying(rep)
	}
	if still, ok := f.stills[t.Name]; ok {
		return out, p.thumbnail(&out, still, f.line, f.res)
	}
	return out, nil
}

// levelsOf is how loud a file is as recorded. What lies at the floor is silent.
func levelsOf(name string, s intake.Sound) report.Loudness {
	above := func(v float64) *float64 {
		if v <= intake.Floor {
			return nil
		}
		return &v
	}
	peak := intake.Floor
	for _, c := range s.Channels {
		peak = max(peak, c.PeakDB)
	}
	return report.Loudness{File: name, LUFS: above(s.LoudnessLUFS), Peak: above(peak), Back: above(s.NoiseDB)}
}
