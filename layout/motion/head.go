package motion

import (
	"math"
	"slices"

	"ripieno/layout/median"
)

// Head is where the head of a moving person seems to be, by their shape: the top
// of what moves. The zero value is none.
type Head struct {
	Left, Top, Right, Bottom float64
}

// Found reports whether there is a head.
func (h Head) Found() bool { return h.Right > h.Left && h.Bottom > h.Top }

// shape is a set of pixels, row by row.
type shape struct {
	w, h int
	in   []bool
}

// newShape returns an empty shape.
func newShape(w, h int) shape { return shape{w, h, make([]bool, w*h)} }

// Chosen here by trying, with no source: in widths of the picture, how far the
// outlines of a body are closed, and what is too thin to be a head: bows, sticks,
// necks of instruments.
const (
	closeShare = 1.0 / 80
	thinShare  = 1.0 / 64
	glowShare  = 0.12 // of what moves most: below that it is light and no body
	headShare  = 0.3  // half of the widest head, in sides of a square as large as the body
)

// Head returns where the head is of whoever moves before a still room: the top
// of the largest moving shape, over its middle, without what is thin. Without
// such a shape it returns none. It takes the picture to be upright.
func (m *Map) Head() Head {
	body := m.body()
	if body.w == 0 {
		return Head{}
	}
	middle, area := body.middle()
	if area == 0 {
		return Head{}
	}
	// The highest place, where a step aside costs as much as one down: a raised
	// hand is above the head, but not over the middle of the body.
	best, at, top := math.Inf(1), -1, 0
	for x := range body.w {
		y := body.top(x)
		if cost := float64(y) + 0.7*math.Abs(float64(x)-middle); y < body.h && cost < best {
			best, at, top = cost, x, y
		}
	}
	left, right, bottom := body.head(at, top)
	// An arm or an instrument beside the head makes it no wider than this.
	most := int(headShare * math.Sqrt(float64(area)))
	left, right = max(left, at-most), min(right, at+most)
	bottom = min(bottom, top+(right-left+1)*4/3)
	w, h := float64(body.w), float64(body.h)
	return Head{float64(left) / w, float64(top) / h, float64(right+1) / w, float64(bottom+1) / h}
}

// body returns the largest shape that moves, whole; empty when nothing does.
func (m *Map) body() shape {
	dev, noise := m.deviations()
	if dev == nil {
		return shape{}
	}
	least := leastMoving(dev, 2*noise+1)
	moving := newShape(m.w, m.h)
	for i, d := range dev {
		moving.in[i] = d > least
	}
	r := max(1, int(closeShare*float64(m.w)+0.5))
	// The largest, not what moves most: a lamp that is switched is bright and small.
	s := moving.grown(r).filled().largest().shrunk(r)
	thin := max(1, int(thinShare*float64(m.w)+0.5))
	return s.shrunk(thin).grown(thin)
}

// leastMoving returns the deviation from which on a pixel counts as part of a
// body: well above the noise, and no small part of what moves most, for the glow
// of a lamp on a wall or the shadow of a player is not the player.
func leastMoving(dev []float64, noise float64) float64 {
	var over []float64
	for _, d := range dev {
		if d > noise {
			over = append(over, d-noise)
		}
	}
	if len(over) == 0 {
		return noise
	}
	slices.Sort(over)
	return noise + glowShare*over[len(over)*9/10]
}

// deviations returns the standard deviation of every pixel, and that of the still
// background, which is their median; nil without two pictures.
func (m *Map) deviations() (dev []float64, noise float64) {
	if m.n < 2 {
		return nil, 0
	}
	dev = make([]float64, len(m.square))
	for i, q := range m.square {
		dev[i] = math.Sqrt(q / float64(m.n-1))
	}
	return dev, median.Of(dev)
}

// grown returns s with everything within a square of r pixels round it.
func (s shape) grown(r int) shape { return s.swept(r, true) }

// shrunk returns what of s lies r pixels and more within it; beyond the picture
// it goes on, for people do.
func (s shape) shrunk(r int) shape { return s.swept(r, false) }

