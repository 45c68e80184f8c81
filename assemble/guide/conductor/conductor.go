// Package conductor puts the film of who conducts into the films of guides, so that all
// who play see the same beat that they hear. The film is recorded to the guide, with a clap
// on its cue, as takes are; it is placed and conformed as takes are, and is none: it is
// mixed with nothing, no finished film has it, and sync and check say nothing of it.
//
// [Find] places it before anything is written; [Film.WriteFilm] writes the film of a guide,
// with a conductor or, for a nil Film, without.
package conductor

import (
	"context"
	"errors"
	"fmt"
	"math"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide"
	"ripieno/assemble/media"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
	"ripieno/mix/tempo"
)

// owner is what tasks and errors call the film; no take can be called so.
const owner = "the conductor's film"

// Film is the conductor's film on guide time.
type Film struct {
	name    string       // of the file, as the manifest has it
	picture plan.Picture // zero when the players may not see it
	notes   []string     // what a person should know
}

// Find places the conductor's film on the guide that all play to: by the clap, or as the
// manifest says. It returns nil where the manifest has none or no film is wanted. It fails
// with a fault when the file cannot be used, lies beside the guide, or nothing tells for
// sure where it lies; it writes nothing.
func Find(ctx context.Context, s *session.Session, wanted bool) (*Film, error) {
	man := s.Manifest()
	c := man.Guide.Conductor
	if c == nil || !wanted {
		return nil, nil
	}
	if !c.ShowsPicture() {
		return &Film{notes: []string{fmt.Sprintf("%s is left out: its release is %s", c.Video.Path, c.Release)}}, nil
	}
	r, err := takes.LocateAlone(ctx, s, owner, &c.Video)
	if err != nil {
		return nil, unusable(c, err)
	}
	if !r.Place.Sure {
		return nil, unplaced(c, r)
	}
	f := &Film{name: c.Video.Path, picture: r.Clip()}
	begins, ends := f.picture.Guide(f.picture.First), f.picture.Guide(f.picture.Last)
	if ends <= 0 || begins >= man.Tempo.End() {
		return nil, fault.At(fault.Decision, c.Video.Mark,
			fmt.Sprintf("%s lies from %.1f to %.1f s of guide time, and the guide ends at %.1f s", c.Video.Path, begins,
				ends, man.Tempo.End()), "correct offset or cue_at, or leave them out and the clap is looked for")
	}
	f.notes = notesOf(c, man, begins, ends)
	return f, nil
}

// unusable returns the fault of a file that is no such film. What is nobody's file, such as
// a full disk, stays as it is.
func unusable(c *production.Conductor, err error) error {
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Media {
		return err
	}
	return media.Unusable("conductor's film", "name a film of somebody who conducts to the guide, "+
		"or delete conductor: for films of the beats alone", c.Video.Path, c.Video.Mark, err)
}

// unplaced asks the person for what could not be found out.
func unplaced(c *production.Conductor, r *takes.Recording) error {
	example := 11.482
	if p := r.Place.Rivals(); len(p) > 0 && p[0].ByCue {
		example = p[0].At
	}
	return fault.At(fault.Decision, c.Video.Mark, fmt.Sprintf("%s needs review: %s", c.Video.Path, r.Place.Question()),
		fmt.Sprintf("find the clap in it and write its second under guide: conductor:, such as cue_at: %.3f; "+
			"or write offset, the guide time at the file's beginning", example))
}

// notesOf returns what a person should know of a film that lies between two moments of
// guide time, in seconds.
func notesOf(c *production.Conductor, man *production.Production, begins, ends float64) []string {
	var notes []string
	name, m := c.Video.Path, man.Tempo
	if first := firstBeat(m); begins > first {
		notes = append(notes, fmt.Sprintf("%s begins %.1f s after the count-in has begun: "+
			"until then the beats are seen alone", name, begins-first))
	}
	if ends < m.End() {
		notes = append(notes, fmt.Sprintf("%s ends in m%s, %.1f s before the piece does: "+
			"from there on the beats are seen alone", name, m.Label(m.Position(ends).Measure), m.End()-ends))
	}
	if c.Release == production.ReleaseMissing {
		notes = append(notes, fmt.Sprintf("everybody who gets the film sees who conducts in %s: ask them first, "+
			"for minors their guardians, then write release: yes under guide: conductor:", name))
	}
	return notes
}

