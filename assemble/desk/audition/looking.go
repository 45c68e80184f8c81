package audition

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"slices"

	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/mix/audio"
)

// Looking is the picture as it is planned, with a still of every take. Names and
// hidden players are in it as the person at the desk knows them: it never leaves this
// computer.
type Looking struct {
	Films []Film       `json:"films"` // the same in several shapes
	Takes []Seen       `json:"takes"` // in the manifest's order
	Shots []ListedShot `json:"shots"` // as the manifest lists them
	Beats []Beat       `json:"beats"`
	Start float64      `json:"start"` // guide time of the film's beginning
	End   float64      `json:"end"`

	stills map[string][]byte // JPEG, by take
}

// Film is the picture on one canvas.
type Film struct {
	Name  string `json:"name"`
	W     int    `json:"w"`
	H     int    `json:"h"`
	Shots []Shot `json:"shots"`
}

// Shot is what a film shows over a span of guide time.
type Shot struct {
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	Show  string  `json:"show"`
	Tiles []Tile  `json:"tiles"`
}

// Tile is a take on the canvas.
type Tile struct {
	Take string      `json:"take"`
	Rect picture.Box `json:"rect"`
	Hole picture.Box `json:"hole"` // where the picture is
	// Source is what of the upright picture is shown, in its pixels; null for a card.
	Source *picture.Box `json:"source"`
	Head   *picture.Box `json:"head"` // on the canvas; null where nothing is known of it
	Seat   int          `json:"seat"`
}

// Seen is a take in the picture.
type Seen struct {
	Take    string `json:"take"`
	Player  string `json:"player"`
	Part    string `json:"part"`
	Section string `json:"section"`
	Seat    int    `json:"seat"`
	Still   bool   `json:"still"`
	W       int    `json:"w"` // of the upright picture
	H       int    `json:"h"`
	// Crop is the manifest's: the point that is kept in the middle, and how near. It
	// is null where the program chooses.
	Crop *Crop `json:"crop"`
	Fit  bool  `json:"fit"` // the whole picture is shown
}

// Crop is what is kept of a picture.
type Crop struct {
	X    float64 `json:"x"`
	Y    float64 `json:"y"`
	Zoom float64 `json:"zoom"`
}

// ListedShot is an entry of the manifest's shots.
type ListedShot struct {
	From       float64  `json:"from"` // guide time
	FromText   string   `json:"from_text"`
	To         *float64 `json:"to"` // null: the next shot
	ToText     string   `json:"to_text"`
	Show       string   `json:"show"`
	Take       string   `json:"take"`
	Other      string   `json:"other"` // the right one of a pair
	Section    string   `json:"section"`
	Text       string   `json:"text"`
	Transition string   `json:"transition"`
}

// Canvases returns the shapes in which the picture is looked at side by side: three that
// films mostly have, and those of the finished films that have none of these, or tiles of
// a shape of their own.
func Canvases(man *production.Production) []plan.Want {
	list := []plan.Want{
		{Name: "16:9", Canvas: layout.Canvas{W: 1920, H: 1080}, KeepSeats: true},
		{Name: "9:16", Canvas: layout.Canvas{W: 1080, H: 1920}, KeepSeats: true},
		{Name: "1:1", Canvas: layout.Canvas{W: 1080, H: 1080}, KeepSeats: true},
	}
	for _, d := range man.Deliver {
		same := func(w plan.Want) bool {
			return w.Canvas.W*d.H == w.Canvas.H*d.W && w.Aspect == d.Aspect
		}
		if !slices.ContainsFunc(list, same) {
			list = append(list, plan.Want{Name: fmt.Sprintf("%s, %d x %d", d.Name, d.W, d.H),
				Canvas: layout.Canvas{W: d.W, H: d.H}, KeepSeats: true, Aspect: d.Aspect})
		}
	}
	return list
}

// Still returns the still of a take as a JPEG; ok is false for a take without.
func (l *Looking) Still(take string) (jpeg []byte, ok bool) {
	if l == nil {
		return nil, false
	}
	jpeg, ok = l.stills[take]
	return jpeg, ok
}

