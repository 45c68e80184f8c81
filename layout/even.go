package layout

import (
	"fmt"
	"math"
)

// Limits of what this package plans. The upper canvas bound keeps every
// product of two sizes well inside an int; it is larger than any picture
// H.264 level 6.2 can carry (8192 by 4352, ITU-T H.264 table A-1, from
// memory).
const (
	MaxTiles  = 1200  // most tiles in one plan
	MaxCanvas = 16384 // widest or tallest canvas, pixels
	MinTile   = 8     // narrowest or lowest tile, pixels; one macroblock is 16
	maxAspect = 10000 // largest term of an aspect ratio
)

// ArgumentError says which argument cannot be used and why.
type ArgumentError struct {
	Name string // what the argument is called: "canvas", "zoom", ...
	Why  string // what is wrong with it, with the value
}

// Error returns a line such as "zoom: 0.5 is less than 1".
func (e *ArgumentError) Error() string { return e.Name + ": " + e.Why }

func argument(name, format string, a ...any) error {
	return &ArgumentError{name, fmt.Sprintf(format, a...)}
}

// TooSmallError says that the tiles would be smaller than the minimum. Fewer
// tiles, pages, a smaller gutter or a larger canvas mend it.
type TooSmallError struct {
	Count      int    // tiles asked for
	Canvas     Canvas // canvas they should go on
	MinW, MinH int    // smallest tile allowed, pixels
}

// Error names the count, the canvas and the minimum.
func (e *TooSmallError) Error() string {
	return fmt.Sprintf("%d tiles on a canvas of %v would be smaller than %dx%d", e.Count, e.Canvas, e.MinW, e.MinH)
}

// Scale turns a length meant for a canvas of 1080 lines into pixels on c. The
// short side counts, so 1080x1920 and 1920x1080 have the same lettering and
// gutters.
func (c Canvas) Scale(px float64) float64 { return px * float64(min(c.W, c.H)) / 1080 }

// EvenScale returns what Scale does, rounded to the nearest even pixel; a length above zero
// never vanishes.
func (c Canvas) EvenScale(px float64) int {
	if !(px > 0) {
		return 0
	}
	return max(2, nearEven(c.Scale(px)))
}

// Check returns an error unless c can be planned on: both sides even, from MinTile to
// MaxCanvas.
func (c Canvas) Check() error {
	switch {
	case c.W < MinTile || c.H < MinTile || c.W > MaxCanvas || c.H > MaxCanvas:
		return argument("canvas", "%v is not within %d and %d pixels a side", c, MinTile, MaxCanvas)
	case c.W%2 != 0 || c.H%2 != 0:
		return argument("canvas", "%v has an odd side", c)
	}
	return nil
}

// floorEven returns the largest even number not above n, for n >= 0.
func floorEven(n int) int { return n &^ 1 }

// ceilEven returns the smallest even number not below n, for n >= 0.
func ceilEven(n int) int { return (n + 1) &^ 1 }

// nearEven returns the even number nearest to v; a tie goes up.
func nearEven(v float64) int { return 2 * int(math.Floor(v/2+0.5)) }

// nearEvenRatio returns the even number nearest to n*num/den, exactly.
func nearEvenRatio(n, num, den int) int { return 2 * ((n*num + den) / (2 * den)) }
