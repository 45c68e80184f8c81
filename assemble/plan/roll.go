package plan

import (
	"fmt"
	"math"

	"ripieno/assemble/fault"
	"ripieno/layout"
	"ripieno/layout/card"
)

// Roll is how the credits move up in a shot: by whole pixels, the same number
// each frame, from below the canvas to above it. Its zero value is none.
type Roll struct {
	Step    int     // pixels a frame
	First   int     // row of the roll at the top of the canvas in the shot's first frame; negative
	Stretch float64 // of the distance between rows
}

// Bounds of a roll. A line that crosses the canvas in less than readSeconds
// cannot be read by everybody (common practice, no source; television gives
// rolls six to ten seconds). Rows stand closer or further apart, within these
// factors, so that whole pixels a frame take the shot's whole length.
const (
	readSeconds          = 6
	rollTight, rollLoose = 0.9, 2
)

// Top returns the row of the roll at the top of the canvas k frames into the shot.
func (r Roll) Top(k int) int { return r.First + k*r.Step }

// rollOf finds the speed at which the credits of a shot pass in its length.
func (k Cards) rollOf(l Look, s Shot, mark fault.Mark, c layout.Canvas, line Timeline) (Roll, error) {
	r, err := k.NewRoll(l, c, 1)
	if err != nil {
		return Roll{}, err
	}
	n := s.Len()
	exact := float64(r.Height+c.H) / float64(n) // pixels a frame
	if seconds := float64(c.H) / (exact * line.Rate.FPS()); seconds < readSeconds {
		need := float64(r.Height+c.H) / float64(c.H) * readSeconds
		return Roll{}, fault.At(fault.Manifest, mark,
			fmt.Sprintf("the credits need %.0f seconds to roll slowly enough to be read, and the shot lasts %.1f",
				math.Ceil(need), line.Rate.Seconds(n)),
			"make the shot longer, or leave out roll for pages that stand")
	}
	tight, err := k.NewRoll(l, c, rollTight)
	if err != nil {
		return Roll{}, err
	}
	step := int(math.Ceil(exact))
	if slower := int(exact); slower > 0 && tight.Height <= n*slower-c.H {
		step = slower
	}
	return rollAt(step, n*step-c.H, c, tight,
		func(stretch float64) (*card.Roll, error) { return k.NewRoll(l, c, stretch) })
}

// rollAt spreads the rows of a roll over so many pixels, as far as may be.
// Whatever is left over stays empty before and behind in equal parts.
func rollAt(step, room int, c layout.Canvas, tight *card.Roll, set func(float64) (*card.Roll, error)) (Roll, error) {
	r, err := set(rollLoose)
	if err != nil {
		return Roll{}, err
	}
	out := Roll{Step: step, Stretch: rollLoose}
	if r.Height > room {
		// The height grows with the stretch in a straight line, but for rounding.
		part := float64(room-tight.Height) / float64(r.Height-tight.Height)
		out.Stretch = max(rollTight, math.Floor(100*(rollTight+(rollLoose-rollTight)*part)-1)/100)
		if r, err = set(out.Stretch); err != nil {
			return Roll{}, err
		}
	}
	out.First = step - c.H - (room-r.Height)/2
	return out, nil
}

// NewRoll sets the credits as a roll.
func (k Cards) NewRoll(l Look, c layout.Canvas, stretch float64) (*card.Roll, error) {
	return card.NewRoll(c, k.credits(l, c), stretch)
}

// credits returns what the roster says, in pages or as a roll.
func (k Cards) credits(l Look, c layout.Canvas) card.CreditsOptions {
	return card.CreditsOptions{Background: k.Background, Backdrop: l.backdrop(c), Title: k.Title, Credits: k.Roster,
		Foot: k.Foot, Fonts: l.Fonts}
}
