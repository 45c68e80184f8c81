package figure

import "math"

// drawInstrument poses the hands on the instrument and paints it and the arms
// in the order in which they hide each other.
func (p *pose) drawInstrument(c canvas) {
	switch p.l.Instrument {
	case Flute:
		p.flute(c)
	case Oboe:
		p.oboe(c)
	case Horn:
		p.horn(c)
	case Glockenspiel:
		p.glockenspiel(c)
	case Violin:
		p.fiddle(c, 1, rgb(0xb5683a))
	case Viola:
		p.fiddle(c, 1.16, rgb(0x96502f))
	case Cello:
		p.cello(c)
	case Guitar:
		p.guitar(c)
	}
	p.drawClap(c)
}

// fingers returns a small movement of the hands with pitch, -1 low to 1 high of two
// octaves round middle.
func (p *pose) fingers(middle float64) float64 {
	return min(max((p.m.pitch(p.t)-middle)/12, -1), 1)
}

// between turns and moves an instrument from the lap to its playing place.
func (p *pose) between(lap point, lapAngle float64, play point, playAngle float64) matrix {
	return place(lap.to(play, p.up), lapAngle+(playAngle-lapAngle)*p.up, 1)
}

// flute: the origin is at the lips, the tube goes to the left.
func (p *pose) flute(c canvas) {
	bob := 2 * p.fingers(80)
	m := p.between(p.chest.plus(point{62, 148}), -3, p.mouth().plus(point{0, 3}), -9-bob)
	p.hands(m.apply(point{-112, 5}), m.apply(point{-58, 7}))
	p.drawArm(c, 1)
	f := c.in(m)
	f.fill(limb(point{30, 0}, point{-178, 0}, 4.6, 4.2), silver)
	f.fill(limb(point{30, -1.4}, point{-178, -1.4}, 1.2, 1), white.at(0.7))
	f.fill(ellipse(point{0, 0}, 9, 5.4, 0), shade(silver, -0.18))
	f.fill(rectangle(-30, -5.2, -25, 5.2).plus(rectangle(-146, -5.2, -142, 5.2)), shade(silver, -0.3))
	for i := range 9 {
		f.fill(circle(point{-48 - 11*float64(i), -1}, 3.4), shade(silver, -0.22))
	}
	p.drawArm(c, -1)
	// The far hand was painted before the tube; its fingers come round it.
	if p.raised < 0.3 && p.up > 0.5 {
		p.drawHand(c, p.right, p.right.plus(point{10, 30}), 1)
	}
}

// oboe: the origin is at the reed, the tube goes down.
func (p *pose) oboe(c canvas) {
	m := p.between(p.chest.plus(point{-78, 150}), -86, p.mouth(), 7+2*p.fingers(74))
	p.hands(m.apply(point{-4, 112}), m.apply(point{4, 66}))
	p.drawArm(c, 1)
	o := c.in(m)
	black := rgb(0x2b2422)
	o.fill(limb(point{0, 2}, point{0, 22}, 1.6, 2.4), rgb(0xd9c08a))
	o.fill(limb(point{0, 22}, point{0, 160}, 4.6, 6.4), black)
	o.fill(blob(point{-6, 150}, point{6, 150}, point{11, 174}, point{0, 178}, point{-11, 174}), black)
	for i := range 8 {
		o.fill(circle(point{1.5, 40 + 14*float64(i)}, 3), silver)
	}
	o.fill(line(1.8, point{6, 34}, point{7, 140}), shade(silver, -0.1))
	o.fill(rectangle(-6.4, 88, 6.4, 92).plus(rectangle(-7, 146, 7, 150)), silver)
	p.drawArm(c, -1)
	if p.raised < 0.3 && p.up > 0.5 {
		p.drawHand(c, p.right, p.right.plus(point{20, 14}), 1)
	}
}

