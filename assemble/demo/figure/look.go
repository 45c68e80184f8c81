package figure

// Instrument is what the figure plays.
type Instrument int

// The instruments that can be drawn.
const (
	Flute Instrument = iota
	Oboe
	Horn
	Glockenspiel
	Violin
	Viola
	Cello
	Guitar
)

// Hair is how the hair is worn.
type Hair int

// The ways to wear it.
const (
	Short Hair = iota
	Bun
	Curls
	Long
	Bald
	Bob
	Braid
	Cap
)

// Room is what is behind the player.
type Room int

// The rooms.
const (
	Window Room = iota
	Shelf
	Plant
	Panels
)

// Look is a figure and its room. Colours are 0xRRGGBB.
type Look struct {
	Instrument Instrument
	Hair       Hair
	Skin       int
	HairColour int
	Shirt      int
	Phones     int // headphones
	Wall       int
	Accent     int // curtains, books, pots
	Room       Room
	LampLeft   bool // the lamp hangs on the left of the picture
	Glasses    bool
	Beard      bool
}

// View is the picture a device takes of the stage.
type View struct {
	W, H int // of the coded frame, even
	// Turn is how far a player of the file has to turn the frames clockwise
	// to see them upright: 0, 90, 180 or 270 degrees.
	Turn int
}

// upright returns the size of the picture as it is meant to be seen.
func (v View) upright() (w, h float64) {
	if v.Turn%180 != 0 {
		return float64(v.H), float64(v.W)
	}
	return float64(v.W), float64(v.H)
}

// way maps the stage to the coded frame. A landscape picture shows the stage
// itself. A portrait one shows more above and below, with the head at two
// fifths of the height: a band of 16:9 around there still holds the player.
func (v View) way() matrix {
	w, h := v.upright()
	m := matrix{a: w / 640, d: w / 640, f: (h - w/640*360) / 2}
	if h > w {
		s := w / 500 // the stage's middle 500 units
		m = matrix{a: s, d: s, e: w/2 - 320*s, f: 0.4*h - 190*s}
	}
	switch v.Turn {
	case 90: // the coded frame lies on its left side
		return matrix{b: -1, c: 1, f: w}.times(m)
	case 180:
		return matrix{a: -1, d: -1, e: w, f: h}.times(m)
	case 270:
		return matrix{b: 1, c: -1, e: h}.times(m)
	}
	return m
}
