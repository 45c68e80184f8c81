package assemble

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"

	"ripieno/assemble/plan"
	"ripieno/assemble/remark/handout"
	"ripieno/assemble/report"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/survey"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
)

// ReviewOptions choose what the report says.
type ReviewOptions struct {
	NoPlaying bool // nothing about how takes were played, and nothing measured for it
	// show, when it is there, gets what the page would say, and no page is written.
	show func(report.Review, []takes.Judged, *takes.Set) error
}

// ReviewedTake is one take in the report.
type ReviewedTake struct {
	Name    string          `json:"name"`
	Player  string          `json:"player"`
	Level   string          `json:"level"`                  // ok, ask, redo or missing
	Picture bool            `json:"picture"`                // the page shows a frame of it
	Asks    bool            `json:"needs_review,omitempty"` // its place has to be decided
	Playing *survey.Playing `json:"playing,omitempty"`      // absent when it was not measured
}

// ReviewResult is what `report` wrote.
type ReviewResult struct {
	File  string         `json:"file"`
	Bytes int            `json:"bytes"`
	Takes []ReviewedTake `json:"takes"`
	Film  string         `json:"film,omitempty"` // the rough cut the page shows
	Tasks TaskCount      `json:"tasks"`          // for the page, besides those of sync
	// Guides are those that were made otherwise than the manifest says now.
	Guides  []GuideChange `json:"guides_changed,omitempty"`
	Remarks []string      `json:"score_remarks,omitempty"` // what to know of the score
	Faults  []Bad         `json:"faults,omitempty"`
}

// reviewName is the page, in the folder of outputs.
const reviewName = "report.html"

// Review writes out/report.html: one page about all takes, for whoever puts the
// production together. It depends on the takes, the manifest and whether there
// is a rough cut, and on no date.
func (p *Production) Review(ctx context.Context, o ReviewOptions) (ReviewResult, error) {
	r := ReviewResult{Takes: []ReviewedTake{}}
	var err error
	if r.File, err = p.OutFile(reviewName); err != nil {
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
	found, err := survey.New(p.Tool(), p.Store().Steady, p.Manifest(), all.Set, line, !o.NoPlaying,
		trackOf(ctx, p, all))
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
	check := roll.NewCheck(found.Judged, all.Set)
	r.Faults, r.Tasks, r.Guides = check.Faults, TaskCount(res.Stats), check.Guides
	r.Remarks = p.Manifest().ScoreRemarks()
	page := survey.Page(p.Manifest(), !o.NoPlaying)
	if err := handout.Fill(&page, p.Session, line, r.Guides); err != nil {
		return r, err
	}
	for i, c := range check.Takes {
		// Of a take with release: no the page does not even say that there is one.
		if all.Takes[i].IsWithheld() {
			continue
		}
		one, err := found.Take(i, c.Level, page.Span)
		if err != nil {
			return r, err
		}
		page.Takes = append(page.Takes, one)
		r.Takes = append(r.Takes, ReviewedTake{
			Name: c.Name, Player: one.Player, Level: c.Level, Picture: one.Picture != nil, Asks: one.Unsure(),
			Playing: found.Playing(c.Name, one.Places),
		})
	}
	if o.show != nil {
		return r, o.show(page, found.Judged, all.Set)
	}
	err = r.write(ctx, page)
	return r, err
}

// write writes the page to r.File and notes its size and the film it shows.
func (r *ReviewResult) write(ctx context.Context, page report.Review) error {
	if page.Film != nil {
		r.Film = filepath.Join(filepath.Dir(r.File), page.Film.Name)
	}
	var out bytes.Buffer
	if err := report.WriteReview(&out, page); err != nil {
		return fmt.Errorf("report %s: %w", r.File, err)
	}
	r.Bytes = out.Len()
	return session.Publish(ctx, r.File, out.Bytes())
}

// trackOf plans the sound of the takes for what is to be said of it. Where it cannot be
// planned there is nothing to say, and mix tells why.
func trackOf(ctx context.Context, p *Production, all material) *soundtrack.Track {
	pl, _, err := p.plan(ctx, all, nil)
	if err != nil {
		return nil
	}
	track, err := p.track(pl, all)
	if err != nil {
		return nil
	}
	return track
}
