package assemble

import (
	"cmp"
	"context"
	"fmt"
	"image/png"
	"os"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/mix/tempo"
)

// Grid plans the picture of every deliverable and draws each plan for a person
// to read. It looks at the files but does not listen to them: a take counts as
// seen from start to end.
func (p *Production) Grid(ctx context.Context) (GridResult, error) {
	recs, err := p.recordings(ctx)
	if err != nil {
		return GridResult{}, err
	}
	if err := p.lookForPlayers(ctx, recs); err != nil {
		return GridResult{}, err
	}
	if err := p.readLook(ctx); err != nil {
		return GridResult{}, err
	}
	all := make([]located, len(recs))
	for i, r := range recs {
		all[i] = located{recording: r}
		all[i].place.Sure = true
	}
	facts, faults := p.facts(all, nil)
	for _, f := range facts {
		if f.Picture != nil {
			f.Picture.First, f.Picture.Last = -1e6, 1e6
		}
	}
	pl, err := plan.New(p.man, facts, p.deliverables(), p.look.Look)
	if err != nil {
		return GridResult{}, err
	}
	var results []GridResult
	for _, f := range pl.Films {
		r := gridResult(f, pl.Timeline)
		if r.PNG, err = p.outFile("grid-" + f.Name + ".png"); err != nil {
			return GridResult{}, err
		}
		img, err := card.PlanPicture(p.planOptions(f, pl.Timeline))
		if err != nil {
			return GridResult{}, err
		}
		err = store.Publish(ctx, r.PNG, func(tmp string) error { return writePNG(tmp, img, png.DefaultCompression) })
		if err != nil {
			return GridResult{}, err
		}
		if r.SVG, err = p.outFile("grid-" + f.Name + ".svg"); err != nil {
			return GridResult{}, err
		}
		svg, err := card.PlanSVG(p.planOptions(f, pl.Timeline))
		if err != nil {
			return GridResult{}, err
		}
		err = store.Publish(ctx, r.SVG, func(tmp string) error { return os.WriteFile(tmp, svg, 0o666) })
		if err != nil {
			return GridResult{}, err
		}
		results = append(results, r)
	}
	first := results[0]
	first.Others, first.Faults = results[1:], faults
	return first, nil
}

// PinSeats writes where every take sits into the manifest, so that a line for
// one more player, anywhere in it, moves as few as possible. It tells how many
// takes had no seat written. No film changes by it.
func (p *Production) PinSeats(ctx context.Context) (int, error) {
	if err := p.man.NeedTakes(); err != nil {
		return 0, err
	}
	data, err := os.ReadFile(p.man.Path)
	if err != nil {
		return 0, fault.New(fault.Manifest, p.man.Path, "the manifest cannot be read", "").Because(err)
	}
	places := plan.Places(p.man)
	if data, err = manifest.PinSeats(data, p.man, places, len(p.man.Takes)); err != nil {
		return 0, err
	}
	n := 0
	for i, t := range p.man.Takes {
		if t.Seat == 0 {
			n++
		}
		p.man.Takes[i].Seat = places[t.Name]
	}
	p.man.Seats = cmp.Or(p.man.Seats, len(p.man.Takes))
	return n, rewriteManifest(ctx, p.man.Path, data)
}

// deliverables are the films the manifest asks for.
func (p *Production) deliverables() []plan.Want {
	var wants []plan.Want
	for _, d := range p.man.Deliver {
		wants = append(wants, plan.Want{Name: d.Name, Canvas: layout.Canvas{W: d.W, H: d.H}, Codec: d.Codec, Poster: d.Poster})
	}
	return wants
}

func gridResult(f plan.Film, line plan.Timeline) GridResult {
	r := GridResult{
		Name: f.Name, Canvas: GridCanvas{f.Canvas.W, f.Canvas.H}, FPS: line.Rate.FPS(),
		GuideAtZero: line.GuideAtZero(), Duration: line.Duration(),
	}
	for _, s := range f.Shots {
		g := GridShot{From: line.Rate.Seconds(s.From), To: line.Rate.Seconds(s.To), Show: string(s.Show), Tiles: []GridTile{}, Transition: s.Into.Kind}
		g.TransitionSeconds = line.Rate.Seconds(s.Into.Frames)
		if s.Sheets > 1 {
			g.Sheet, g.Sheets = s.Sheet+1, s.Sheets
		}
		for _, t := range s.Tiles {
			tile := GridTile{Take: publicTake(t), X: t.Rect.X, Y: t.Rect.Y, W: t.Rect.W, H: t.Rect.H, Fit: t.Fit}
			if t.Card {
				tile.Card = note(t)
			} else {
				tile.AutoCrop = t.Sure
				tile.Source = &Box{t.Source.X, t.Source.Y, t.Source.W, t.Source.H}
			}
			g.Tiles = append(g.Tiles, tile)
		}
		r.Shots = append(r.Shots, g)
	}
	return r
}

// planOptions is the drawing of a film's plan, with musical positions.
func (p *Production) planOptions(f plan.Film, line plan.Timeline) card.PlanOptions {
	seats := plan.Places(p.man)
	takes := map[string]manifest.Take{}
	for _, t := range p.man.Takes {
		takes[t.Name] = t
	}
	o := card.PlanOptions{Canvas: f.Canvas, Title: fmt.Sprintf("%s · %s", p.man.Title, f.Name), Fonts: p.look.Fonts}
	for _, s := range f.Shots {
		from, to := line.Rate.Seconds(s.From+line.First), line.Rate.Seconds(s.To+line.First)
		shot := card.PlanShot{
			Caption: fmt.Sprintf("%s · %s to %s · %.1f s", s.Show, position(p.man.Tempo, from), position(p.man.Tempo, to), to-from),
			Text:    s.Text,
		}
		for _, t := range s.Tiles {
			tile := card.PlanTile{
				Tile: t.Rect, Picture: t.Hole, Seat: seats[t.Take], Take: publicTake(t), Player: t.Player, Part: t.Part,
			}
			if t.Absent != plan.Withheld {
				tile.Section = takes[t.Take].Section
			}
			if t.Card {
				tile.Note = note(t)
			}
			shot.Tiles = append(shot.Tiles, tile)
		}
		o.Shots = append(o.Shots, shot)
	}
	return o
}

// position is a guide time in the words of the piece: a measure and beat, or
// how far it is outside.
func position(m *tempo.Map, seconds float64) string {
	const slack = 0.02 // half a frame: a shot begins on a frame, not on a beat
	switch {
	case seconds < m.Start()-slack:
		return fmt.Sprintf("%.1f s before m1", m.Start()-seconds)
	case seconds > m.End()-slack:
		return fmt.Sprintf("%.1f s after the end", max(0, seconds-m.End()))
	}
	pos := m.Position(seconds + slack)
	if beat := int(pos.Beat); beat > 1 {
		return fmt.Sprintf("m%d.%d", pos.Measure, beat)
	}
	return fmt.Sprintf("m%d", pos.Measure)
}
