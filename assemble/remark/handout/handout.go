// Package handout writes the page that is sent to a conductor: the rough cut, small,
// with its sound, inside one file that is opened without a server. What is remarked on
// it is saved as a small file, which `ripieno remarks --take` brings in.
package handout

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/graph"
	"ripieno/assemble/guide"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
	"ripieno/assemble/remark/kept"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// The page, among the outputs, and the film that it shows.
const (
	pageName = "review.html"
	filmName = "rough"
)

// rule is the version of how the small film is made.
const rule = 1

// Result is what was written.
type Result struct {
	File  string `json:"file"`
	Bytes int    `json:"bytes"`
	Film  string `json:"film"`   // the name of the film that is in it
	Hash  string `json:"sha256"` // of the film that it was made of, which an approval is about
	Lines int    `json:"lines"`
	Rate  int    `json:"video_bits_per_second"` // at most
}

// Write writes out/review.html of the rough cut.
func Write(ctx context.Context, s *session.Session) (Result, error) {
	r := Result{Film: filmName}
	var err error
	if r.File, err = s.OutFile(pageName); err != nil {
		return r, err
	}
	path, err := s.Out(filmName + ".mp4")
	if err != nil {
		return r, err
	}
	// The page names the film by its hash, so that remarks on an older cut are known as such.
	if r.Hash, err = kept.HashFilm(s.Settings().Out, filmName); err != nil {
		return r, err
	}
	if r.Hash == "" {
		return r, fault.New(fault.Decision, path, "there is no rough cut to send", "make it with ripieno rough")
	}
	info, err := media.Probe(ctx, s.Tool(), path)
	if err != nil {
		return r, err
	}
	if err := info.NeedVideo(); err != nil {
		return r, err
	}
	small, err := fit(path, info)
	if err != nil {
		return r, err
	}
	r.Lines, r.Rate = small.Canvas.H, small.Video
	film, err := shrink(ctx, s, path, r.Hash, small)
	if err != nil {
		return r, err
	}
	page, err := pageOf(s.Manifest(), r.Hash)
	if err != nil {
		return r, err
	}
	page.Film = film
	var out bytes.Buffer
	if err := report.WriteHandout(&out, page); err != nil {
		return r, fmt.Errorf("page %s: %w", r.File, err)
	}
	r.Bytes = out.Len()
	return r, session.Publish(ctx, r.File, out.Bytes())
}

// Bounds of the film inside the page: what mail takes, three quarters of it, since
// text that stands for bytes is a third longer.
const (
	mostBytes  = 15 << 20
	mostVideo  = 450_000 // bits a second; more shows nothing more in 360 lines
	leastVideo = 24_000
)

// fit chooses how small a film has to be, by how long it lasts. One that would be
// nothing but a blur is a fault.
func fit(path string, info media.Info) (graph.Small, error) {
	s := graph.Small{Sound: 64_000, Rate: shot.Rate{Num: info.Video.FPSNum, Den: info.Video.FPSDen}}
	room := int(8 * mostBytes / math.Max(1, info.Duration) * 0.97) // the file's own words take the rest
	if room < 160_000 {
		s.Sound, s.Mono = 32_000, true
	}
	s.Video = min(mostVideo, room-s.Sound)
	if s.Video < leastVideo {
		return s, fault.New(fault.Failed, path, fmt.Sprintf("a film of %.0f minutes is too long for one page",
			info.Duration/60), "send the rough cut itself, and write what is remarked on the desk")
	}
	lines := 360
	for _, step := range []struct{ rate, lines int }{{200_000, 270}, {90_000, 180}} {
		if s.Video < step.rate {
			lines = step.lines
		}
	}
	scale := math.Min(1, float64(lines)/float64(min(info.Video.W, info.Video.H)))
	s.Canvas = layout.Canvas{W: max(2, layout.NearEven(float64(info.Video.W)*scale)),
		H: max(2, layout.NearEven(float64(info.Video.H)*scale))}
	return s, nil
}

