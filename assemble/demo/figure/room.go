package figure

import "math"

// What all rooms share.
var (
	white  = rgb(0xf4efe4)
	dark   = rgb(0x22262b)
	wood   = rgb(0x8a6242)
	gold   = rgb(0xe0b04c)
	silver = rgb(0xcfd6da)
)

// shade makes a paint darker (negative) or lighter by x, -1 to 1.
func shade(c colour, x float64) colour {
	if x < 0 {
		return c.mix(rgb(0x1a1613), -x)
	}
	return c.mix(rgb(0xfff6e6), x)
}

// The floor begins at this height, below what a landscape picture shows.
const floor = 640

// drawRoom paints everything that never moves.
func drawRoom(c canvas, l Look) {
	wall := rgb(l.Wall)
	// A soft light from the lamp's side: strips of slightly other shades.
	const strips = 48
	for i := range strips {
		x := -40 + 720*float64(i)/strips
		far := float64(i) / strips
		if !l.LampLeft {
			far = 1 - far
		}
		// Each strip goes to the far end, so that no seam shows through.
		c.fill(rectangle(x, -400, 700, 1000), shade(wall, 0.12-0.30*far))
	}
	c.fill(rectangle(-100, floor-26, 740, floor), shade(wall, 0.35))
	c.fill(rectangle(-100, floor, 740, 1000), shade(wood, -0.35))
	for i := range 6 {
		y := floor + 20 + 34*float64(i)
		c.fill(rectangle(-100, y, 740, y+3), shade(wood, -0.5))
	}
	// Furniture stands on the side that the lamp leaves free.
	side := c
	if !l.LampLeft {
		side = c.in(matrix{a: -1, d: 1, e: 640})
	}
	accent := rgb(l.Accent)
	switch l.Room {
	case Window:
		drawWindow(side, accent)
	case Shelf:
		drawShelf(side, accent)
	case Plant:
		drawPlant(side, accent)
	case Panels:
		drawPanels(side, accent, wall)
	}
}

// drawWindow draws a window on the dusk, at the right.
func drawWindow(c canvas, accent colour) {
	top, low := rgb(0x2d3f63), rgb(0xe2a77c)
	const bands = 24
	for i := range bands {
		y := 24 + 190*float64(i)/bands
		x := float64(i) / bands
		c.fill(rectangle(458, y, 602, 214), top.mix(low, x*x))
	}
	for _, s := range []point{{480, 44}, {507, 66}, {542, 40}, {571, 81}, {589, 52}, {494, 98}} {
		c.fill(circle(s, 1.6), white.at(0.8))
	}
	roof := rgb(0x39405a)
	c.fill(polygon(point{458, 188}, point{492, 164}, point{526, 190}, point{548, 176}, point{602, 200}, point{602, 216},
		point{458, 216}), roof)
	c.fill(rectangle(484, 182, 490, 190), gold.at(0.8))
	frame := rgb(0xefe6d4)
	c.fill(rectangle(450, 16, 610, 26).plus(rectangle(450, 212, 610, 224)), frame)
	c.fill(rectangle(450, 16, 460, 224).plus(rectangle(600, 16, 610, 224)).plus(rectangle(526, 16, 533, 224)), frame)
	for i := range 4 {
		x := 612 + 13*float64(i)
		c.fill(blob(point{x, 4}, point{x + 14, 4}, point{x + 16, 130}, point{x + 12, 262}, point{x - 4, 262},
			point{x - 2, 130}), shade(accent, -0.12*float64(i%2)))
	}
	c.fill(rectangle(430, 2, 660, 8), shade(wood, -0.3))
}

// drawShelf draws two boards with books, at the right.
func drawShelf(c canvas, accent colour) {
	for row := range 3 {
		y := 96 + 108*float64(row)
		x := 466.0
		for i := range 12 {
			// Books of all sizes, the same in every run.
			r := math.Abs(math.Sin(float64(i*7+row*13) + 0.5))
			w, h := 8+7*r, 44+26*math.Abs(math.Cos(float64(i*5+row*3)))
			if x+w > 632 {
				break
			}
			if (i+row)%6 == 5 { // a gap with a pot
				c.fill(blob(point{x + 4, y - 22}, point{x + 20, y - 22}, point{x + 17, y}, point{x + 7, y}),
					rgb(0xc77f58))
				c.fill(ellipse(point{x + 12, y - 30}, 13, 12, 0), rgb(0x6f8f62))
				x += 30
				continue
			}
			c.fill(rectangle(x, y-h, x+w, y), shade(accent, 0.45*r-0.35))
			c.fill(rectangle(x, y-h+8, x+w, y-h+11), gold.at(0.5))
			x += w + 1
		}
		c.fill(rectangle(456, y, 646, y+8), shade(wood, -0.15))
		c.fill(rectangle(456, y+8, 646, y+13), dark.at(0.16))
	}
}

