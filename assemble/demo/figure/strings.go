package figure

// fiddle draws a violin or a viola: the origin is under the chin, the neck goes
// to the right.
func (p *pose) fiddle(c canvas, size float64, varnish colour) {
	m := p.between(p.chest.plus(point{-84, 150}), 2, p.chest.plus(point{24, -28}), 15+2*p.m.sway(p.t)).
		times(matrix{a: size, d: size})
	contact := m.apply(point{66, -2})
	at := p.m.bowAt(p.t)
	// The bow hand goes away from the string as the bow is drawn to its tip.
	frog := contact.plus(place(point{}, -38, 1).apply(point{-(70 + 46*at), 0}))
	finger := m.apply(point{134 - 14*p.fingers(72), 9})
	p.hands(frog, finger)
	p.drawArm(c, 1)
	f := c.in(m)
	// Neck and scroll first, the body over the neck's foot, then the edge,
	// sound holes, fingerboard, bridge, chin rest and strings.
	f.fill(limb(point{84, -1}, point{150, -2}, 4.6, 3.6), rgb(0x2d2320))
	f.fill(blob(point{148, -6}, point{166, -8}, point{172, -1}, point{162, 5}, point{148, 3}), shade(varnish, -0.2))
	body := blob(point{0, -20}, point{22, -27}, point{44, -15}, point{66, -22}, point{88, -14}, point{92, 0},
		point{88, 14}, point{66, 22}, point{44, 15}, point{22, 27}, point{0, 20}, point{-6, 0})
	f.fill(body, varnish)
	f.fill(blob(point{6, -14}, point{22, -19}, point{42, -9}, point{64, -15}, point{82, -9}, point{84, 0}, point{82, 9},
		point{64, 15}, point{42, 9}, point{22, 19}, point{6, 14}), shade(varnish, 0.14))
	f.fill(bend(2.4, point{38, -13}, point{44, -9},
		point{50, -12}).plus(bend(2.4, point{38, 13}, point{44, 9}, point{50, 12})), dark)
	f.fill(limb(point{14, 0}, point{100, -1}, 5, 3.6), rgb(0x2d2320))
	f.fill(rectangle(45, -8, 48, 8), rgb(0xd8b27a))
	f.fill(ellipse(point{2, -12}, 11, 8, 0), dark)
	f.fill(line(0.8, point{14, -1.2}, point{150, -2.4}).plus(line(0.8, point{14, 1.2}, point{150, -0.6})), silver)
	if p.up > 0.5 && p.raised < 0.3 {
		p.drawHand(c, p.right, p.right.plus(point{6, 26}), 1)
	}
	p.bow(c, p.chest.plus(point{-70, 164}), -4, frog, -38, 152*size)
	p.drawArm(c, -1)
}

// bow paints a bow of the given length from its frog, between a place in the
// lap and one on the string.
func (p *pose) bow(c canvas, lap point, lapAngle float64, frog point, angle, length float64) {
	b := c.in(place(lap.to(frog, p.up), lapAngle+(angle-lapAngle)*p.up, 1))
	b.fill(bend(2.6, point{-8, 0}, point{length * 0.5, -1.5}, point{length, -5}), rgb(0x5d3524))
	b.fill(line(1.4, point{2, 5}, point{length - 2, 1}), rgb(0xf1ead8))
	b.fill(rectangle(-4, -1, 8, 6), dark)
	b.fill(limb(point{length, -5}, point{length - 1, 2}, 2, 1.2), rgb(0x5d3524))
}

