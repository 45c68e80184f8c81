package figure

import "math"

// pose is where everything is at one moment, in stage units.
type pose struct {
	l      Look
	m      *Motion
	t      float64
	up     float64 // instrument: 0 lap, 1 playing
	sound  float64 // 0 to 1
	chest  point   // middle of the shoulders
	head   point
	tilt   float64 // of the head, degrees
	left   point   // hand on the left of the picture (the player's right)
	right  point   // hand on the right of the picture
	raised float64 // hands in the clap, 0 to 1
	apart  float64
}

// Lengths of the arms, and the shoulders' distance from the middle.
const (
	upperArm = 84.0
	foreArm  = 78.0
	shoulder = 62.0
)

// poseAt puts the body together: slow swaying and breathing, a nod to the beat
// while waiting, and while playing a small push at every note.
func poseAt(l Look, m *Motion, t float64) *pose {
	p := &pose{l: l, m: m, t: t, up: m.up(t), sound: m.sounding(t)}
	since, level := m.since(t)
	accent := level * math.Exp(-since/0.15) // the little push at each note
	breath := m.breath(t)
	sway := m.sway(t)
	waiting := 1 - p.up
	p.chest = point{320 + 5*sway + 3*p.up*m.bowSway(t), 190 - 3.5*breath + 1.5*accent}
	p.head = p.chest.plus(point{2.5 * sway, -82 + 2.2*m.nod(t)*waiting + 2.5*accent - breath})
	p.tilt = 2.5*sway - 1.5*accent
	// Each instrument asks for its own way to hold the head.
	switch l.Instrument {
	case Violin, Viola:
		p.tilt += 9 * p.up
		p.head = p.head.plus(point{6, 5}.times(p.up))
	case Cello:
		p.tilt -= 5 * p.up
		p.head = p.head.plus(point{-8, 0})
	case Guitar:
		p.tilt += 5 * p.up
	case Glockenspiel:
		p.head = p.head.plus(point{0, 5}.times(p.up))
	}
	p.raised, p.apart = m.clapping(t)
	return p
}

// bowSway returns the body's lean with the bow, for those who have one; others
// lean with the tune.
func (m *Motion) bowSway(t float64) float64 { return m.bowAt(t) }

// mouth returns where a wind instrument is put.
func (p *pose) mouth() point { return place(p.head, p.tilt, 1).apply(point{0, 23}) }

// hands sets the hands: on the instrument as far as that is held, else in the
// lap, else clapping. holdLeft and holdRight are the places on the instrument.
func (p *pose) hands(holdLeft, holdRight point) {
	lapLeft, lapRight := p.chest.plus(point{-52, 146}), p.chest.plus(point{52, 146})
	grip := smooth(p.up * 2.5)
	p.left, p.right = lapLeft.to(holdLeft, grip), lapRight.to(holdRight, grip)
	if p.raised > 0 {
		middle := p.chest.plus(point{0, 66})
		gap := palm + 62*p.apart
		p.left = p.left.to(middle.plus(point{-gap, 0}), p.raised)
		p.right = p.right.to(middle.plus(point{gap, 0}), p.raised)
	}
}

// palm is half the width of a clapping hand: at this distance from the middle
// on both sides the hands touch.
const palm = 8.0

// elbow returns where the arm bends between a shoulder and a hand; side is -1 for
// the arm on the left of the picture, whose elbow points left and down.
func elbow(from, to point, side float64) point {
	d := to.minus(from)
	dist := min(max(d.length(), 12), upperArm+foreArm-1)
	// Law of cosines for the angle at the shoulder.
	angle := math.Acos((upperArm*upperArm + dist*dist - foreArm*foreArm) / (2 * upperArm * dist))
	base := math.Atan2(d.y, d.x)
	s, c := math.Sincos(base - side*angle)
	a := from.plus(point{upperArm * c, upperArm * s})
	s, c = math.Sincos(base + side*angle)
	b := from.plus(point{upperArm * c, upperArm * s})
	// Of the two the outer and lower one is an elbow.
	if side*a.x+0.6*a.y > side*b.x+0.6*b.y {
		return a
	}
	return b
}

