package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// resolve turns the manifest's shot list into shots on output frames.
func resolve(p *production.Production, line Timeline) ([]shot.Shot, error) {
	seats := make([]shot.Seat, len(p.Takes))
	for i, t := range p.Takes {
		seats[i] = shot.Seat{Take: t.Name, Section: t.Section}
	}
	wants := make([]shot.Want, len(p.Shots))
	for i, s := range p.Shots {
		w := shot.Want{
			From: line.clamp(s.From), To: -1, Show: s.Show,
			Section: s.Section, Take: s.Take, Other: s.Other, Others: s.Others == production.OthersAround,
			Text: s.Text, Labels: p.Picture.Labels,
		}
		if s.To != nil {
			w.To = line.clamp(*s.To)
		}
		if s.Labels != nil {
			w.Labels = *s.Labels
		}
		wants[i] = w
	}
	shots, err := shot.Resolve(line.Frames, seats, wants, p.Picture.Labels)
	if err != nil {
		return nil, shotFaults(p, err)
	}
	for i := range shots {
		shots[i].Labels = shots[i].Labels && shots[i].Show != shot.Card
	}
	return shots, nil
}

// Shots returns what a film of the production shows when, on its timeline.
func Shots(p *production.Production) ([]shot.Shot, Timeline, error) {
	line, err := NewTimeline(p)
	if err != nil {
		return nil, line, err
	}
	shots, err := resolve(p, line)
	return shots, line, err
}

// shotFaults points every problem of the shot list at its line.
func shotFaults(p *production.Production, err error) error {
	all := []error{err}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		all = joined.Unwrap()
	}
	var list fault.List
	for _, e := range all {
		var w *shot.WantError
		if !errors.As(e, &w) {
			return fault.New(fault.Manifest, p.Path, "the shot list cannot be laid out", "").Because(err)
		}
		list.Add(fault.At(fault.Manifest, p.Shots[w.Index].Mark, e.Error(), shotHint(w.Problem)))
	}
	return list.Err()
}

// shotHint says how to mend a shot.
func shotHint(p shot.Problem) string {
	switch p {
	case shot.UnknownKind:
		return fmt.Sprintf("a shot shows one of %v", shot.Kinds())
	case shot.UnknownTake:
		return "write the name of a take, as under takes"
	case shot.UnknownSection:
		return "write the section of at least one take"
	case shot.Overlap:
		return "end the first shot where the next begins, or leave out its to"
	}
	return "shots are frames of the film; check from and to, the measures of the piece, lead_in and tail"
}

// clamp returns the output frame of a manifest time, kept inside the film.
func (t Timeline) clamp(m production.Time) int {
	return min(max(t.Output(t.guide(m)), 0), t.Frames)
}

// film lays out one deliverable: who is seen where in every shot, what is written over them,
// what is cut into segments. It fails for what does not fit on the canvas.
func film(p *production.Production, facts map[string]Facts, line Timeline, shots []shot.Shot, w Want,
	l Look) (*Film, error) {
	f := &Film{Name: w.Name, Canvas: w.Canvas, Rough: w.Rough, Quick: w.Quick, Marks: w.Marks, Codec: w.Codec,
		Language: p.Language}
	f.Scenery = p.Picture.Backdrop != nil || p.Picture.BackgroundTo != "" || p.Picture.Blurred && l.Backdrop != nil
	f.FadeIn = min(line.Rate.Frame(p.Picture.FadeIn), line.Frames)
	f.FadeOut = min(line.Rate.Frame(p.Picture.FadeOut), line.Frames)
	f.Soften = line.Rate.Frame(p.Picture.LabelsFade)
	f.Poster = -1
	if w.Poster != nil {
		f.Poster = min(line.clamp(*w.Poster), line.Frames-1)
	}
	f.Look = card.LabelLook{Style: p.Picture.LabelStyle, Screen: p.Picture.SmallestScreen,
		Ground: Colour(p.Picture.Background)}
	h := newArranger(p, facts, w)
	f.fixed = !slices.ContainsFunc(shots, func(s shot.Shot) bool { return h.aspectOf(s).Shapes != (layout.Shapes{}) })
	gone := missing(p, facts, w)
	h.untiled = untiled(p, facts, gone)
	f.Cards = newCards(p, gone)
	for _, s := range shots {
		s = h.without(s)
		out := Shot{Span: Span{s.From, s.To}, Show: s.Show, Text: s.Text, Labels: s.Labels, Pages: 1, Sheets: 1}
		out.LabelsTo = labelsTo(p, s, line)
		if s.Want >= 0 {
			out.PushIn = p.Shots[s.Want].PushIn
		}
		var err error
		if out.Into, err = into(p, f.Shots, s, line); err != nil {
			return nil, err
		}
		if s.Want >= 0 && p.Shots[s.Want].Roll {
			if out.Roll, err = f.Cards.rollOf(l, out, p.Shots[s.Want].Mark, w.Canvas, line); err != nil {
				return nil, err
			}
		} else if s.Show == shot.Card {
			if out.Pages, err = f.Cards.pages(l, out, w.Canvas); err != nil {
				return nil, err
			}
		}
		if len(s.Takes) == 0 {
			f.Shots = append(f.Shots, out)
			continue
		}
		if err := f.show(h, s, out, line); err != nil {
			return nil, err
		}
	}
	f.placeNames(h, l)
	f.conform(h, line)
	f.cut(line)
	return f, nil
}

