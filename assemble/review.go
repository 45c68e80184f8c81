package assemble

import (
	"bytes"
	"context"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"

	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
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

// Review writes out/report.html: one page about all takes, for whoever puts the
// production together. It depends on the takes, the manifest and whether there
// is a rough cut, and on no date.
func (p *Production) Review(ctx context.Context, o ReviewOptions) (ReviewResult, error) {
	path, err := p.out(reviewName)
	if err != nil {
		return ReviewResult{}, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return ReviewResult{}, err
	}
	line, err := plan.NewTimeline(p.man)
	if err != nil {
		return ReviewResult{}, err
	}
	heard := p.heard(all)
	stills := p.frames(all, line)
	tasks, err := p.reviewTasks(all, heard, stills, line, o)
	if err != nil {
		return ReviewResult{}, err
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return ReviewResult{}, err
	}
	facts, err := p.intakeFacts(all, res)
	if err != nil {
		return ReviewResult{}, err
	}
	check := p.judge(facts, all)
	r := ReviewResult{File: path, Takes: []ReviewedTake{}, Faults: check.Faults, Tasks: TaskCount{Run: res.Stats.Run, Reused: res.Stats.Reused}}
	page := p.reviewPage(line, o)
	features, err := featuresOf(heard, res)
	if err != nil {
		return r, err
	}
	played := map[string]playing.Report{}
	if !o.NoPlaying {
		if played, err = p.playing(heard, features, res); err != nil {
			return r, err
		}
	}
	for i, t := range p.man.Takes {
		one := p.reviewed(t, check.Takes[i], facts[i], all)
		if l := heard[i]; l != nil && features[i] != nil && l.usable() {
			one.Wave = waveform(features[i], l.place, page.Span)
		}
		if c, ok := stills[t.Name]; ok {
			if err := p.thumbnail(&one, c, line, res); err != nil {
				return r, err
			}
		}
		if rep, ok := played[t.Name]; ok {
			one.Playing = pagePlaying(rep)
		}
		page.Takes = append(page.Takes, one)
		r.Takes = append(r.Takes, ReviewedTake{
			Name: t.Name, Player: t.Player, Level: one.Level, Picture: one.Picture != nil, Playing: jsonPlaying(played, t.Name, one.Places),
		})
	}
	if page.Film != nil {
		r.Film = filepath.Join(filepath.Dir(path), page.Film.Name)
	}
	var out bytes.Buffer
	if err := report.WriteReview(&out, page); err != nil {
		return r, fmt.Errorf("report %s: %w", path, err)
	}
	r.Bytes = out.Len()
	return r, publishBytes(ctx, path, out.Bytes())
}

// reviewTasks are what has to be measured for the page: what check measures, a
// frame of every picture, and unless it is switched off the tones.
func (p *Production) reviewTasks(all []located, heard []*located, stills map[string]plan.Conform, line plan.Timeline, o ReviewOptions) ([]task.Task, error) {
	var tasks []task.Task
	for _, l := range all {
		if l.err == nil {
			tasks = append(tasks, p.checkTasks(l.recording)...)
		}
	}
	for i, l := range heard {
		if l != nil {
			tasks = append(tasks, p.featuresTask(l.recording))
			if l.usable() && !o.NoPlaying {
				tasks = append(tasks, p.tonesTask(l.recording))
			}
		}
		if c, ok := stills[p.man.Takes[i].Name]; ok {
			t, err := p.stillTask(c, line)
			if err != nil {
				return nil, err
			}
			t.Keep = true
			tasks = append(tasks, t)
		}
	}
	return tasks, nil
}

// featuresOf are what sync kept of the recordings heard, nil where it could
// keep nothing.
func featuresOf(heard []*located, res task.Result) ([]*align.Features, error) {
	out := make([]*align.Features, len(heard))
	for i, l := range heard {
		if l == nil {
			continue
		}
		if path := res.Path(analyseID(l.recording)); path != "" {
			f, err := load[*align.Features](path)
			if err != nil {
				return nil, err
			}
			out[i] = f
		}
	}
	return out, nil
}

// frameMoment is where in the music the frame of a take is taken: players are
// in the middle of something by then.
const frameMoment = 0.4

// Thumbnails are thumbHigh pixels high and at most thumbWide wide, and have
// thumbBytes at most: two hundred of them make a page of less than two
// megabytes.
const (
	thumbHigh  = 126
	thumbWide  = 224
	thumbBytes = 6000
)

// frames says which frame of each take the page shows; takes without picture
// are not in the result. A picture whose place is not known is shown at the
// same share of the file.
func (p *Production) frames(all []located, line plan.Timeline) map[string]plan.Conform {
	out := map[string]plan.Conform{}
	for _, l := range all {
		if l.err != nil || l.role != roleVideo || l.info.Video == nil {
			continue
		}
		clock := plan.Clock{Offset: l.place.Offset}
		pic := picture(l, *l.info.Video, clock)
		if pic.W < 1 || pic.H < 1 || !(pic.Last > pic.First) {
			continue
		}
		at := p.man.Tempo.Start() + frameMoment*(p.man.Tempo.End()-p.man.Tempo.Start())
		if !l.usable() {
			pic.Clock = plan.Clock{}
			at = pic.First + frameMoment*(pic.Last-pic.First)
		}
		at = min(max(at, pic.Clock.Guide(pic.First)), pic.Clock.Guide(pic.Last)-0.2)
		n := line.Rate.Frame(at)
		w, h := thumbSize(pic.W, pic.H)
		out[l.owner] = plan.Conform{Take: l.owner, Picture: *pic, W: w, H: h, Frames: plan.Span{From: n, To: n + 1}}
	}
	return out
}

// thumbSize fits a picture into that of a thumbnail; even, as ffmpeg wants it.
func thumbSize(w, h int) (int, int) {
	scale := min(thumbWide/float64(w), thumbHigh/float64(h))
	even := func(v int) int { return max(2, 2*int(math.Round(float64(v)*scale/2))) }
	return even(w), even(h)
}

// thumbnail puts a take's frame into the page. A frame that could not be read
// is left out: check says what is wrong.
func (p *Production) thumbnail(t *report.Reviewed, c plan.Conform, line plan.Timeline, res task.Result) error {
	made, err := p.stillTask(c, line)
	if err != nil {
		return err
	}
	path := res.Path(made.ID)
	if path == "" {
		return nil
	}
	img, err := readPNG(path)
	if err != nil {
		return err
	}
	for _, quality := range []int{78, 68, 58, 46, 34, 20, 8} {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
			return err
		}
		if b.Len() <= thumbBytes {
			t.Picture, t.W, t.H = b.Bytes(), c.W, c.H
			return nil
		}
	}
	return nil // a picture of pure noise, which shows nothing anyway
}

