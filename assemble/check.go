package assemble

import (
	"context"
	"fmt"
	"path/filepath"

	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/playing"
)

// levelMissing is the level of a take that is not in yet.
const levelMissing = "missing"

// Estimated cost in seconds of one core for each second of a recording.
const (
	costHear = 0.01
	costSee  = 0.02
	costPace = 0.001 // where the tempo changes; next to nothing elsewhere
)

func hearID(r *recording) string { return "hear/" + r.name() }
func seeID(r *recording) string  { return "see/" + r.name() }
func paceID(r *recording) string { return "pace/" + r.name() }

// Check looks at and listens to every take and says what is wrong with it.
func (p *Production) Check(ctx context.Context) (CheckResult, error) {
	all, heard, err := p.listen(ctx)
	if err != nil {
		return CheckResult{}, err
	}
	var tasks []task.Task
	for _, l := range all {
		if l.err == nil {
			tasks = append(tasks, p.checkTasks(l)...)
		}
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return CheckResult{}, err
	}
	facts, err := p.intakeFacts(all, res, heard.features)
	if err != nil {
		return CheckResult{}, err
	}
	r, err := p.judge(ctx, facts, all)
	if err != nil {
		return CheckResult{}, err
	}
	r.Tasks = TaskCount{Run: heard.count.Run + res.Stats.Run, Reused: heard.count.Reused + res.Stats.Reused}
	return r, nil
}

// checkTasks measure one recording.
func (p *Production) checkTasks(l located) []task.Task {
	var tasks []task.Task
	r := l.recording
	if r.info.Audio != nil {
		tasks = append(tasks, p.soundTask(r), p.hearTask(r))
		if !settled(l.place) {
			tasks = append(tasks, p.featuresTask(r), p.paceTask(r))
		}
	}
	if r.info.Video != nil && r.role == roleVideo {
		tasks = append(tasks, p.seeTask(r))
	}
	return tasks
}

// heardSound is what is kept of a recording's sound: the decoder's account
// beside what was heard, so that the sound itself may leave the store.
type heardSound struct {
	Sound   intake.Sound
	Decoded media.Decoded
}

// hearTask measures a recording's sound.
func (p *Production) hearTask(r *recording) task.Task {
	key := store.NewAction("hear").Version(intake.Rule).Input("sound", p.soundKey(r).ID()).Ext(".gob").For(r.file.Path)
	return task.Task{
		ID: hearID(r), Name: r.file.Path, Stage: "hear", Action: key, Keep: true, After: []string{soundID(r)}, Cost: costHear * r.info.Duration,
		Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) (err error) {
			var h heardSound
			if h.Decoded, err = load[media.Decoded](filepath.Join(in[soundID(r)], soundAccount)); err != nil {
				return err
			}
			wav, err := media.OpenWAV(soundOf(in, r))
			if err != nil {
				return err
			}
			defer wav.Close()
			if h.Sound, err = intake.Listen(wav); err != nil {
				return err
			}
			return save(tmp, h)
		},
	}
}

// settled tells whether a recording's place leaves no doubt that it is this piece
// at the guide's tempo: its playing fits there, or another file of the same take
// does, or the manifest says where it lies, which beats what a machine hears. A
// clap alone may begin anything.
func settled(place align.Placement) bool {
	return place.Sure && place.Method != "cue"
}

// paceTask measures at what tempo a recording was played.
func (p *Production) paceTask(r *recording) task.Task {
	m, _ := p.guideOf(r.owner)
	return task.Task{
		ID: paceID(r), Name: r.file.Path, Stage: "pace", Keep: true, After: []string{analyseID(r)}, Cost: costPace * r.info.Duration,
		Action: store.NewAction("pace").Version(playing.PaceVersion).Arg("tempo", m.Spec()).Input("features", p.featuresKey(r).ID()).Ext(".gob").For(r.file.Path),
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			f, err := load[*align.Features](in[analyseID(r)])
			if err != nil {
				return err
			}
			pace, err := playing.HearPace(ctx, m, f)
			if err != nil {
				return err
			}
			return save(tmp, pace)
		},
	}
}