// show adds a shot of takes, in several parts when they need several sheets.
func (f *Film) show(h *arranger, s shot.Shot, whole Shot, line Timeline) error {
	sheets, err := h.arrange(s)
	if err != nil {
		return err
	}
	spans := h.turns(whole.Span, len(sheets), line)
	for i, sheet := range sheets {
		out := whole
		out.Span, out.Sheet, out.Sheets = spans[i], i, len(sheets)
		out.LabelsTo = min(out.To, out.From+whole.LabelsTo-whole.From)
		if i > 0 {
			out.Into = Transition{Kind: production.Cut}
		}
		lead := Span{out.From - out.Into.Frames, out.To}
		for _, seat := range sheet {
			strip := f.stripOf(out, seat.tile, h.facts[seat.take])
			tile, err := h.newTile(s, seat.take, above(seat.tile, strip), line, lead)
			if err != nil {
				return err
			}
			tile.Rect, tile.Strip = seat.tile, strip
			if !f.fixed || !h.takes[seat.take].IsFramed() {
				tile.Head = head(tile, h.facts[seat.take])
			}
			tile.Seat = h.places[seat.take]
			out.Tiles = append(out.Tiles, tile)
		}
		parts, err := h.entrances(s, out, line)
		if err != nil {
			return err
		}
		f.Shots = append(f.Shots, parts...)
	}
	return nil
}

// newTile stands a take in its rectangle for one shot.
func (h *arranger) newTile(s shot.Shot, take string, r layout.Rect, line Timeline, span Span) (Tile, error) {
	t, f := h.takes[take], h.facts[take]
	tile := Tile{Take: t.Name, Rect: r, Fit: t.Fit, Player: t.PublicName(), Part: t.Part, Section: t.Section,
		Behind: t.Behind, Absent: f.Absent, Card: f.Picture == nil, Silent: f.Sound == nil, Conform: -1}
	if f.Absent == Withheld {
		tile.Part, tile.Section = "", "" // in a small ensemble the part tells who it is
		return tile, nil
	}
	if t.Backing != nil {
		tile.Backing = t.Backing.Path
	}
	if f.Picture == nil {
		return tile, nil
	}
	shown := visible(t, *f.Picture, line)
	tile.Shown = Span{shown.From - line.First, shown.To - line.First}.Meet(span)
	if tile.Shown.Len() == 0 {
		tile.Shown = Span{span.From, span.From}
		return tile, nil
	}
	hole := r
	if t.Fit == "crop" && h.aspectOf(s).Shapes != (layout.Shapes{}) {
		if hole = halved(r, f.Picture.W, f.Picture.H); hole != r {
			tile.Behind = BehindBlur
		}
	}
	focus, sure := focusOf(t, f, hole)
	tile.Sure = sure
	placed, err := layout.Place(f.Picture.W, f.Picture.H, hole, layout.Mode(t.Fit), focus)
	if err != nil {
		return tile, fault.At(fault.Manifest, t.Mark,
			fmt.Sprintf("the picture of take %q cannot be placed in its tile", t.Name),
			"check fit and crop").Because(err)
	}
	tile.Source, tile.Hole = placed.Source, placed.Target
	return tile, nil
}

// exists returns the span of guide frames of the film in which a file has a
// picture. Each output frame shows the source frame nearest to it, so a frame
// takes over half its length before its time.
func exists(pic Picture, line Timeline) Span {
	return pic.Seen(line.Rate).Meet(Span{line.First, line.First + line.Frames})
}

// Seen returns the guide frames of a rate that have a picture of the file, also before
// guide time 0.
func (p Picture) Seen(rate shot.Rate) Span {
	return Span{p.frameFrom(p.First, rate), p.frameFrom(p.Last, rate)}
}

// frameFrom returns the first guide frame that shows the source frame of a file
// time, or a later one.
func (p Picture) frameFrom(file float64, rate shot.Rate) int {
	return int(math.Ceil((p.Guide(file)-p.Lead())*rate.FPS() - 3e-5))
}

// visible returns the span of guide frames in which a take has a picture: where it
// exists, cut to the manifest's trim.
func visible(t production.Take, pic Picture, line Timeline) Span {
	s := exists(pic, line)
	if t.TrimFrom != nil {
		s.From = max(s.From, line.Rate.Frame(line.guide(*t.TrimFrom)))
	}
	if t.TrimTo != nil {
		s.To = min(s.To, line.Rate.Frame(line.guide(*t.TrimTo)))
	}
	return s
}