// reviewPage is what the page says of the production.
func (p *Production) reviewPage(line plan.Timeline, o ReviewOptions) report.Review {
	man := p.man
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
	if info, err := os.Stat(filepath.Join(p.set.Out, roughFile)); err == nil && info.Mode().IsRegular() {
		r.Film = &report.Film{Name: roughFile, AtZero: line.GuideAtZero()}
	}
	return r
}

// reviewed is what was found out about a take besides its playing.
func (p *Production) reviewed(t manifest.Take, c CheckedTake, f intake.Facts, all []located) report.Reviewed {
	out := report.Reviewed{Name: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Level: c.Level}
	if c.Level == levelMissing {
		return out
	}
	for _, one := range c.Findings {
		out.Findings = append(out.Findings, report.Found{Level: one.Level.String(), Sure: one.Sure, File: one.File, What: one.What, Ask: one.Ask})
	}
	for _, file := range f.Files {
		out.Files = append(out.Files, file.Name)
		if s := file.Sound; s != nil {
			out.Levels = append(out.Levels, levelsOf(file.Name, *s))
		}
	}
	for _, l := range all {
		if l.owner != t.Name || l.err != nil {
			continue
		}
		out.Places = append(out.Places, report.Place{
			File: l.file.Path, Offset: l.place.Offset, DriftPPM: l.place.DriftPPM, Confidence: l.place.Confidence, Sure: l.place.Sure,
			Method: l.place.Method, Evidence: l.place.Evidence, Reason: l.place.Reason, LateMS: finite(1000 * l.place.Lateness),
		})
	}
	return out
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