// shrink makes the small film, once, and returns its bytes.
func shrink(ctx context.Context, s *session.Session, path, hash string, small graph.Small) ([]byte, error) {
	t := task.Task{ID: "handout", Name: "the page for review", Stage: "shrink", Cost: 2,
		Action: store.NewAction("handout").
			Version(graph.Rule*1000+rule).Arg("ffmpeg", s.Tool().Version.Text).Arg("film", hash).Arg("small", small).
			Ext(".mp4").For("the page for review")}
	t.Make = func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
		cmd, err := graph.Shrink("file:"+path, small, "file:"+tmp)
		if err != nil {
			return err
		}
		return s.Tool().RunGraph(ctx, cmd, tmp, 0, nil)
	}
	made := task.Path(t)
	res, err := s.Run(ctx, task.Collect(made))
	if err != nil {
		return nil, err
	}
	at, ok, err := made.Result(res)
	if err == nil && !ok {
		err = made.Outcome(res).Err
	}
	if err != nil {
		return nil, err
	}
	return os.ReadFile(at)
}

// pageOf returns what the page says besides its film.
func pageOf(man *production.Production, hash string) (report.Handout, error) {
	words := phrase.Of(man.Language)
	p := report.Handout{Words: words, Title: man.Title, Composer: man.Composer, Ensemble: man.Ensemble,
		FilmName: filmName, Hash: hash}
	line, err := plan.NewTimeline(man)
	if err != nil {
		return p, err
	}
	p.AtZero = line.GuideAtZero()
	for b := range man.Tempo.Beats() {
		if !b.CountIn {
			p.Beats = append(p.Beats, report.BeatAt{At: b.Seconds, Measure: b.Measure, Number: b.Number})
		}
	}
	p.End = man.Tempo.End()
	for _, t := range man.Takes {
		if !t.IsWithheld() {
			p.Players = append(p.Players, report.Addressee{Take: t.Name, Name: t.PublicName(), Part: t.Part})
		}
	}
	book, err := kept.Load(man.Dir)
	if err != nil {
		return p, err
	}
	p.Said = Said(man, book.Beside(man.Tempo, remark.IsOpen))
	return p, nil
}

// Said returns remarks as pages show them. Players whose names are not to be shown
// have their part, also where a remark says the name; what is for somebody who released
// nothing stays in the file of remarks.
func Said(man *production.Production, list []remark.At) []report.Said {
	var out []report.Said
	for _, r := range shown(man, list) {
		r.By, r.Text = man.Discreet(r.By), man.Discreet(r.Text)
		// The ID is made of the words, and would tell who guesses the name that he is right.
		one := report.Said{ID: r.Named().ID, At: r.Time, Place: r.Place, Take: r.For, By: r.By, Text: r.Text,
			Settled: r.Settled}
		for _, t := range man.Takes {
			if t.Name == r.For {
				one.For = cmp.Or(t.PublicName(), t.Part)
			}
		}
		out = append(out, one)
	}
	return out
}

// shown returns the remarks that pages may show.
func shown(man *production.Production, list []remark.At) []remark.At {
	return slices.DeleteFunc(slices.Clone(list), func(r remark.At) bool {
		return slices.ContainsFunc(man.Takes, func(t production.Take) bool { return t.Name == r.For && t.IsWithheld() })
	})
}

// Fill adds to the report's page the rough cut, what was said of it, and guides that
// changed.
func Fill(page *report.Review, s *session.Session, line plan.Timeline, changed []guide.Change) error {
	for _, g := range changed {
		page.Guides = append(page.Guides, report.Notice{What: g.What, Hint: g.Hint})
	}
	man := s.Manifest()
	book, err := kept.Load(man.Dir)
	if err != nil {
		return err
	}
	hash, err := kept.HashFilm(s.Settings().Out, filmName)
	if err != nil {
		return err
	}
	if hash != "" {
		page.Film = &report.Film{Name: filmName + ".mp4", AtZero: line.GuideAtZero()}
	}
	list := shown(man, book.Beside(man.Tempo, remark.All))
	page.Remarks = Said(man, list)
	for i, r := range list {
		page.Remarks[i].Older = r.Of != "" && !strings.HasPrefix(hash, r.Of)
	}
	stands, err := kept.Stands(book, s.Settings().Out)
	for _, a := range stands {
		page.Approvals = append(page.Approvals,
			report.Approved{By: man.Discreet(a.By), Film: a.Film, Current: a.Current})
	}
	return err
}