// drawPlant draws a tall plant and a picture on the wall, at the right.
func drawPlant(c canvas, accent colour) {
	c.fill(rectangle(462, 34, 560, 108), shade(wood, -0.3))
	c.fill(rectangle(468, 40, 554, 102), rgb(0xe8dcc0))
	c.fill(blob(point{468, 102}, point{468, 84}, point{494, 66}, point{516, 82}, point{540, 58}, point{554, 78},
		point{554, 102}), rgb(0x7d9aa0))
	c.fill(circle(point{528, 56}, 8), rgb(0xe39b62))
	leaf := rgb(0x54795c)
	for i := range 9 {
		angle := -150 + 15*float64(i) + 6*float64(i%2)
		length := 120 - 9*math.Abs(float64(i)-4)
		l := c.in(place(point{566, 270}, angle+90, 1))
		l.fill(blob(point{-4, 0}, point{-17, -length * 0.55}, point{0, -length}, point{17, -length * 0.55},
			point{4, 0}), shade(leaf, 0.18*float64(i%3)-0.12))
		l.fill(limb(point{0, 0}, point{0, -length * 0.8}, 1, 0.6), shade(leaf, 0.4))
	}
	c.fill(polygon(point{532, 264}, point{602, 264}, point{592, 350}, point{542, 350}), accent)
	c.fill(rectangle(526, 256, 608, 272), shade(accent, 0.15))
	c.fill(rectangle(520, 350, 614, 360).plus(rectangle(536, 360, 544, floor)).plus(rectangle(592, 360, 600, floor)),
		shade(wood, -0.25))
}

// drawPanels draws a wall of wooden panels with an arched niche, at the right.
func drawPanels(c canvas, accent, wall colour) {
	for i := range 6 {
		x := -20 + 118*float64(i)
		c.fill(rectangle(x, 210, x+104, 620), shade(wall, -0.16))
		c.fill(rectangle(x+8, 218, x+96, 612), shade(wall, -0.06))
	}
	c.fill(rectangle(-100, 196, 740, 206), shade(wall, 0.25))
	arch := blob(point{486, 190}, point{486, 96}, point{510, 48}, point{545, 34}, point{580, 48}, point{604, 96},
		point{604, 190})
	c.fill(arch, shade(wall, -0.4))
	c.fill(blob(point{524, 190}, point{514, 158}, point{536, 136}, point{536, 118}, point{554, 118}, point{554, 136},
		point{576, 158}, point{566, 190}), accent)
	for i := range 5 {
		angle := -40 + 20*float64(i)
		l := c.in(place(point{545, 120}, angle, 1))
		l.fill(limb(point{0, 0}, point{0, -44}, 1.4, 1), rgb(0x6b7d57))
		l.fill(circle(point{0, -50}, 7), rgb(0xe9c9a0).mix(rgb(0xd98f7a), float64(i%2)))
	}
}

// lampAt returns where the lamp hangs.
func (l Look) lampAt() point {
	if l.LampLeft {
		return point{122, 92}
	}
	return point{518, 92}
}

// drawLamp draws the lantern on the wall. Its light follows lit, 0 to 1, slowly;
// glow, 0 to 1, is the player's loudness and moves it a little. A ring goes
// out from it at every note, since is the time after its start.
func drawLamp(c canvas, at point, lit, glow, since, level float64) {
	c = c.in(place(at, 0, 1))
	iron := rgb(0x2e3136)
	warm := rgb(0xffd98a)
	// The glow is four faint discs; brighter ones would show their edges.
	for i, r := range []float64{118, 96, 74, 52} {
		c.fill(circle(point{0, 4}, r*(0.92+0.08*glow)), warm.at(lit*(0.035+0.018*float64(i))*(0.7+0.5*glow)))
	}
	if since < 0.4 && lit > 0 {
		x := since / 0.4
		c.fill(ring(point{0, 4}, 30+26*x, 2.4), warm.at(0.5*level*(1-x)*smooth(since/0.05)))
	}
	c.fill(line(4, point{0, -46}, point{0, -30}).plus(rectangle(-26, -50, 26, -45)), iron)
	glass := rgb(0x8fa1ab).mix(warm.mix(rgb(0xfff3cf), 0.6*glow), lit)
	c.fill(polygon(point{-13, -20}, point{13, -20}, point{19, 26}, point{-19, 26}), glass)
	if lit > 0 {
		flame := blob(point{0, -10 - 4*glow}, point{7, 8}, point{0, 18}, point{-7, 8})
		c.fill(flame, rgb(0xfff8e2).at(lit))
	}
	c.fill(polygon(point{-20, -20}, point{-8, -34}, point{8, -34}, point{20, -20}), iron)
	c.fill(rectangle(-23, 26, 23, 32), iron)
	c.fill(line(2.4, point{-13, -20}, point{-19, 26}).plus(line(2.4, point{13, -20}, point{19, 26})), iron)
}
