package face

import (
	"encoding/binary"
	"errors"
	"math"
)

const (
	depth  = 6 // of the trees
	leaves = 1 << depth
)

// cascade is a trained search: trees that say one after the other how much a square of
// a picture is like a face, each by comparing pairs of its pixels. A square whose sum
// falls to a tree's least or below it is none.
type cascade []tree

// tree has nodes, the first of them unused, that compare a pixel with another, given as
// row, column, row, column in 1/256 of the square's side from its middle.
type tree struct {
	nodes [leaves][4]int8
	says  [leaves]float32
	least float32
}

// errCascade is what a file that is no cascade gives.
var errCascade = errors.New("face: the trained search is damaged")

// unpack reads a cascade in the form in which its authors keep it: eight bytes that
// nobody needs, the depth and number of the trees, and for each tree its nodes, its
// leaves and its least.
func unpack(data []byte) (cascade, error) {
	const head, each = 16, 4*(leaves-1) + 4*leaves + 4
	if len(data) < head || binary.LittleEndian.Uint32(data[8:]) != depth ||
		uint64(len(data)-head) != uint64(binary.LittleEndian.Uint32(data[12:]))*each {
		return nil, errCascade
	}
	var c cascade
	data = data[head:]
	number := func() float32 {
		v := math.Float32frombits(binary.LittleEndian.Uint32(data))
		data = data[4:]
		return v
	}
	for len(data) > 0 {
		var t tree
		for i := range t.nodes[1:] {
			t.nodes[i+1] = [4]int8{int8(data[0]), int8(data[1]), int8(data[2]), int8(data[3])}
			data = data[4:]
		}
		for i := range t.says {
			t.says[i] = number()
		}
		t.least = number()
		c = append(c, t)
	}
	if len(c) == 0 {
		return nil, errCascade
	}
	return c, nil
}

// searcher searches pictures of a width with a cascade. It keeps where the pixels of
// squares of a size lie, because the same sizes are searched in many pictures.
type searcher struct {
	trees cascade
	width int
	sizes map[int]*sized
	alive []square
}

func newSearcher(c cascade, width int) *searcher {
	return &searcher{trees: c, width: width, sizes: map[int]*sized{}}
}

// sized says where the pixels that nodes compare in a square of a size lie from its
// middle, in bytes of the picture. It is known of the trees reached so far.
type sized struct {
	size  int
	trees []*placed
}

type placed [leaves]struct{ one, other int32 }

// square is a place that may be a face: the index of its middle, and what the trees say.
type square struct {
	at  int32
	sum float32
}

// found is a square that all trees have passed.
type found struct {
	row, col, size int
	q              float32
}

// search returns what looks like a face of least to most pixels. From one place to the
// next it goes shift of the size, from one size to the next scale times it.
func (s *searcher) search(g grey, least, most int, shift, scale float64) []found {
	var all []found
	for size := least; size <= most; size = int(float64(size) + max(2, float64(size)*scale-float64(size))) {
		p := s.sizes[size]
		if p == nil {
			p = &sized{size: size}
			s.sizes[size] = p
		}
		step, edge := int(max(shift*float64(size), 1)), size/2+1
		for row := edge; row <= g.h-edge; row += step {
			s.alive = s.alive[:0]
			for col := edge; col <= g.w-edge; col += step {
				s.alive = append(s.alive, square{at: int32(row*g.w + col)})
			}
			for _, f := range s.pass(p, g.pix) {
				if q := f.sum - s.trees[len(s.trees)-1].least; q > 0 {
					all = append(all, found{row, int(f.at) - row*g.w, size, q})
				}
			}
		}
	}
	return all
}

// pass asks one tree after the other of all squares that are alive, and returns those
// left. A tree is asked of all before the next one is: the processor then works on
// several at once.
func (s *searcher) pass(p *sized, pix []byte) []square {
	left := s.alive
	for k := range s.trees {
		if len(left) == 0 {
			break
		}
		t := &s.trees[k]
		if len(p.trees) == k {
			p.trees = append(p.trees, t.place(p.size, s.width))
		}
		left = t.ask(p.trees[k], pix, left)
	}
	return left
}

// ask adds what a tree says to the sums of squares and returns those left, in their place.
func (t *tree) ask(p *placed, pix []byte, of []square) []square {
	n := 0
	for _, a := range of {
		a.sum += t.says[p.leaf(pix, int(a.at))]
		of[n] = a
		if a.sum > t.least {
			n++
		}
	}
	return of[:n]
}

// place finds where the pixels of a tree lie in squares of a size.
func (t *tree) place(size, width int) *placed {
	var p placed
	at := func(row, col int8) int32 { return int32((int(row)*size>>8)*width + int(col)*size>>8) }
	for i, n := range t.nodes {
		p[i].one, p[i].other = at(n[0], n[1]), at(n[2], n[3])
	}
	return &p
}

// leaf returns at which leaf a square ends. Pixels are compared without a branch, which
// no processor could foretell.
func (p *placed) leaf(pix []byte, at int) int {
	k := uint32(1)
	for range depth {
		n := &p[k%leaves]
		k = 2*k + uint32(int32(pix[at+int(n.one)])-int32(pix[at+int(n.other)])-1)>>31
	}
	return int(k % leaves)
}
