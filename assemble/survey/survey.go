// Package survey gathers what the report says of every take: what check
// measures, a frame of every picture, how loud it is over time and, unless that
// is switched off, how everybody plays.
package survey

import (
	"context"
	"image"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/reading"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix/audio"
	"ripieno/mix/playing"
)

// Survey is what is measured for the report, first as tasks, then as results. The
// order is New, a run of Edges, Read, and then Take for each take.
type Survey struct {
	// Judged is what check says, take by take, once [Survey.Read] has been called.
	Judged []takes.Judged
	// Played is how takes were played, by their names; empty when it was not
	// asked for.
	Played map[string]playing.Report

	set     *takes.Set
	man     *production.Production
	checks  *takes.Checks
	stills  map[string]still // by take
	plays   bool
	track   *soundtrack.Track // nil: there is none to speak of
	cleaned map[string]*soundtrack.CleanResult
	covered map[string]soundtrack.Covered
	used    map[string]plan.Facts // of takes that the film could show
	res     task.Result
}

// still is the frame of a take that the page shows.
type still struct {
	plan.Conform
	made task.Ref[image.Image]
}

// New plans a survey of takes that are located. plays asks how they were played and who is
// hidden in the mix, which is track; nil when there is none.
func New(tool *ffmpeg.Tool, steady reading.Steady, man *production.Production, set *takes.Set, line plan.Timeline,
	plays bool, track *soundtrack.Track) (*Survey, error) {
	s := &Survey{set: set, man: man, checks: set.Checks(tool, steady, man), stills: map[string]still{}, plays: plays,
		track: track}
	s.used, _ = set.Facts(&line)
	maker := picture.New(tool, steady, &plan.Plan{Timeline: line}, nil, nil)
	for take, c := range frames(set, man, line) {
		made, err := maker.Still(c, true)
		if err != nil {
			return nil, err
		}
		s.stills[take] = still{c, made}
	}
	return s, nil
}

// Edges returns the tasks whose results [Survey.Read] reads.
func (s *Survey) Edges() []task.Edge {
	edges := append(s.checks.Edges(), s.track.Cleanings()...)
	if s.plays {
		edges = append(edges, s.track.Covers()...)
	}
	for _, t := range s.set.Takes {
		if tones := t.Tones(); s.plays && !tones.IsZero() {
			edges = append(edges, tones)
		}
		if x, ok := s.stills[t.Name]; ok {
			edges = append(edges, x.made)
		}
	}
	return edges
}

// Read takes in what a run has measured. It fails when what is stored cannot be read, or
// ctx ends.
func (s *Survey) Read(ctx context.Context, res task.Result) (err error) {
	s.res = res
	if s.Judged, err = s.checks.Judge(ctx, res); err != nil {
		return err
	}
	if s.cleaned, err = s.track.Cleaned(res); err != nil || !s.plays {
		return err
	}
	if s.Played, err = s.set.Playing(s.man, res); err != nil {
		return err
	}
	var who direct.Cast
	if who.Players, who.Starts, _, err = s.set.Directed(s.man, res); err != nil {
		return err
	}
	s.covered, err = s.track.Covered(res, s.man.Tempo, who)
	return err
}

// Take returns what was found out about take i; span is the guide time that the page
// shows. It fails when what is stored cannot be read; what was not measured is left out.
func (s *Survey) Take(i int, level string, span [2]float64) (out report.Reviewed, err error) {
	t := s.set.Takes[i]
	out = report.Reviewed{Name: t.Name, Player: t.PublicName(), Part: t.Part, Section: t.Section, Level: level,
		Release: t.Release.Word(), Words: phrase.Of(t.Take.Language)}
	if t.Video == nil && t.Audio == nil {
		return out, nil
	}
	// Whatever is added below, names that are not to be told are taken out of it at the end.
	defer func() { hide(&out, hiddenWords(s.man)) }()
	words := phrase.Of(s.man.Language)
	for _, one := range s.Judged[i].Findings {
		out.Findings = append(out.Findings, report.Found{Level: one.Level.String(), Sure: one.Sure, File: one.File,
			What: words.Write(one.Said), Ask: words.Write(one.Question()), Request: out.Words.Write(one.Question())})
	}
	for _, file := range s.Judged[i].Facts.Files {
		out.Files = append(out.Files, file.Name)
		if sound := file.Sound; sound != nil {
			out.Levels = append(out.Levels, levelsOf(file.Name, *sound))
		}
	}
	for _, r := range t.Recordings() {
		if r.Err == nil {
			out.Places = append(out.Places, report.Place{File: r.File.Path, Role: string(r.Role), Placement: r.Place,
				LateMS: audio.Finite(1000 * r.Place.Lateness)})
		}
	}
	// An unsure take is drawn where it most likely lies, and marked as a guess.
	if r := guessedRecording(t); r != nil {
		out.Wave, out.Guess = waveform(r.Features, r.Place.Candidates[0].Clock(), span), true
	} else if r := t.Heard; r != nil && r.Features != nil && r.Usable() {
		out.Wave = waveform(r.Features, r.Place.Clock(), span)
	}
	out.Cleaned, out.Hidden = cleanedOf(s.cleaned[t.Name]), s.hidden(t.Name)
	out.Blended = s.blended(t.Name)
	out.LeftOut, out.Partly = s.leftOut(t)
	if rep, ok := s.Played[t.Name]; ok {
		out.Playing = pagePlaying(rep)
	}
	if x, ok := s.stills[t.Name]; ok {
		return out, s.thumbnail(&out, x)
	}
	return out, nil
}

// leftOut reports whether the film does without a take, or without its picture
// alone.
func (s *Survey) leftOut(t takes.Take) (all, partly bool) {
	f, ok := s.used[t.Name]
	all = !ok || f.Picture == nil && f.Sound == nil
	return all, !all && f.Absent != plan.Present
}

// guessedRecording returns the recording of a take whose sound is shown at its likeliest
// place, as none of them has a sure one; nil for none. The microphone goes before the
// phone: it is what would be heard.
func guessedRecording(t takes.Take) *takes.Recording {
	var best *takes.Recording
	for _, r := range t.Recordings() {
		switch {
		case r.Err != nil || r.Features == nil:
		case r.Place.Sure:
			return nil
		case len(r.Place.Candidates) > 0 && (best == nil || r.Role == takes.Audio):
			best = r
		}
	}
	return best
}

// levelsOf returns how loud a file is as recorded. What lies at the floor is
// silent.
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