// drawBehind paints the hair that falls behind head and shoulders.
func (p *pose) drawBehind(c canvas) {
	hair := rgb(p.l.HairColour)
	h := c.in(place(p.head, p.tilt, 1))
	switch p.l.Hair {
	case Long:
		h.fill(blob(point{-38, -22}, point{0, -50}, point{38, -22}, point{46, 30}, point{40, 92}, point{0, 84},
			point{-40, 92}, point{-46, 30}), shade(hair, -0.15))
	case Bob:
		h.fill(blob(point{-40, -20}, point{0, -50}, point{40, -20}, point{46, 20}, point{34, 46}, point{-34, 46},
			point{-46, 20}), shade(hair, -0.12))
	case Bun:
		h.fill(circle(point{4, -54}, 19), hair)
		h.fill(ellipse(point{4, -40}, 15, 5, 0), shade(hair, -0.3))
	case Curls:
		for i := range 9 {
			s, co := math.Sincos(math.Pi * (1 + float64(i)/8))
			h.fill(circle(point{37 * co, -4 + 40*s}, 16), shade(hair, -0.08))
		}
	case Braid:
		for i := range 6 {
			y := 24 + 15*float64(i)
			h.fill(ellipse(point{-38 - float64(i), y}, 10-0.7*float64(i), 10, 20), shade(hair, -0.1+0.08*float64(i%2)))
		}
		h.fill(limb(point{-45, 116}, point{-46, 128}, 5, 2), rgb(p.l.Phones))
	}
}

// drawTorso paints legs, shirt and neck. Landscape pictures end above the
// legs; portrait ones show them.
func (p *pose) drawTorso(c canvas) {
	shirt, skin := rgb(p.l.Shirt), rgb(p.l.Skin)
	o := c.in(place(p.chest, 0, 1))
	for side := -1.0; side <= 1; side += 2 {
		o.fill(limb(point{side * 26, 200}, point{side * 30, 330}, 33,
			25).plus(limb(point{side * 30, 330}, point{side * 30, 446}, 25, 19)), shade(rgb(0x474b57), 0.04*side))
		o.fill(limb(point{side * 30, 452}, point{side * 42, 455}, 12, 11), dark)
	}
	body := blob(point{0, -26}, point{-30, -18}, point{-66, -4}, point{-74, 60}, point{-66, 140}, point{-62, 214},
		point{62, 214}, point{66, 140}, point{74, 60}, point{66, -4}, point{30, -18})
	o.fill(body, shirt)
	// Neck and collar, from the collar up to the chin.
	chin := p.head.minus(p.chest).plus(point{0, 20})
	o.fill(limb(point{0, -12}, chin, 17, 15), shade(skin, -0.12))
	o.fill(bend(9, point{-26, -22}, point{-14, -6}, point{0, 0}, point{14, -6}, point{26, -22}), shade(shirt, -0.22))
	o.fill(bend(2, point{0, 4}, point{1, 70}, point{0, 150}), shade(shirt, -0.16))
}

// drawHead paints ears, face, beard, hair and headphones, in this order.
func (p *pose) drawHead(c canvas) {
	skin, hair := rgb(p.l.Skin), rgb(p.l.HairColour)
	h := c.in(place(p.head, p.tilt, 1))
	h.fill(circle(point{-34, 4}, 8).plus(circle(point{34, 4}, 8)), shade(skin, -0.1))
	h.fill(blob(point{0, -43}, point{-25, -35}, point{-34, -6}, point{-27, 24}, point{0, 42}, point{27, 24},
		point{34, -6}, point{25, -35}), skin)
	p.drawFace(h, skin)
	if p.l.Beard {
		h.fill(blob(point{-33, 2}, point{-24, 16}, point{-12, 17}, point{0, 14}, point{12, 17}, point{24, 16},
			point{33, 2}, point{27, 32}, point{0, 50}, point{-27, 32}), hair)
		h.fill(ellipse(point{0, 24}, 8, 2.6, 0), shade(rgb(0xa65b52), -0.1))
	}
	top := shape(nil)
	switch p.l.Hair {
	case Short:
		top = blob(point{-36, -4}, point{-37, -30}, point{-14, -50}, point{18, -49}, point{37, -28}, point{36, -4},
			point{28, -22}, point{0, -27}, point{-24, -24})
	case Bun, Long, Braid:
		top = blob(point{-37, 4}, point{-37, -28}, point{0, -51}, point{37, -28}, point{37, 4}, point{29, -16},
			point{8, -32}, point{-10, -24}, point{-30, -12})
	case Bob:
		top = blob(point{-40, 16}, point{-40, -26}, point{0, -51}, point{40, -26}, point{40, 16}, point{32, -12},
			point{20, -22}, point{-20, -22}, point{-32, -12})
	case Curls:
		for i := range 8 {
			s, co := math.Sincos(math.Pi * (1.06 + 0.88*float64(i)/7))
			top = top.plus(circle(point{31 * co, -10 + 34*s}, 13))
		}
	case Cap:
		h.fill(blob(point{-39, -16}, point{-30, -44}, point{6, -54}, point{36, -40}, point{40, -18}, point{0, -22}),
			rgb(p.l.Accent))
		h.fill(blob(point{-40, -18}, point{0, -26}, point{46, -20}, point{52, -12}, point{8, -16}),
			shade(rgb(p.l.Accent), -0.25))
	}
	if top != nil {
		h.fill(top, hair)
	}
	// Everybody hears the guide.
	phones := rgb(p.l.Phones)
	h.fill(bend(6, point{-39, 0}, point{-38, -32}, point{0, -56}, point{38, -32}, point{39, 0}), phones)
	h.fill(limb(point{-39, -6}, point{-39, 12}, 8, 8).plus(limb(point{39, -6}, point{39, 12}, 8, 8)),
		shade(phones, -0.2))
}

