package takes

import (
	"context"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/task"
)

// Judged is what was found out about one take.
type Judged struct {
	Facts    intake.Facts
	Findings []intake.Finding // worst first
}

// levels are those that a person's verdicts stand for.
var levels = map[production.Verdict]intake.Level{production.VerdictOK: intake.OK, production.VerdictAsk: intake.Ask,
	production.VerdictRedo: intake.Redo}

// Judge turns what was measured into what a person reads, take by take. It fails when
// what is stored cannot be read, or ctx ends; a take that could not be measured has what
// is known of it.
func (c *Checks) Judge(ctx context.Context, res task.Result) ([]Judged, error) {
	var facts []intake.Facts
	for _, t := range c.set.Takes {
		f, err := c.facts(t, res)
		if err != nil {
			return nil, err
		}
		facts = append(facts, f)
	}
	across, err := intake.Compare(ctx, facts)
	if err != nil {
		return nil, err
	}
	judged := make([]Judged, len(facts))
	for i, f := range facts {
		judged[i] = Judged{Facts: f, Findings: append(intake.JudgeBy(c.man.Check, f), across[f.Take]...)}
		c.set.Takes[i].explainTempo(judged[i].Findings)
		if level, ok := levels[c.set.Takes[i].Verdict]; ok && !f.Expected {
			judged[i].Findings = intake.Decide(level, judged[i].Findings)
		}
		if c.set.Takes[i].IsWithheld() {
			judged[i].Findings = nil // nobody is asked for a take that will not be used
		}
	}
	return judged, nil
}

// explainTempo adds to findings of another tempo which guide was made with it. A take that
// was played to a guide of before is not asked for its clap, but for what it was played to.
func (t Take) explainTempo(findings []intake.Finding) {
	for _, r := range t.Recordings() {
		for i := range findings {
			if f := &findings[i]; f.Code == intake.OtherPiece && f.File == r.File.Path && r.playedTo != "" {
				f.What += "; it was played to the guide that was made with " + r.playedTo
			}
			if f := &findings[i]; f.Code == intake.CueUnsure && f.File == r.File.Path && r.playedTo != "" {
				f.Code = intake.OtherPiece
				f.Ask = f.Question().Plain()
			}
		}
	}
}

// Unreadable returns the faults of files that cannot be used, of takes that are
// to be in the film.
func (s *Set) Unreadable() []Fault {
	var faults []Fault
	for _, t := range s.Takes {
		for _, r := range t.Recordings() {
			if r.Err != nil && !t.IsWithheld() {
				faults = append(faults, NewFault(t.Name, KindUnreadable, r.Err))
			}
		}
	}
	return faults
}

// facts gathers what was measured of a take.
func (c *Checks) facts(t Take, res task.Result) (intake.Facts, error) {
	f := intake.Facts{
		Take: t.Name, Expected: t.Take.Video == nil && t.Take.Audio == nil, Piece: Piece(c.man, t.Take),
		Framed: t.IsFramed(),
	}
	if p := c.man.Picture; p.AspectW > 0 { // else the usual one
		f.Shape = float64(p.AspectW) / float64(p.AspectH)
	}
	for _, r := range t.Recordings() {
		file, err := c.file(r, res)
		if err != nil {
			return f, err
		}
		if r.Features != nil {
			file.Levels = r.Features.Level
		}
		f.Files = append(f.Files, file)
	}
	return f, nil
}

// file gathers what was measured of one recording.
func (c *Checks) file(r *Recording, res task.Result) (intake.File, error) {
	f := intake.File{Role: string(r.Role), Name: r.File.Path, Err: r.Err, Info: r.Info, Hash: r.Hash.String()}
	if r.Unseen {
		f.Role = string(Audio) // nobody asks for a picture
	}
	if r.Err != nil {
		return f, nil
	}
	heard, ok, err := c.of[r].hear.Result(res)
	if err != nil {
		return f, err
	}
	if ok {
		f.Sound, f.Decoded = &heard.Sound, &heard.Decoded
	}
	see := c.of[r].see
	seen, ok, err := see.Result(res)
	if err != nil {
		return f, err
	}
	if r.refuseSpent(see.Outcome(res).Err); r.Err != nil {
		f.Err = r.Err
		return f, nil
	}
	if ok {
		for _, h := range r.holes {
			seen.LongestGap = max(seen.LongestGap, h.Length)
		}
		shown := withOverrides(*r.Info.Video, r.File)
		f.Picture, f.Info.Video = &seen, &shown
	}
	pace, ok, err := c.of[r].pace.Result(res)
	if err != nil {
		return f, err
	}
	if ok {
		f.Pace = &pace
	}
	place := r.Place
	f.Sync, f.Breaks, f.TrueRate = &place, r.Broken, r.Rate
	if r.Rate > 0 && f.Info.Video == nil {
		f.Info.Duration = r.Info.Duration * float64(r.Info.Audio.Rate) / float64(r.Rate)
	}
	return f, nil
}
