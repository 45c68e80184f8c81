package intake

import (
	"math"

	"ripieno/assemble/media"
)

// blurOf tells how blurred a picture is, from 0 (as sharp as can be) toward 1,
// after F. Crété-Roffet, T. Dolmière, P. Ladet, M. Nicolas, "The blur effect:
// perception and estimation with a new no-reference perceptual blur metric",
// SPIE Electronic Imaging 2007: a sharp picture loses much of the difference
// between neighbours when it is blurred (here by a box of nine), a blurred one
// hardly any. Both directions are measured and the worse counts, so that
// movement of the camera is seen as well. Noise counts as sharpness.
//
// A picture without differences cannot be judged; ok is false then.
func blurOf(g media.Gray) (blur float64, ok bool) {
	rows, okRows := blurAlong(g.Pix, g.H, g.W, 1, g.W)
	columns, okColumns := blurAlong(g.Pix, g.W, g.H, g.W, 1)
	return max(rows, columns), okRows && okColumns
}

const (
	blurReach = 4 // pixels to each side of the box
	// blurLeast is the mean difference of neighbours, in grey values, below
	// which a picture is only noise of quantisation.
	blurLeast = 0.1
)

// blurAlong measures along lines of n pixels that are step apart; line l
// begins at l·next.
func blurAlong(pix []byte, lines, n, step, next int) (blur float64, ok bool) {
	all, lost := 0.0, 0.0
	for l := range lines {
		line := pix[l*next:]
		at := func(i int) float64 { return float64(line[min(max(i, 0), n-1)*step]) }
		sum := 0.0
		for i := -blurReach; i <= blurReach; i++ {
			sum += at(i)
		}
		const width = 2*blurReach + 1
		last, lastSoft := at(0), sum/width
		for i := 1; i < n; i++ {
			sum += at(i+blurReach) - at(i-blurReach-1)
			v, soft := at(i), sum/width
			sharp := math.Abs(v - last)
			all += sharp
			lost += max(0, sharp-math.Abs(soft-lastSoft))
			last, lastSoft = v, soft
		}
	}
	if all < blurLeast*float64(lines*(n-1)) {
		return 0, false
	}
	return (all - lost) / all, true
}

// shrink averages blocks of k × k pixels; what is left over at the right and
// bottom is dropped.
func shrink(g media.Gray, k int, into []byte) media.Gray {
	s := media.Gray{W: g.W / k, H: g.H / k, Pix: into[:0]}
	for y := range s.H {
		for x := range s.W {
			sum := k * k / 2
			for dy := range k {
				for _, v := range g.Pix[(y*k+dy)*g.W+x*k:][:k] {
					sum += int(v)
				}
			}
			s.Pix = append(s.Pix, byte(sum/(k*k)))
		}
	}
	return s
}
