package assemble

import (
	"context"
	"os"
	"path/filepath"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/subtitle"
	"ripieno/assemble/task"
)

// writeChapters writes the chapters of a film beside tmp and gives the file's
// name for ffmpeg; "" when there are none.
func writeChapters(tmp string, chapters []plan.Chapter, line plan.Timeline) (string, error) {
	if len(chapters) == 0 {
		return "", nil
	}
	var list []subtitle.Chapter
	for _, c := range chapters {
		list = append(list, subtitle.Chapter{From: line.Rate.Seconds(c.Frame), Name: c.Name})
	}
	path := filepath.Join(filepath.Dir(tmp), "chapters.txt")
	return "file:" + path, os.WriteFile(path, []byte(subtitle.Metadata(list, line.Duration())), 0o666)
}

// posterTask takes the poster frame out of a finished film.
func (p *Production) posterTask(f plan.Film, line plan.Timeline, film task.Task) task.Task {
	key := store.NewAction("poster").Version(graph.Rule).Arg("frame", f.Poster).Arg("rate", line.Rate).
		Input("film", film.Action.ID()).Ext(".png").For(f.Name)
	return task.Task{
		ID: "poster/" + f.Name, Name: f.Name, Stage: "poster", Action: key, After: []string{film.ID}, Cost: costStill, Keep: true,
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			cmd, err := graph.Frame("file:"+in[film.ID], f.Poster, line.Rate, "file:"+tmp)
			if err != nil {
				return err
			}
			return p.runCommand(ctx, cmd, tmp, 0, nil)
		},
	}
}

// besideNames are the files that deliverBeside will put beside a film.
func (p *Production) besideNames(w plan.Want) []string {
	var names []string
	if w.Poster != nil && !w.Rough {
		names = append(names, w.Name+"-poster.png")
	}
	if len(p.man.Notes) > 0 && !w.Rough {
		names = append(names, w.Name+".vtt", w.Name+".srt")
	}
	return names
}

// deliverBeside puts the poster and the programme notes beside a finished
// film, under its name.
func (p *Production) deliverBeside(ctx context.Context, pl *plan.Plan, f plan.Film, poster *task.Task, r *FilmResult) error {
	var err error
	if poster != nil {
		if r.Poster, err = p.outFile(f.Name + "-poster.png"); err != nil {
			return err
		}
		if _, err := p.store.Deliver(ctx, poster.Action, r.Poster); err != nil {
			return err
		}
	}
	if len(pl.Notes) == 0 || f.Rough {
		return nil
	}
	var cues []subtitle.Cue
	for _, n := range pl.Notes {
		cues = append(cues, subtitle.Cue{From: pl.Timeline.Rate.Seconds(n.From), To: pl.Timeline.Rate.Seconds(n.To), Text: n.Text})
	}
	for _, file := range []struct{ ext, text string }{{".vtt", subtitle.WebVTT(cues)}, {".srt", subtitle.SRT(cues)}} {
		path, err := p.outFile(f.Name + file.ext)
		if err != nil {
			return err
		}
		if err := store.Publish(ctx, path, func(tmp string) error { return os.WriteFile(tmp, []byte(file.text), 0o666) }); err != nil {
			return err
		}
		r.Notes = append(r.Notes, path)
	}
	return nil
}