// drawFace paints what moves in a face: eyes that blink and wander, brows and
// a smile that rise with the music, lips on a mouthpiece.
func (p *pose) drawFace(h canvas, skin colour) {
	open := p.m.eyes(p.t)
	ink := rgb(0x2c2320)
	look := 1.6 * p.m.sway(p.t+2)
	for side := -1.0; side <= 1; side += 2 {
		h.fill(ellipse(point{side * 20, 13}, 7, 4.5, 0), rgb(0xd97f6a).at(0.22))
		h.fill(ellipse(point{side*13 + look, -3}, 3.4, max(4.6*open, 0.9), 0), ink)
		h.fill(bend(2.2, point{side*19 + 0.4*look, -13 - p.sound}, point{side * 13, -15.5 - p.sound},
			point{side*7 + 0.4*look, -13.5 - p.sound}), shade(rgb(p.l.HairColour), -0.2))
	}
	h.fill(bend(2, point{look, 0}, point{3 + look, 9}, point{-1 + look, 11}), shade(skin, -0.28))
	if p.l.Glasses {
		frame := rgb(0x3b3f45)
		h.fill(ring(point{-13, -3}, 10, 1.8).plus(ring(point{13, -3}, 10, 1.8)), frame)
		h.fill(line(1.8, point{-3, -4}, point{3, -4}), frame)
	}
	lip := rgb(0x9d4f48)
	switch {
	case p.l.Beard:
	case p.up > 0.8 && (p.l.Instrument == Flute || p.l.Instrument == Oboe || p.l.Instrument == Horn):
		h.fill(ellipse(point{0, 23}, 5, 2.6, 0), lip)
	default:
		smile := 2 + 2*p.sound
		h.fill(bend(2.2, point{-8, 22}, point{0, 22 + smile}, point{8, 22}), lip)
	}
}

// drawArm paints one arm; side is -1 for the one on the left of the picture.
func (p *pose) drawArm(c canvas, side float64) {
	hand := p.right
	if side < 0 {
		hand = p.left
	}
	from := p.chest.plus(point{side * shoulder, 10})
	// A hand too far away pulls no arm out of its shoulder.
	if d := hand.minus(from); d.length() > upperArm+foreArm-2 {
		hand = from.plus(d.times((upperArm + foreArm - 2) / d.length()))
	}
	bend := elbow(from, hand, side)
	// Sleeves are a little darker than the shirt, or arms in front of the
	// chest could not be seen.
	sleeve, skin := shade(rgb(p.l.Shirt), -0.1), rgb(p.l.Skin)
	wrist := bend.to(hand, 0.82)
	c.fill(limb(bend, hand, 11, 7.5), skin)
	c.fill(limb(from, bend, 19, 14).plus(limb(bend, wrist, 14, 11)), sleeve)
	c.fill(limb(wrist, bend.to(hand, 0.88), 11.4, 11), shade(sleeve, -0.15))
	p.drawHand(c, hand, bend, side)
}

// drawHand paints a hand: flat for clapping, closed round an instrument
// otherwise, pointing away from bend.
func (p *pose) drawHand(c canvas, hand, bend point, side float64) {
	skin := rgb(p.l.Skin)
	if p.raised > 0.6 {
		// Flat hands, fingers up, palms to each other.
		h := c.in(place(hand, -side*6*p.apart, 1))
		h.fill(limb(point{0, 8}, point{-side * 1, -20}, palm, palm-2.5), skin)
		h.fill(limb(point{-side * 2, 2}, point{-side * 5, -10}, 4, 3), shade(skin, -0.08))
		return
	}
	d := hand.minus(bend)
	tip := hand.plus(d.times(7 / max(d.length(), 1)))
	c.fill(limb(hand, tip, 10, 8.5), skin)
}

// drawClap draws the little sign beside hands that have just met: a few strokes
// that fade, for the eye to hold on to.
func (p *pose) drawClap(c canvas) {
	d := p.t - p.m.clap
	if d < 0 || d > 0.35 {
		return
	}
	x := d / 0.35
	o := c.in(place(p.chest.plus(point{0, 56}), 0, 1))
	for _, angle := range []float64{-62, -34, 34, 62} {
		q := o.in(place(point{}, angle, 1))
		q.fill(limb(point{0, -30 - 10*x}, point{0, -40 - 16*x}, 2, 1.4), white.at(0.85*(1-x)))
	}
}