// horn: the origin is at the mouthpiece, bell and coils are below to the left.
func (p *pose) horn(c canvas) {
	m := p.between(p.chest.plus(point{46, 66}), 24, p.mouth(), 1.5*p.m.sway(p.t))
	p.hands(m.apply(point{-84, 128}), m.apply(point{14, 92}))
	p.drawArm(c, -1) // the hand in the bell
	h := c.in(m)
	brass, deep := rgb(0xd9a441), rgb(0xa87425)
	h.fill(ellipse(point{-74, 120}, 50, 46, -20), brass)
	h.fill(ellipse(point{-76, 122}, 42, 38, -20), deep)
	h.fill(ellipse(point{-80, 125}, 24, 21, -20), shade(deep, -0.35))
	h.fill(bend(10, point{-40, 92}, point{-28, 76}, point{-10, 66}, point{14, 72}), brass)
	h.fill(ring(point{-8, 98}, 34, 9), brass)
	h.fill(ring(point{-8, 98}, 34, 2), shade(brass, 0.4))
	h.fill(ring(point{-4, 98}, 20, 7), shade(brass, -0.14))
	// Three valves; which are down follows the pitch, in no real fingering.
	for i := range 3 {
		x := 6 + 12*float64(i)
		press := 3 * smooth(p.sound) * math.Abs(math.Sin(p.m.pitch(p.t)*1.7+float64(i)*2))
		h.fill(limb(point{x, 76 + press}, point{x + 3, 92}, 4.4, 5), shade(brass, 0.2))
	}
	h.fill(bend(6, point{0, 2}, point{8, 26}, point{26, 52}, point{28, 82}), brass)
	h.fill(limb(point{0, -1}, point{1, 6}, 6, 3), shade(brass, 0.3))
	p.drawArm(c, 1)
}

// bars of the glockenspiel, left to right; the notes asked for lie in this
// range of MIDI numbers.
const (
	lowestBar = 86
	bars      = 16
)

// barAt returns where a mallet strikes for a pitch.
func barAt(pitch float64) point {
	x := (min(max(pitch, lowestBar-2), lowestBar+14) - lowestBar + 2) / bars
	return point{186 + 268*x, 318}
}

// glockenspiel draws one that stands in front of the player and never moves; two mallets do.
func (p *pose) glockenspiel(c canvas) {
	left, right := p.mallets()
	// Hands hold the sticks above the tips, and closer to the body than those.
	grip := func(tip point, side float64) point {
		return tip.plus(point{side * 14, -44}).to(p.chest.plus(point{side * 60, 90}), 0.3)
	}
	p.hands(grip(left, -1), grip(right, 1))
	c.fill(polygon(point{158, 300}, point{482, 300}, point{506, 356}, point{134, 356}), shade(wood, -0.1))
	c.fill(rectangle(134, 356, 506, 376), shade(wood, -0.35))
	c.fill(rectangle(150, 376, 166, 700).plus(rectangle(474, 376, 490, 700)), shade(wood, -0.4))
	for i := range bars {
		x := 176 + 18.2*float64(i)
		wide := 15.0
		short := 0.6 * float64(i)
		lean := (x - 320) * 0.06
		c.fill(polygon(point{x, 304 + short}, point{x + wide, 304 + short}, point{x + wide + lean, 350 - short},
			point{x + lean, 350 - short}), shade(silver, 0.1-0.12*float64(i%2)))
	}
	p.drawArm(c, 1)
	p.drawArm(c, -1)
	if p.up < 0.3 {
		return // the mallets lie on the table while nobody plays
	}
	for k, tip := range []point{left, right} {
		hand := [2]point{p.left, p.right}[k]
		c.fill(limb(hand, tip, 1.8, 1.4), shade(wood, 0.35))
		c.fill(circle(tip, 5.5), rgb(0x7a3f52))
	}
}

// mallets returns the tips of both mallets: the hands take turns, and a mallet is
// on its bar at the very moment of the note.
func (p *pose) mallets() (left, right point) {
	i := p.m.current(p.t)
	tips := [2]point{{270, 270}, {370, 270}}
	for k := range tips {
		// The note this hand played last and the one it plays next: the
		// left hand (0) has the notes of even index, the right the others.
		last, next := i, i+1
		if (last&1 == 1) != (k == 1) {
			last--
		}
		if (next&1 == 1) != (k == 1) {
			next++
		}
		high, at := 1.0, tips[k]
		if last >= 0 && last < len(p.m.notes) {
			n := p.m.notes[last]
			at = barAt(float64(n.Pitch))
			high = smooth((p.t - n.From) / 0.16)
		}
		if next >= 0 && next < len(p.m.notes) {
			n := p.m.notes[next]
			bar := barAt(float64(n.Pitch))
			if last < 0 {
				at = bar
			}
			high = min(high, smooth((n.From-p.t)/0.16))
			at = at.to(bar, smooth((p.t-n.From+0.5)/0.34)) // there in good time
		}
		tips[k] = at.plus(point{0, -30 * high})
	}
	return tips[0], tips[1]
}
