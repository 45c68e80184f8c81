package face

import (
	"math"

	"ripieno/layout/median"
)

// moves reports whether a face moves before a still room: whether enough of its
// pixels change clearly more than those of the picture usually do.
func (p *Pictures) moves(f Face) bool {
	if len(p.kept) < 2 {
		return false
	}
	g := p.kept[0]
	var all []float64
	for y := 0; y < g.h; y += 7 {
		for x := 0; x < g.w; x += 7 {
			all = append(all, p.deviation(y*g.w+x))
		}
	}
	noise := median.Of(all)
	half := f.Size * float64(g.h) / 2
	x, y := f.X*float64(g.w), f.Y*float64(g.h)
	step := max(1, int(half/16))
	count, moving := 0, 0
	for v := int(y - half); v < int(y+half); v += step {
		for u := int(x - half); u < int(x+half); u += step {
			if u < 0 || v < 0 || u >= g.w || v >= g.h {
				continue
			}
			count++
			if p.deviation(v*g.w+u) > 2*noise+3 {
				moving++
			}
		}
	}
	return float64(moving) > leastMoving*float64(max(1, count))
}

// deviation returns the standard deviation of a pixel over the pictures.
func (p *Pictures) deviation(i int) float64 {
	sum, square := 0, 0
	for _, g := range p.kept {
		v := int(g.pix[i])
		sum, square = sum+v, square+v*v
	}
	n := len(p.kept)
	return math.Sqrt(float64(n*square-sum*sum)) / float64(n)
}
