package assemble

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"ripieno/assemble/plan"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/session"
	"ripieno/assemble/survey"
	"ripieno/assemble/task"
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

// Review writes out/report.html: one page about all takes, for whoever puts the
// production together. It depends on the takes, the manifest and whether there
// is a rough cut, and on no date.
func (p *Production) Review(ctx context.Context, o ReviewOptions) (ReviewResult, error) {
	r := ReviewResult{Takes: []ReviewedTake{}}
	var err error
	if r.File, err = p.Out(reviewName); err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	line, err := plan.NewTimeline(p.Manifest())
	if err != nil {
		return r, err
	}
	found, err := survey.New(p.Tool(), p.Manifest(), all.Set, line, !o.NoPlaying)
	if err != nil {
		return r, err
	}
	res, err := p.Run(ctx, task.Collect(found.Edges()...))
	if err != nil {
		return r, err
	}
	if err := found.Read(ctx, res); err != nil {
		return r, err
	}
	check := checkResult(found.Judged, all.Set)
	r.Faults, r.Tasks = check.Faults, TaskCount(res.Stats)
	page := p.reviewPage(line, o)
	for i, c := range check.Takes {
		one, err := found.Take(i, c.Level, page.Span)
		if err != nil {
			return r, err
		}
		page.Takes = append(page.Takes, one)
		r.Takes = append(r.Takes, ReviewedTake{
			Name: c.Name, Player: c.Player, Level: c.Level, Picture: one.Picture != nil, Playing: jsonPlaying(found.Played, c.Name, one.Places),
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
	return r, session.Publish(ctx, r.File, out.Bytes())
}

// reviewPage is what the page says of the production.
func (p *Production) reviewPage(line plan.Timeline, o ReviewOptions) report.Review {
	man := p.Manifest()
	end := man.Tempo.End()
	r := report.Review{
		Title: man.Title, Composer: man.Composer, Ensemble: man.Ensemble,
		Due: man.CallSheet.Due, SendTo: man.CallSheet.SendTo, From: man.CallSheet.Contact,
		Span:  [2]float64{min(0, man.Tempo.Start()), end + man.Picture.Tail},
		Start: man.Tempo.Start(), Playing: !o.NoPlaying, PitchHz: man.Guide.PitchHz,
	}
	if words, err := phrase.Open(phrase.Default, nil); err == nil && !man.CallSheet.DueDay.IsZero() {
		r.Due = words.Date(man.CallSheet.DueDay, man.CallSheet.DueClock)
	}
	for m := 1; m <= man.Tempo.Measures()+1; m++ {
		if at, err := man.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1}); err == nil {
			r.Bars = append(r.Bars, at)
		}
	}
	if info, err := os.Stat(filepath.Join(p.Settings().Out, roughFile)); err == nil && info.Mode().IsRegular() {
		r.Film = &report.Film{Name: roughFile, AtZero: line.GuideAtZero()}
	}
	return r
}

// jsonPlaying is the same for --json; nil when it was not measured.
func jsonPlaying(all map[string]playing.Report, take string, places []report.Place) *ReviewPlaying {
	r, ok := all[take]
	if !ok {
		return nil
	}
	out := &ReviewPlaying{
		Notes: r.Timing.Notes, SpreadMS: rounded(1000 * r.Timing.Spread), Soft: r.Timing.Soft, Measures: []*float64{},
		Cents: rounded(r.Tuning.Cents), CentsOff: rounded(r.Tuning.Spread), Tones: r.Tuning.Tones, Score: r.Tuning.Score,
		Missed: []MissedSpan{},
	}
	for _, p := range places {
		if p.LateMS != nil {
			out.LatenessMS = rounded(*p.LateMS) // devices of one player give the same
		}
	}
	for _, m := range r.Measures {
		out.Measures = append(out.Measures, rounded(1000*m.Off))
	}
	for _, m := range r.Missed {
		out.Missed = append(out.Missed, MissedSpan{m.From, m.To, m.Why})
	}
	return out
}

// rounded is a value to hundredths, nil when it is not finite.
func rounded(v float64) *float64 { return finite(math.Round(100*v) / 100) }
