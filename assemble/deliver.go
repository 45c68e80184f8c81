package assemble

import (
	"context"
	"fmt"
	"os"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/subtitle"
	"ripieno/layout/flash"
)

// Flashes is the worst second of a film by the limits of ITU-R BT.1702 and
// WCAG 2.3.1, for flashes of light and of saturated red.
type Flashes struct {
	Worst int     `json:"worst_per_second"`
	At    float64 `json:"at"` // seconds of the film at which that second begins
	Red   int     `json:"red_worst_per_second"`
	RedAt float64 `json:"red_at"`
	// TooMany tells whether there are more than three of either.
	TooMany bool `json:"too_many"`
}

// flashes says what was counted in a film and warns when the limit is exceeded.
func (p *Production) flashes(film string, r flash.Result) *Flashes {
	f := &Flashes{Worst: r.Flashes, At: r.At, Red: r.Red, RedAt: r.RedAt, TooMany: r.TooMany()}
	if f.TooMany {
		what := fmt.Sprintf("flashes %d times within a second at %.1f s", f.Worst, f.At)
		if f.Red > f.Worst {
			what = fmt.Sprintf("flashes red %d times within a second at %.1f s", f.Red, f.RedAt)
		}
		p.Message(fmt.Sprintf("%s %s; more than %d can harm people with photosensitive epilepsy (ITU-R BT.1702, WCAG 2.3.1): "+
			"look for a lamp that flickers or light that changes with every beat, or warn your audience", film, what, flash.MostPerSecond))
	}
	return f
}

// writeNotes puts the programme notes beside a finished film, under its name.
func (p *Production) writeNotes(ctx context.Context, pl *plan.Plan, f plan.Film, r *FilmResult) error {
	if len(pl.Notes) == 0 || f.Rough {
		return nil
	}
	var cues []subtitle.Cue
	for _, n := range pl.Notes {
		cues = append(cues, subtitle.Cue{From: pl.Timeline.Rate.Seconds(n.From), To: pl.Timeline.Rate.Seconds(n.To), Text: n.Text})
	}
	for _, file := range []struct{ ext, text string }{{".vtt", subtitle.WebVTT(cues)}, {".srt", subtitle.SRT(cues)}} {
		path, err := p.Out(f.Name + file.ext)
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
