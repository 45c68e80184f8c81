package face

import (
	"encoding/binary"
	"errors"
	"math"
)

// forest is a trained cascade: trees that ask which of two pixels is brighter. It is
// read once and then the same for all.
type forest struct {
	depth  int       // questions from a tree's root to a leaf
	nodes  []node    // of all trees; a tree has 2^depth, numbered from 1, and its first is not used
	leaves []float32 // what each leaf adds to the score, 2^depth a tree
	least  []float32 // the score after each tree that a face exceeds
}

// node is two places, each in 256ths of the window's size from its middle.
type node struct{ row1, col1, row2, col2 int8 }

var errNoCascade = errors.New("face: the trained cascade is not whole")

// readForest reads the format of pico (N. Markuš et al., 2013): eight bytes that are not
// needed, depth and number of trees, and of each tree its nodes, leaves and threshold.
func readForest(data []byte) (*forest, error) {
	if len(data) < 16 {
		return nil, errNoCascade
	}
	depth, trees := binary.LittleEndian.Uint32(data[8:]), binary.LittleEndian.Uint32(data[12:])
	data = data[16:]
	if depth < 1 || depth > 10 {
		return nil, errNoCascade
	}
	f := &forest{depth: int(depth)}
	width := 1 << depth
	size := 4*(width-1) + 4*width + 4
	if trees < 1 || uint64(len(data)) < uint64(trees)*uint64(size) {
		return nil, errNoCascade
	}
	number := func(at int) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(data[at:])) }
	for range trees {
		f.nodes = append(f.nodes, node{})
		at := 0
		for ; at < 4*(width-1); at += 4 {
			f.nodes = append(f.nodes, node{int8(data[at]), int8(data[at+1]), int8(data[at+2]), int8(data[at+3])})
		}
		for range width {
			f.leaves = append(f.leaves, number(at))
			at += 4
		}
		f.least = append(f.least, number(at))
		data = data[size:]
	}
	return f, nil
}

// search looks for faces in the pictures of one take. It serves one goroutine.
type search struct {
	*forest
	sized map[[2]int]*sized
}

// sized is the cascade for windows of one size in pictures of one width: where the two
// pixels of a node lie from the window's middle. Most windows are refused by the first
// few trees, so a tree is prepared when a window comes to it.
type sized struct {
	*forest
	size, wide int
	pixels     [][2]int32 // of the nodes of the trees that are prepared
}

// of returns the cascade for windows of a size in pictures of a width.
func (s *search) of(size, wide int) *sized {
	key := [2]int{size, wide}
	if s.sized == nil {
		s.sized = map[[2]int]*sized{}
	}
	if s.sized[key] == nil {
		s.sized[key] = &sized{forest: s.forest, size: size, wide: wide}
	}
	return s.sized[key]
}

// prepare adds the next tree.
func (s *sized) prepare() {
	share := func(of int8) int { return int(of) * s.size >> 8 }
	away := func(row, col int8) int32 { return int32(share(row)*s.wide + share(col)) }
	from := len(s.pixels)
	for _, n := range s.nodes[from : from+1<<s.depth] {
		s.pixels = append(s.pixels, [2]int32{away(n.row1, n.col1), away(n.row2, n.col2)})
	}
}

// scores writes how much like a face four windows are whose middles are the pixels at;
// what is none has no more than 0. A processor waits for the pixels of one window while it
// compares those of the others, which is twice as fast as one window after the other.
func (s *sized) scores(pix []byte, at [4]int) (q [4]float32) {
	width, left := 1<<s.depth, 4
	var sum [4]float32
	for tree, least := range s.least {
		root := tree * width
		if root == len(s.pixels) {
			s.prepare()
		}
		nodes, leaves := s.pixels[root:root+width], s.leaves[root:root+width]
		i := [4]int{1, 1, 1, 1}
		for range s.depth {
			i[0] = brighter(pix, nodes[i[0]], at[0], i[0])
			i[1] = brighter(pix, nodes[i[1]], at[1], i[1])
			i[2] = brighter(pix, nodes[i[2]], at[2], i[2])
			i[3] = brighter(pix, nodes[i[3]], at[3], i[3])
		}
		for k := range sum {
			if sum[k] += leaves[i[k]-width]; sum[k] <= least && q[k] == 0 {
				q[k], left = -1, left-1
			}
		}
		if left == 0 {
			return q
		}
	}
	for k := range q {
		if q[k] == 0 {
			q[k] = sum[k] - s.least[len(s.least)-1]
		}
	}
	return q
}

// brighter returns the node below node i of a tree: the right one where the second of its
// pixels is as bright as the first or brighter. It has no branch, for what the answer is
// no processor guesses.
func brighter(pix []byte, n [2]int32, at, i int) int {
	return 2*i + 1 + (int(pix[at+int(n[1])])-int(pix[at+int(n[0])]))>>63
}

// detection is a window that is like a face: its middle and its size, in pixels.
type detection struct {
	row, col, size int
	score          float32
}

// run searches a picture for upright faces of some sizes, in pixels, from the smallest on
// and row by row: shift is how far apart windows lie, in their sizes, and grow by how much
// one size exceeds the one before.
func (s *search) run(g grey, least, most int, shift, grow float64) []detection {
	var found []detection
	for size := least; size <= most; size = larger(size, grow) {
		windows, step, edge := s.of(size, g.w), int(math.Max(shift*float64(size), 1)), size/2+1
		for row := edge; row <= g.h-edge; row += step {
			for col := edge; col <= g.w-edge; col += 4 * step {
				last := g.w - edge - (g.w-2*edge)%step // what lies beyond it is looked at twice
				cols := [4]int{col, min(col+step, last), min(col+2*step, last), min(col+3*step, last)}
				at := row * g.w
				for k, q := range windows.scores(g.pix, [4]int{at + cols[0], at + cols[1], at + cols[2], at + cols[3]}) {
					if q > 0 && (k == 0 || cols[k] > cols[k-1]) {
						found = append(found, detection{row, cols[k], size, q})
					}
				}
			}
		}
	}
	return found
}

// larger returns the size that follows on one, two pixels more at least.
func larger(size int, grow float64) int {
	return int(float64(size) + math.Max(2, float64(float64(size)*grow)-float64(size)))
}
