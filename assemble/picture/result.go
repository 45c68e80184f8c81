package picture

import (
	"fmt"

	"ripieno/assemble/plan"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/flash"
)

// The types in this file are, encoded as JSON, what --json prints. Field names
// and units are part of the interface: times in seconds, sizes in pixels.

// Box is a rectangle in pixels.
type Box struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

// TileResult is one tile of a shot.
type TileResult struct {
	Take   string `json:"take"` // "" for one of which nothing may be made
	X      int    `json:"x"`
	Y      int    `json:"y"`
	W      int    `json:"w"`
	H      int    `json:"h"`
	Fit    string `json:"fit"`
	Source *Box   `json:"source"`         // nil when no picture is shown
	Card   string `json:"card,omitempty"` // why a card stands here
	// AutoCrop is how sure crop: auto is of the player's place, 0 to 1; too
	// little of it leaves the middle.
	AutoCrop float64 `json:"auto_crop_confidence,omitempty"`
}

// ShotResult is one shot on output time.
type ShotResult struct {
	From  float64      `json:"from"`
	To    float64      `json:"to"`
	Show  string       `json:"show"`
	Tiles []TileResult `json:"tiles"`
	// How the shot takes over from the one before: cut, dissolve or move, and
	// how many seconds before From that begins.
	Transition        string  `json:"transition"`
	TransitionSeconds float64 `json:"transition_s,omitempty"`
	// Sheet of Sheets, from 1, when the tiles would have been too small on one.
	Sheet  int `json:"sheet,omitempty"`
	Sheets int `json:"sheets,omitempty"`
}

// CanvasResult is the size of a film.
type CanvasResult struct {
	W int `json:"w"`
	H int `json:"h"`
}

// ShotResults returns the shots of a film as --json prints them.
func ShotResults(f plan.Film, line plan.Timeline) []ShotResult {
	var list []ShotResult
	for _, s := range f.Shots {
		g := ShotResult{From: line.Rate.Seconds(s.From), To: line.Rate.Seconds(s.To), Show: string(s.Show),
			Tiles: []TileResult{}, Transition: string(s.Into.Kind)}
		g.TransitionSeconds = line.Rate.Seconds(s.Into.Frames)
		if s.Sheets > 1 {
			g.Sheet, g.Sheets = s.Sheet+1, s.Sheets
		}
		for _, t := range s.Tiles {
			tile := TileResult{Take: t.PublicTake(), X: t.Rect.X, Y: t.Rect.Y, W: t.Rect.W, H: t.Rect.H,
				Fit: string(t.Fit)}
			if t.Card {
				tile.Card = Note(t, phrase.Of(phrase.Default))
			} else {
				tile.AutoCrop = t.Sure
				tile.Source = &Box{t.Source.X, t.Source.Y, t.Source.W, t.Source.H}
			}
			g.Tiles = append(g.Tiles, tile)
		}
		list = append(list, g)
	}
	return list
}

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

// NewFlashes returns what was counted in a film, and what a person has to be
// warned of when the limit is exceeded; "" when it is not.
func NewFlashes(film string, r flash.Result) (f *Flashes, warning string) {
	f = &Flashes{Worst: r.Flashes, At: r.At, Red: r.Red, RedAt: r.RedAt, TooMany: r.TooMany()}
	if f.TooMany {
		what := fmt.Sprintf("flashes %d times within a second at %.1f s", f.Worst, f.At)
		if f.Red > f.Worst {
			what = fmt.Sprintf("flashes red %d times within a second at %.1f s", f.Red, f.RedAt)
		}
		warning = fmt.Sprintf("%s %s; more than %d can harm people with photosensitive epilepsy (ITU-R BT.1702, "+
			"WCAG 2.3.1): "+
			"look for a lamp that flickers or light that changes with every beat, or warn your audience", film, what,
			flash.MostPerSecond)
	}
	return f, warning
}
