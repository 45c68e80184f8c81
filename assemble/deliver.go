package assemble

import (
	"context"
	"os"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/subtitle"
)

// writeNotes puts the programme notes beside a finished film, under its name.
func writeNotes(ctx context.Context, p *Production, pl *plan.Plan, f plan.Film, r *FilmResult) error {
	if len(pl.Notes) == 0 || f.Rough {
		return nil
	}
	var cues []subtitle.Cue
	for _, n := range pl.Notes {
		cues = append(cues, subtitle.Cue{From: pl.Timeline.Rate.Seconds(n.From), To: pl.Timeline.Rate.Seconds(n.To),
			Text: n.Text})
	}
	for _, file := range []struct{ ext, text string }{{".vtt", subtitle.WebVTT(cues)}, {".srt", subtitle.SRT(cues)}} {
		path, err := p.OutFile(f.Name + file.ext)
		if err != nil {
			return err
		}
		if err := store.Publish(ctx, path, func(tmp string) error {
			return os.WriteFile(tmp, []byte(file.text), 0o666)
		}); err != nil {
			return err
		}
		r.Notes = append(r.Notes, path)
	}
	return nil
}

// besideNames returns the files that will be put beside a film. They are checked
// before anything is made: an hour of work must not end at a folder of that name.
func besideNames(p *Production, w plan.Want) []string {
	var names []string
	if w.Poster != nil && !w.Rough {
		names = append(names, w.Name+"-poster.png")
	}
	if len(p.Manifest().Notes) > 0 && !w.Rough {
		names = append(names, w.Name+".vtt", w.Name+".srt")
	}
	return names
}