// firstBeat returns when the first click of a guide sounds, in seconds.
func firstBeat(m *tempo.Map) float64 {
	for b := range m.Beats() {
		return b.Seconds
	}
	return 0
}

// WriteFilm writes the film of a guide beside its sound, which must be there, with the
// conductor in it unless f is nil. It fails as [guide.File.WriteFilm] does, and when the
// conductor's film cannot be read; there is no film then.
func (f *Film) WriteFilm(ctx context.Context, s *session.Session, j guide.Job, r *guide.File) error {
	if f == nil {
		return r.WriteFilm(ctx, s, j, nil)
	}
	lead, err := f.conform(ctx, s, j, r.Duration)
	if err != nil {
		return err
	}
	if j.Variant == nil { // what holds for all is said once
		r.Notes = append(r.Notes, f.notes...)
	}
	return r.WriteFilm(ctx, s, j, lead)
}

// conform returns the film as that of a guide of so many seconds has it; nil when nothing
// of it is seen there. A film that breaks off is seen as far as it goes.
func (f *Film) conform(ctx context.Context, s *session.Session, j guide.Job, seconds float64) (*guide.Conductor,
	error) {
	line := plan.Timeline{Rate: shot.Rate{Num: s.Manifest().Picture.FPSNum, Den: s.Manifest().Picture.FPSDen}}
	c := f.plan(j, line.Rate, seconds)
	if c.Frames.Len() <= 0 {
		return nil, nil
	}
	maker := picture.New(s.Tool(), s.Store().Steady, &plan.Plan{Timeline: line}, nil, nil)
	made, err := maker.ConformTask(c)
	if err != nil {
		return nil, err
	}
	res, err := s.Run(ctx, task.Collect(made))
	if err != nil {
		return nil, err
	}
	path, ok, err := made.Result(res)
	if err == nil && !ok {
		err = session.FirstFailure(res)
	}
	var broken *picture.BrokenOff
	if errors.As(err, &broken) && f.picture.First < broken.Seconds && broken.Seconds < f.picture.Last {
		f.notes = append(f.notes, fmt.Sprintf("%s breaks off after %.1f s: from there on the beats are seen alone",
			f.name, broken.Seconds))
		f.picture.Last = broken.Seconds
		return f.conform(ctx, s, j, seconds)
	}
	if err != nil {
		return nil, err
	}
	hole := guide.ConductorHole(f.picture.W, f.picture.H)
	return &guide.Conductor{Path: path, From: c.Frames.From, Hole: hole}, nil
}

// plan returns what of the film is seen in that of a guide of so many seconds, on that
// guide's own time. A guide of a passage has it in the passage alone: what was conducted
// before is no count-in of it.
func (f *Film) plan(j guide.Job, rate shot.Rate, seconds float64) plan.Conform {
	c := plan.Conform{Take: owner, Picture: f.picture}
	if c.Picture.Path == "" {
		return c
	}
	hole := guide.ConductorHole(c.Picture.W, c.Picture.H)
	c.W, c.H = hole.W, hole.H
	seen := plan.Span{To: int(math.Ceil(seconds*rate.FPS() - 1e-9))}
	if v := j.Variant; v != nil && v.To > 0 {
		c.Picture.Clock.Offset -= v.Shift
		seen = plan.Span{From: rate.Frame(v.Tempo.Start()), To: rate.Frame(v.Tempo.End())}
	}
	c.Frames = c.Picture.Seen(rate).Meet(seen)
	return c
}