// Look gathers what is planned, and takes the stills that are missing. A still that
// cannot be taken is left out. It fails when ctx ends or the run does. Takes are not
// listened to, so it is there at once after a change of seats or crops.
func Look(ctx context.Context, x *session.Session, set *takes.Set, pl *plan.Plan) (*Looking, error) {
	man, line := x.Manifest(), pl.Timeline
	l := &Looking{Takes: []Seen{}, Shots: []ListedShot{}, Beats: beats(man.Tempo), Start: line.GuideAtZero(),
		End: line.GuideAtZero() + line.Duration(), stills: map[string][]byte{}}
	for _, f := range pl.Films {
		l.Films = append(l.Films, filmOf(f, line))
	}
	for _, s := range man.Shots {
		l.Shots = append(l.Shots, listedShot(s, l))
	}
	seats := plan.Places(man)
	maker := picture.New(x.Tool(), x.Store().Steady, &plan.Plan{Timeline: plan.Timeline{Rate: stripRate}}, nil, nil)
	made := map[string]task.Ref[image.Image]{}
	var edges []task.Edge
	for _, t := range set.Takes {
		if t.IsWithheld() {
			continue
		}
		one := Seen{Take: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Seat: seats[t.Name],
			Fit: t.Fit == layout.Fit}
		if !t.AutoCrop {
			one.Crop = &Crop{t.Crop.X, t.Crop.Y, t.Crop.Zoom}
		}
		if v := t.Video; v != nil && v.HasPicture() {
			pic := v.Picture(audio.Clock{})
			one.W, one.H = pic.W, pic.H
			still, err := stillOf(maker, t.Name, v)
			if err != nil {
				return nil, err
			}
			made[t.Name], edges = still, append(edges, still)
		}
		l.Takes = append(l.Takes, one)
	}
	return l, l.read(ctx, x, made, edges)
}

// Stills are at most so large, taken at so much of a file.
const (
	stillSide   = 480
	stillMoment = 0.4
)

// stillOf plans the still of a take, from the middle of its file: where it lies on
// guide time does not matter here.
func stillOf(maker *picture.Maker, take string, v *takes.Recording) (task.Ref[image.Image], error) {
	pic := *v.Picture(audio.Clock{})
	pic.Parts, pic.Gain = nil, [3]float64{}
	scale := min(1, stillSide/float64(max(1, pic.W, pic.H)))
	at := pic.First + stillMoment*(pic.Last-pic.First)
	n := stripRate.Frame(math.Max(0, at))
	return maker.Still(plan.Conform{Take: take, Picture: pic, W: max(2, layout.NearEven(float64(pic.W)*scale)),
		H: max(2, layout.NearEven(float64(pic.H)*scale)), Frames: plan.Span{From: n, To: n + 1}}, true)
}

// read takes the stills and keeps them as they are shown. One that cannot be taken is
// left out.
func (l *Looking) read(ctx context.Context, x *session.Session, made map[string]task.Ref[image.Image],
	edges []task.Edge) error {
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return err
	}
	for _, t := range l.Takes {
		ref, ok := made[t.Take]
		if !ok {
			continue
		}
		img, ok, err := ref.Result(res)
		if err != nil || !ok {
			continue
		}
		var out bytes.Buffer
		if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 82}); err != nil {
			return err
		}
		l.Keep(t.Take, out.Bytes())
	}
	return nil
}

// Keep keeps the still of a take, as a JPEG.
func (l *Looking) Keep(take string, jpeg []byte) {
	for i := range l.Takes {
		if l.Takes[i].Take == take {
			l.Takes[i].Still = true
		}
	}
	if l.stills == nil {
		l.stills = map[string][]byte{}
	}
	l.stills[take] = jpeg
}

// filmOf returns a planned film.
func filmOf(f plan.Film, line plan.Timeline) Film {
	out := Film{Name: f.Name, W: f.Canvas.W, H: f.Canvas.H, Shots: []Shot{}}
	for _, s := range f.Shots {
		one := Shot{From: line.GuideAtZero() + line.Rate.Seconds(s.From), To: line.GuideAtZero() +
			line.Rate.Seconds(s.To), Show: string(s.Show), Tiles: []Tile{}}
		for _, t := range s.Tiles {
			tile := Tile{Take: t.Take, Rect: box(t.Rect), Hole: box(t.Hole), Seat: t.Seat}
			if t.Hole == (layout.Rect{}) {
				tile.Hole = tile.Rect
			}
			if !t.Card {
				source := box(t.Source)
				tile.Source = &source
			}
			if t.Head != (layout.Rect{}) {
				head := box(t.Head)
				tile.Head = &head
			}
			one.Tiles = append(one.Tiles, tile)
		}
		out.Shots = append(out.Shots, one)
	}
	return out
}

// listedShot returns an entry of the manifest's shots. Ends of the film become guide
// time, so that the page needs no case for them.
func listedShot(s production.Shot, l *Looking) ListedShot {
	seconds := func(t production.Time) float64 {
		switch t.Edge {
		case production.FilmStart:
			return l.Start
		case production.FilmEnd:
			return l.End
		}
		return t.Seconds
	}
	out := ListedShot{From: seconds(s.From), FromText: s.From.Text, Show: string(s.Show), Take: s.Take,
		Other: s.Other, Section: s.Section, Text: s.Text, Transition: string(s.Transition.Kind)}
	if out.Transition == "" {
		out.Transition = string(production.Cut)
	}
	if s.To != nil {
		to := seconds(*s.To)
		out.To, out.ToText = &to, s.To.Text
	}
	return out
}

// box returns a rectangle as pages have it.
func box(r layout.Rect) picture.Box { return picture.Box{X: r.X, Y: r.Y, W: r.W, H: r.H} }