// swept sets what has a pixel within r that is of a kind, along rows and then
// along columns.
func (s shape) swept(r int, kind bool) shape {
	line := func(from shape, step, length, start func(int) int, count int) shape {
		out := newShape(s.w, s.h)
		for k := range count {
			last := -r - 1
			n, at, by := length(k), start(k), step(k)
			for i := range n + r {
				if i < n && from.in[at+i*by] == kind {
					last = i
				}
				if j := i - r; j >= 0 {
					out.in[at+j*by] = (last >= j-r) == kind
				}
			}
		}
		return out
	}
	one := func(int) int { return 1 }
	width := func(int) int { return s.w }
	height := func(int) int { return s.h }
	rows := line(s, one, width, func(k int) int { return k * s.w }, s.h)
	return line(rows, width, height, func(k int) int { return k }, s.w)
}

// largest returns the connected part of s that has most pixels.
func (s shape) largest() shape {
	seen := newShape(s.w, s.h)
	var best []int
	for start, in := range s.in {
		if !in || seen.in[start] {
			continue
		}
		if part := s.flood(start, seen); len(part) > len(best) {
			best = part
		}
	}
	out := newShape(s.w, s.h)
	for _, i := range best {
		out.in[i] = true
	}
	return out
}

// flood returns the pixels like the one at start that are connected with it, and
// adds them to seen.
func (s shape) flood(start int, seen shape) []int {
	part := []int{start}
	seen.in[start] = true
	for k := 0; k < len(part); k++ {
		i := part[k]
		x := i % s.w
		for _, next := range [4]int{i - 1, i + 1, i - s.w, i + s.w} {
			switch {
			case next < 0 || next >= len(s.in) || next == i-1 && x == 0 || next == i+1 && x == s.w-1:
			case s.in[next] == s.in[start] && !seen.in[next]:
				seen.in[next] = true
				part = append(part, next)
			}
		}
	}
	return part
}

// filled returns s with its holes: all that cannot be reached from above or from
// the sides. The lower edge of the picture closes a body.
func (s shape) filled() shape {
	reached := newShape(s.w, s.h)
	from := func(i int) {
		if !s.in[i] && !reached.in[i] {
			s.flood(i, reached)
		}
	}
	for x := range s.w {
		from(x)
	}
	for y := range s.h {
		from(y * s.w)
		from(y*s.w + s.w - 1)
	}
	out := newShape(s.w, s.h)
	for i, r := range reached.in {
		out.in[i] = !r
	}
	return out
}

// middle returns the mean column of the shape and how many pixels it has.
func (s shape) middle() (x float64, area int) {
	sum := 0
	for i, in := range s.in {
		if in {
			sum += i % s.w
			area++
		}
	}
	return float64(sum) / float64(max(1, area)), area
}

// top returns the first row of the shape in a column; the picture's height when
// there is none.
func (s shape) top(x int) int {
	y := 0
	for y < s.h && !s.in[y*s.w+x] {
		y++
	}
	return y
}

// run returns the ends of the row of pixels of the shape that the place lies in.
func (s shape) run(x, y int) (left, right int) {
	left, right = x, x
	for left > 0 && s.in[y*s.w+left-1] {
		left--
	}
	for right < s.w-1 && s.in[y*s.w+right+1] {
		right++
	}
	return left, right
}

// head follows the shape down from the place of its top to where it becomes
// narrow, the neck, or suddenly wide, the shoulders, and returns the box of that.
func (s shape) head(x, top int) (left, right, bottom int) {
	left, right = s.run(x, top)
	widest := right - left + 1
	for y := top + 1; y < s.h && s.in[y*s.w+x]; y++ {
		l, r := s.run(x, y)
		width, deep := r-l+1, y-top
		// A head is about four fifths as wide as high (common practice in
		// drawing), and hair makes it as wide.
		if deep >= widest/2 && (width*10 < widest*9 || 4*deep > 5*widest || width*10 > widest*14) {
			break
		}
		if width*10 <= widest*14 || deep < 3 || deep < widest/2 {
			left, right, widest = min(left, l), max(right, r), max(widest, width)
		}
		bottom = y
		x = (l + r) / 2
	}
	return left, right, max(bottom, top)
}
