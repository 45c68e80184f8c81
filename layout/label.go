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
