package layout

import "math"

// Justified places pictures of different aspects without cropping them to
// one: rows of equal width, every row as high as its pictures then are, gaps
// only between. aspects are widths over heights, 0.1 to 10, in seat order; the
// aspect in o is not used.
//
// Rows are broken where the sum of aspects comes nearest to equal shares, and
// the number of rows is the one that covers most of the canvas; fewer rows win
// a tie. Sides are even, so a picture's aspect is off by at most two pixels of
// its tile. Plan.Cols is the length of the longest row. Errors are Grid's.
func Justified(aspects []float64, c Canvas, o Options) (Plan, error) {
	o.AspectW, o.AspectH, o.Align = 1, 1, Centred
	o, err := check(len(aspects), c, o)
	if err != nil {
		return Plan{}, err
	}
	for i, a := range aspects {
		if !(a >= 0.1 && a <= 10) {
			return Plan{}, argument("aspects", "number %d is %v, not within 0.1 and 10", i+1, a)
		}
	}
	var best Plan
	most := 0
	for rows := 1; rows <= len(aspects); rows++ {
		j := newJustification(aspects, shares(aspects, rows), c, o)
		if j.bound() <= most {
			continue
		}
		tiles, cols := j.place(aspects)
		if covered := area(tiles); covered > most {
			most = covered
			best = Plan{Canvas: c, Tiles: tiles, Rows: rows, Cols: cols, Gutter: o.Gutter}
		}
	}
	if most == 0 {
		return Plan{}, &TooSmallError{len(aspects), c, MinTile, MinTile}
	}
	return best, nil
}

// area returns the pixels of all tiles; 0 when one is smaller than the minimum.
func area(tiles []Rect) (sum int) {
	for _, t := range tiles {
		if t.W < MinTile || t.H < MinTile {
			return 0
		}
		sum += t.W * t.H
	}
	return sum
}

// shares breaks the sequence into rows, none empty, each break where the
// running sum is nearest to its share of the total. It returns the index after
// the last picture of every row.
func shares(aspects []float64, rows int) []int {
	total := 0.0
	for _, a := range aspects {
		total += a
	}
	ends := make([]int, rows)
	sum, i := 0.0, 0
	for r := range rows {
		goal := total * float64(r+1) / float64(rows)
		last := len(aspects) - (rows - 1 - r) // leave one for every later row
		for first := true; i < last; first = false {
			if !first && math.Abs(sum+aspects[i]-goal) > math.Abs(sum-goal) {
				break
			}
			sum += aspects[i]
			i++
		}
		ends[r] = i
	}
	ends[rows-1] = len(aspects)
	return ends
}

// justification is a way to break pictures into rows.
type justification struct {
	canvas       Canvas
	o            Options
	ends, counts []int
	sums         []float64 // of aspects, by row
	cols         int       // longest row
}

// newJustification sums the aspects of each row up; ends[r] is the first tile
// behind row r.
func newJustification(aspects []float64, ends []int, c Canvas, o Options) justification {
	j := justification{c, o, ends, make([]int, len(ends)), make([]float64, len(ends)), 0}
	for r, from := 0, 0; r < len(ends); from, r = ends[r], r+1 {
		j.counts[r] = ends[r] - from
		j.cols = max(j.cols, j.counts[r])
		for _, a := range aspects[from:ends[r]] {
			j.sums[r] += a
		}
	}
	return j
}

// room returns how wide and high the block may be.
func (j justification) room() (w, h int) {
	return floorEven(max(0, j.canvas.W-2*j.o.Margin)), max(0, j.canvas.H-2*j.o.Margin)
}

// bound returns an area no placing of these rows exceeds. A row's height is at most
// its width over its sum of aspects, and rounding down gains under 2 pixels.
func (j justification) bound() int {
	w, h := j.room()
	perPixel, slack := 0.0, float64(2*len(j.ends))
	for r, s := range j.sums {
		perPixel += 1 / s
		slack += float64((j.counts[r]-1)*j.o.Gutter) / s
	}
	width := min(float64(w), (float64(h)+slack)/perPixel)
	return int(math.Ceil(width * min(float64(h), width*perPixel)))
}

// heights of the rows of a block so wide, and of the block.
func (j justification) heights(width int) (rows []int, sum int) {
	rows = make([]int, len(j.ends))
	sum = (len(j.ends) - 1) * j.o.Gutter
	for r := range rows {
		rows[r] = floorEven(int(float64(max(0, width-(j.counts[r]-1)*j.o.Gutter)) / j.sums[r]))
		sum += rows[r]
	}
	return rows, sum
}

// place sets the rows flush at both sides, as wide as canvas and height allow.
// No tiles when they do not fit.
func (j justification) place(aspects []float64) (tiles []Rect, cols int) {
	hi, room := j.room()
	lo := 0
	for lo < hi { // the widest even block that is not too high
		mid := ceilEven((lo + hi + 1) / 2)
		if _, h := j.heights(mid); h <= room {
			lo = mid
		} else {
			hi = mid - 2
		}
	}
	heights, height := j.heights(lo)
	if lo == 0 || height > room {
		return nil, j.cols
	}
	x0, y := floorEven((j.canvas.W-lo)/2), floorEven((j.canvas.H-height)/2)
	i := 0
	for r := range j.ends {
		width := lo - (j.counts[r]-1)*j.o.Gutter
		at, sum := 0, 0.0
		for k := range j.counts[r] {
			sum += aspects[i]
			end := nearEven(float64(width) * sum / j.sums[r])
			tiles = append(tiles, Rect{x0 + at + k*j.o.Gutter, y, end - at, heights[r]})
			at = end
			i++
		}
		y += heights[r] + j.o.Gutter
	}
	return tiles, j.cols
}