// seeTask measures a recording's picture.
func (p *Production) seeTask(r *recording) task.Task {
	return task.Task{
		ID: seeID(r), Name: r.file.Path, Stage: "see", Cost: costSee * r.info.Duration, Keep: true,
		Memory: conformMemory(plan.Conform{Picture: plan.Picture{W: r.info.Video.W, H: r.info.Video.H}}),
		Action: store.NewAction("see").Version(intake.Rule).Arg("media", media.Rule).Arg("ffmpeg", p.tool.Version.Text).Input("file", r.hash).Ext(".gob").For(r.file.Path),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			var s intake.Picture
			err := p.store.Steady(ctx, r.path, r.hash, func() (err error) {
				s, err = intake.Look(ctx, p.tool, r.info)
				return err
			})
			if err != nil {
				return err
			}
			return save(tmp, s)
		},
	}
}

// intakeFacts gathers what was measured, take by take.
func (p *Production) intakeFacts(all []located, res task.Result, features map[string]*align.Features) ([]intake.Facts, error) {
	var facts []intake.Facts
	for i, t := range p.man.Takes {
		f := intake.Facts{
			Take: t.Name, Expected: t.Video == nil && t.Audio == nil, Piece: p.piece(t),
			Shape:  float64(p.man.Picture.AspectW) / float64(p.man.Picture.AspectH),
			Framed: framed(t),
		}
		for _, l := range all {
			if l.take != i {
				continue
			}
			file, err := intakeFile(l, res)
			if err != nil {
				return nil, err
			}
			if heard := features[l.name()]; heard != nil {
				file.Levels = heard.Level
			}
			f.Files = append(f.Files, file)
		}
		facts = append(facts, f)
	}
	return facts, nil
}

// framed tells whether the manifest says what of a take's picture is shown.
func framed(t manifest.Take) bool {
	return t.AutoCrop || t.Fit == "fit" || t.Crop != (manifest.Crop{X: 0.5, Y: 0.5, Zoom: 1})
}

func intakeFile(l located, res task.Result) (intake.File, error) {
	f := intake.File{Role: l.role, Name: l.file.Path, Err: l.err, Info: l.info, Hash: l.hash.String()}
	if l.unseen {
		f.Role = roleAudio // nobody asks for a picture
	}
	if l.err != nil {
		return f, nil
	}
	if path := res.Path(hearID(l.recording)); path != "" {
		h, err := load[heardSound](path)
		if err != nil {
			return f, err
		}
		f.Sound, f.Decoded = &h.Sound, &h.Decoded
	}
	if path := res.Path(seeID(l.recording)); path != "" {
		s, err := l.looked(path)
		if err != nil {
			return f, err
		}
		shown := said(*l.info.Video, l.file)
		f.Picture, f.Info.Video = &s, &shown
	}
	if path := res.Path(paceID(l.recording)); path != "" {
		v, err := load[playing.Pace](path)
		if err != nil {
			return f, err
		}
		f.Pace = &v
	}
	f.Sync = &intake.Sync{
		Offset: l.place.Offset, DriftPPM: l.place.DriftPPM, Confidence: l.place.Confidence, Sure: l.place.Sure, Reason: l.place.Reason,
	}
	if heard := l.place.ClickDB; heard < 0 { // not NaN
		f.Sync.ClickDB = heard
	}
	return f, nil
}

// judge turns facts into what a person reads.
func (p *Production) judge(ctx context.Context, facts []intake.Facts, all []located) (CheckResult, error) {
	r := CheckResult{Takes: []CheckedTake{}}
	across, err := intake.Compare(ctx, facts)
	if err != nil {
		return r, err
	}
	for i, f := range facts {
		t := p.man.Takes[i]
		findings := append(p.man.Check.Judge(f), across[f.Take]...)
		if t.Release == manifest.ReleaseNo {
			findings = nil // nobody is asked for a take that will not be used
		}
		c := CheckedTake{Name: t.Name, Player: t.Player, Level: intake.Worst(findings).String(), Findings: findings}
		if f.Expected {
			c.Level = levelMissing
			r.Faults = append(r.Faults, notIn(t))
		}
		if c.Findings == nil {
			c.Findings = []intake.Finding{}
		}
		r.Takes = append(r.Takes, c)
	}
	for _, l := range all {
		if l.err != nil && p.man.Takes[l.take].Release != manifest.ReleaseNo {
			r.Faults = append(r.Faults, bad(l.owner, kindUnreadable, l.err))
		}
	}
	return r, nil
}

// notIn says that a take is still expected.
func notIn(t manifest.Take) Bad {
	return Bad{
		Take: t.Name, Kind: kindMissing, What: fmt.Sprintf("take %q is not in yet", t.Name),
		Hint: "its seat is kept; when it arrives, write video: {file: " + filepath.ToSlash(filepath.Join("intake", t.Name+".mp4")) + "} in place of expected: true",
	}
}