// cello draws one that stands between the knees all the time; the neck passes the head on
// the right.
func (p *pose) cello(c canvas) {
	m := place(p.chest.plus(point{4, 130}), 19+1.2*p.m.sway(p.t), 1)
	at := p.m.bowAt(p.t)
	contact := m.apply(point{0, -14})
	frog := contact.plus(point{-(62 + 42*at), 4 + 5*at})
	finger := m.apply(point{10, -150 + 44*p.fingers(48)})
	p.hands(frog, finger)
	f := c.in(m)
	varnish := rgb(0x9c5a33)
	// From the floor up: spike, neck, scroll and pegs, then the body over them.
	f.fill(limb(point{0, 170}, point{0, 214}, 3, 1.6), silver)
	f.fill(limb(point{0, -70}, point{0, -196}, 8, 6), rgb(0x2d2320))
	f.fill(blob(point{-7, -196}, point{-9, -218}, point{0, -230}, point{9, -220}, point{7, -196}), shade(varnish, -0.2))
	for i := range 4 {
		side := float64(i%2)*2 - 1
		f.fill(limb(point{0, -202 - 4*float64(i)}, point{side * 15, -204 - 4*float64(i)}, 1.6, 2.4), dark)
	}
	body := blob(point{0, -84}, point{-34, -78}, point{-52, -48}, point{-40, -8}, point{-46, 22}, point{-72, 60},
		point{-66, 130}, point{0, 168},
		point{66, 130}, point{72, 60}, point{46, 22}, point{40, -8}, point{52, -48}, point{34, -78})
	f.fill(body, varnish)
	f.fill(blob(point{0, -74}, point{-28, -68}, point{-43, -46}, point{-31, -8}, point{-38, 26}, point{-62, 64},
		point{-56, 122}, point{0, 156},
		point{56, 122}, point{62, 64}, point{38, 26}, point{31, -8}, point{43, -46}, point{28, -68}),
		shade(varnish, 0.13))
	for side := -1.0; side <= 1; side += 2 {
		f.fill(bend(3, point{side * 22, 6}, point{side * 27, 22}, point{side * 23, 40}, point{side * 28, 56}), dark)
	}
	f.fill(limb(point{0, -190}, point{0, -34}, 5, 7.4), rgb(0x2d2320))
	f.fill(rectangle(-15, 24, 15, 28), rgb(0xd8b27a))
	f.fill(polygon(point{-7, 50}, point{7, 50}, point{10, 118}, point{-10, 118}), rgb(0x2d2320))
	f.fill(line(0.9, point{-4, 60}, point{-2, -190}).plus(line(0.9, point{4, 60}, point{2, -190})).plus(
		line(0.9, point{0, 60}, point{0, -190})), silver)
	p.drawArm(c, 1)
	p.bow(c, p.chest.plus(point{-120, 166}), -20, frog, -3, 158)
	p.drawArm(c, -1)
}

// guitar lies on the player's leg: the origin is the sound hole, the neck goes
// to the right.
func (p *pose) guitar(c canvas) {
	m := place(p.chest.plus(point{-34, 106}), -15+1.5*p.m.sway(p.t), 1)
	since, level := p.m.since(p.t)
	// The hand rises a little before each note, falls through the strings on
	// it and comes back.
	move := -12 * smooth((0.1-p.m.until(p.t))/0.1)
	if since < 0.25 {
		move += 22 * (0.5 + 0.5*level) * (1 - smooth(since/0.25)) * smooth(since/0.03+0.35)
	}
	p.hands(m.apply(point{-6, -4 + move}), m.apply(point{138 - 30*p.fingers(52), 12}))
	g := c.in(m)
	top := rgb(0xd8a05c)
	g.fill(limb(point{40, 0}, point{176, 0}, 8.5, 6.5), rgb(0x4a2f22))
	g.fill(polygon(point{172, -9}, point{206, -12}, point{208, 12}, point{172, 9}), rgb(0x38241b))
	for i := range 6 {
		side := float64(i%2)*2 - 1
		g.fill(circle(point{180 + 9*float64(i/2), side * 14}, 3), white)
	}
	g.fill(blob(point{58, -38}, point{26, -44}, point{0, -34}, point{-44, -58}, point{-92, -46}, point{-106, 0},
		point{-92, 46}, point{-44, 58}, point{0, 34}, point{26, 44}, point{58, 38}, point{66, 0}), shade(top, -0.35))
	g.fill(blob(point{55, -34}, point{26, -40}, point{0, -30}, point{-44, -53}, point{-89, -42}, point{-101, 0},
		point{-89, 42}, point{-44, 53}, point{0, 30}, point{26, 40}, point{55, 34}, point{62, 0}), top)
	g.fill(ring(point{8, 0}, 19, 4), rgb(0x8e4f34))
	g.fill(circle(point{8, 0}, 17), rgb(0x2a1d17))
	g.fill(rectangle(-64, -16, -58, 16), rgb(0x4a2f22))
	g.fill(limb(point{27, 0}, point{170, 0}, 8, 6), rgb(0x35231b))
	for i := range 6 {
		y := -5 + 2*float64(i)
		g.fill(line(0.7, point{-60, y * 1.1}, point{190, y * 0.8}), white.at(0.75))
	}
	for i := range 9 {
		x := 46 + 14.5*float64(i)
		g.fill(rectangle(x, -7, x+1.2, 7), silver.at(0.7))
	}
	p.drawArm(c, 1)
	p.drawArm(c, -1)
}
