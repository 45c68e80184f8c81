package layout

// LabelStyle is how a name stands in its tile.
type LabelStyle string

// The styles. A plate is part transparent, a shadow is as wide as the letters need,
// a strip lies below the picture, which is lower for it.
const (
	Plate  LabelStyle = "plate"
	Shadow LabelStyle = "shadow"
	Strip  LabelStyle = "strip"
)

// Corner is where in its tile a name stands.
type Corner string

// The corners. AutoCorner is the lower left one unless a name would lie over what is
// to be seen there.
const (
	AutoCorner  Corner = "auto"
	BottomLeft  Corner = "bottom-left"
	BottomRight Corner = "bottom-right"
	TopLeft     Corner = "top-left"
	TopRight    Corner = "top-right"
)

// Corners are all places of a name on its tile, the usual one first.
var Corners = [4]Corner{BottomLeft, BottomRight, TopLeft, TopRight}

// Hidden is how much of a person a name would hide in each of [Corners], 0 for nothing.
type Hidden [4]float64

const (
	// hides is how much may be hidden without anybody being in the way: of what
	// [framing.Person.Covered] returns, chosen here with drawn players of all instruments
	// in eight kinds of tiles. Names that covered a hand a fifth of the time were all over
	// 0.07; less is a sleeve, or the end of a bow now and then.
	hides = 0.06
	// worthIt is how much of what it hides in the usual place a name may still hide in
	// another to go there.
	worthIt = 0.75
)

// UsualCorner returns where most names of a film stand, as an index into [Corners]: the
// first, unless names there hide at least half of all people and another corner hides at
// most half as many. So one more player hardly ever moves everybody's name.
func UsualCorner(all []Hidden) int {
	var count [4]int
	for _, h := range all {
		for k, share := range h {
			if share > hides {
				count[k]++
			}
		}
	}
	best := 0
	for k, n := range count {
		if n < count[best] {
			best = k
		}
	}
	if 2*count[0] < len(all) || 2*count[best] > count[0] {
		return 0
	}
	return best
}

// Corner returns where one name stands, as an index into [Corners]: in the usual corner
// unless it hides the person there and much less in another. Of several that hide nobody
// it is the first.
func (h Hidden) Corner(usual int) int {
	if h[usual] <= hides {
		return usual
	}
	best := usual
	for k, share := range h {
		if share <= hides {
			return k
		}
		if share < h[best] {
			best = k
		}
	}
	if h[best] > worthIt*h[usual] {
		return usual
	}
	return best
}
