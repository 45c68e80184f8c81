package card

import (
	"math"

	"ripieno/layout"
)

// The sizes of letters. All follow from one, the smallest that is read without
// effort on the smallest screen that a film is made for; the others are steps above
// it.
//
// A capital letter must be seen under at least 16 minutes of arc (ISO 9241-303, the
// least height of a character; from memory), and a telephone is held 30 cm away
// (common practice, no source): 1.4 mm. On a telephone whose short side is 6 cm
// these are 2.3 % of the short side; capitals of the embedded fonts are 0.72 of
// the em, so the em is 3.2 % of it, 35 pixels at 1080 lines.
const (
	leastArcMinutes = 16.0
	viewingMM       = 300.0
	capitals        = 0.7227 // of the em: 1480 of 2048 units in the Go fonts
	// PhoneCM is the short side of the smallest screen that cards are set for.
	PhoneCM = 6.0
	// step is the ratio of one size to the next (common practice, no source).
	step = 1.25
)

// Readable returns the smallest size of the em, in pixels of a canvas, that is read
// on a screen whose short side is so many centimetres, which must be above 0.
func Readable(c layout.Canvas, screenCM float64) float64 {
	capMM := viewingMM * math.Tan(leastArcMinutes/60*math.Pi/180)
	return capMM / (10 * screenCM) * float64(min(c.W, c.H)) / capitals
}

// size returns step n of the scale on a canvas, in pixels: 0 is the smallest that
// is read on a telephone.
func size(c layout.Canvas, n float64) float64 { return Readable(c, PhoneCM) * math.Pow(step, n) }

// The steps that cards use.
const (
	sizeSmall = 0.0 // parts, rights, dates: 35 pixels at 1080 lines
	sizeText  = 0.6 // names and lines: 40
	sizeHead  = 2.4 // the head of credits: 60
	sizeTitle = 5.0 // the title of the piece: 107
	sizeLeast = 2.0 // below which a title is not shrunk: 54
)
