package card

import (
	"image"
	"image/color"

	"ripieno/layout"
)

// Beat is what a guide film shows at one moment, for somebody who plays and looks up
// from a page: large figures, the beats as lights, and what comes next.
type Beat struct {
	Figure string      // the beat of the count-in, or the number of the measure
	Place  string      // above it: the measure as played, a rehearsal mark
	Sign   string      // below, a sign that nobody can miss: when to clap; "" for none
	Next   string      // there without a sign: another meter or tempo that comes, an entry
	Lights int         // beats of the measure; 0 for none
	Now    int         // the beat that is on, from 1; 0 for none
	Lit    bool        // its light is bright
	Room   layout.Rect // the part of the canvas to draw on; empty for all of it
}

// Colours of guide films: dark, as screens beside a music stand should be.
var (
	beatGround = color.NRGBA{0x14, 0x16, 0x1a, 0xff}
	beatInk    = color.NRGBA{0xf2, 0xf2, 0xee, 0xff}
	beatQuiet  = color.NRGBA{0xa8, 0xac, 0xb4, 0xff}
	beatOff    = color.NRGBA{0x3a, 0x3e, 0x46, 0xff}
	beatOn     = color.NRGBA{0xff, 0xc8, 0x57, 0xff}
	beatFirst  = color.NRGBA{0x7f, 0xd1, 0xff, 0xff} // the first beat of a measure
)

// LightsAt is how far down the lights are, as a share of the room's height.
const LightsAt = 0.7

// Proportions of a guide film, of the height of its room.
const (
	beatFigure = 0.42 // size of the figure
	beatText   = 0.085
	beatSign   = 0.13
	beatRadius = 0.055 // of a light; all of them together are far below a quarter of the picture
	beatMargin = 0.05
)

// DrawBeat draws one moment of a guide film on a whole canvas. What changes from one
// moment to the next is a light, a figure or a sign and never a large part of the
// picture, so that nothing flashes (ITU-R BT.1702). Errors: *MissingError for text no
// font can draw, and the canvas's own.
func DrawBeat(c layout.Canvas, b Beat, fonts *Fonts) (*image.NRGBA, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	p := newPicture(c.W, c.H, beatGround)
	room := image.Rect(0, 0, c.W, c.H)
	if b.Room.W > 0 && b.Room.H > 0 {
		room = rectangle(b.Room)
	}
	s := newSetter(fonts)
	d := beatCard{picture: p, setter: s, room: boxOf(room), clip: room}
	d.unit = min(d.room.h(), 0.75*d.room.w())
	d.text(b.Place, regular, beatText, d.room.y0+(beatMargin+beatText)*d.room.h(), beatQuiet)
	d.text(b.Figure, bold, beatFigure, d.room.y0+0.53*d.room.h(), beatInk)
	d.lights(b, d.room.y0+LightsAt*d.room.h())
	if b.Sign != "" {
		d.sign(b.Sign, d.room.y0+0.93*d.room.h())
	} else {
		d.text(b.Next, regular, beatText, d.room.y1-beatMargin*d.room.h(), beatInk)
	}
	for _, err := range s.refusal {
		return nil, err
	}
	return p.NRGBA, nil
}

// beatCard is a moment while it is drawn.
type beatCard struct {
	*picture
	*setter
	room box
	clip image.Rectangle
	unit float64 // the height that proportions are of
}

// text writes a line in the middle of the room, smaller when it does not fit.
func (d beatCard) text(text string, w weight, share, baseline float64, ink color.NRGBA) {
	if text == "" {
		return
	}
	px := share * d.unit
	l := d.fit(text, w, px, 0.3*px, (1-2*beatMargin)*d.room.w())
	d.write(l, d.room.x0+(d.room.w()-l.width)/2, baseline, ink, d.clip)
}

// sign writes a line on a plate, in the middle of its room and no wider than it: what players
// must not miss, such as the clap.
func (d beatCard) sign(text string, baseline float64) {
	px := beatSign * d.unit
	l := d.fit(text, bold, px, 0.3*px, (1-6*beatMargin)*d.room.w())
	x := d.room.x0 + (d.room.w()-l.width)/2
	pad := 0.35 * px
	d.rounded(box{x - pad, baseline - 0.95*px, x + l.width + pad, baseline + 0.35*px}, 0.2*px, beatOn)
	d.write(l, x, baseline, beatGround, d.clip)
}

// lights draws the beats of the measure, the one that is on brighter.
func (d beatCard) lights(b Beat, y float64) {
	if b.Lights <= 0 {
		return
	}
	gap := 3.2 * beatRadius * d.unit
	if most := (1 - 4*beatMargin) * d.room.w() / float64(b.Lights); gap > most {
		gap = most
	}
	r := gap / 3.2
	x := d.room.x0 + d.room.w()/2 - gap*float64(b.Lights-1)/2
	for i := 1; i <= b.Lights; i++ {
		ink := beatOff
		if i == b.Now && b.Lit {
			if ink = beatOn; i == 1 {
				ink = beatFirst
			}
		} else if i == b.Now {
			ink = mix(beatOff, beatQuiet, 0.5)
		}
		d.rounded(box{x - r, y - r, x + r, y + r}, r, ink)
		x += gap
	}
}
