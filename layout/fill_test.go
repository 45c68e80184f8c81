package layout

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// filmCanvases are the shapes of films that Fill makes its promises for.
var filmCanvases = []Canvas{{1920, 1080}, {1080, 1920}, {1080, 1080}, {1440, 1080}, {2520, 1080}}

const landscape, portrait = 16. / 9, 9. / 16

// fillOptions are those of a production that says nothing.
func fillOptions(n int, c Canvas) Options {
	o := Options{Shapes: AnyShape, Align: Stretched, Gutter: c.AutoGutter(6, n)}
	if n > 1 {
		o.Margin = o.Gutter
	}
	return o
}

// pictures returns n aspects, every so manieth a portrait; 0: none.
func pictures(n, every int) []float64 {
	list := make([]float64, n)
	for i := range list {
		list[i] = landscape
		if every > 0 && i%every == every-1 {
			list[i] = portrait
		}
	}
	return list
}

// covered returns the share of the canvas that tiles cover, and how much larger
// the largest is than the smallest.
func covered(p Plan) (share, uneven float64) {
	least, most, sum := math.Inf(1), 0.0, 0.0
	for _, r := range p.Tiles {
		a := float64(r.W * r.H)
		least, most, sum = min(least, a), max(most, a), sum+a
	}
	return sum / float64(p.Canvas.W*p.Canvas.H), most / least
}

// TestFillKeepsItsPromises holds every count up to 60 on every canvas, and up to 200 on
// some, against what is promised of the share covered and of the sizes of tiles.
func TestFillKeepsItsPromises(t *testing.T) {
	for i, c := range filmCanvases {
		for _, every := range []int{0, 1, 3} {
			worst := map[float64]float64{}
			for n := 1; n <= 200; n++ {
				if n > 60 && (n+i+every)%3 != 0 {
					continue // every count on some canvas, with some portraits
				}
				o := fillOptions(n, c)
				p, err := Fill(pictures(n, every), c, o)
				if err != nil {
					t.Fatalf("%v, %d: %v", c, n, err)
				}
				if len(p.Tiles) != n || len(p.Cells()) != n {
					t.Fatalf("%v, %d: %d tiles, %d cells", c, n, len(p.Tiles), len(p.Cells()))
				}
				checkTiles(t, p.Tiles, c, o)
				share, uneven := covered(p)
				want := map[bool]float64{true: 0.92, false: 0.90}[n <= 12]
				if n > 60 {
					want = 0.86
				}
				if share < want {
					t.Errorf("%v, %d players, every %d a portrait: %.3f covered, promised %.2f", c, n, every, share,
						want)
				}
				if uneven > MaxUneven {
					t.Errorf("%v, %d players, every %d a portrait: tiles differ by 1:%.2f", c, n, every, uneven)
				}
				if worst[want] == 0 || share < worst[want] {
					worst[want] = share
				}
			}
			t.Logf("%v, every %d a portrait: least covered %.3f to 12, %.3f to 60, %.3f to 200", c, every,
				worst[.92], worst[.90], worst[.86])
		}
	}
}

// tried is what the brute force finds: the best score of all ways, and that of
// equal tiles.
type tried struct{ best, cover, even float64 }

// tryAll is an independent search: rows, or columns, of every multiset of lengths
// in which no length is more than half as long again as another or one tile
// longer (4 over 7 look like two films), every height of each length in steps of 2 %, and rows of equal tiles
// of every shape in steps of a percent.
// Only those equal tiles are rounded to pixels.
func tryAll(pics float64, n int, c Canvas, o Options) (found tried) {
	W, H, g := float64(c.W-2*o.Margin), float64(c.H-2*o.Margin), float64(o.Gutter)
	whole := float64(c.W) * float64(c.H)
	score := func(worth []float64) float64 {
		sum := 0.0
		for _, w := range worth {
			sum += 1 / w
		}
		return float64(len(worth)) * float64(len(worth)) / sum / whole
	}
	keep := func(even bool, s, cover float64) {
		if cover < Promised(n)+0.005 {
			return
		}
		s *= cover
		if s > found.best {
			found.best, found.cover = s, cover
		}
		if even {
			found.even = max(found.even, s)
		}
	}
	var lines func(left, least int, have []int)
	try := func(lengths []int, columns bool) {
		along, across := W, H
		if columns {
			along, across = H, W
		}
		across -= g * float64(len(lengths)-1)
		short := lengths[0]
		// A line's thickness is (length/short)^p of the shortest line's, for every p.
		thick := make([]float64, lengths[len(lengths)-1]+1) // by length
		var worth []float64
		for p := -1.0; p <= 2; p += 0.02 {
			total := 0.0
			for i, k := range lengths {
				if i == 0 || k != lengths[i-1] {
					thick[k] = math.Pow(float64(k)/float64(short), p)
				}
				total += thick[k]
			}
			worth = worth[:0]
			least, most, area := math.Inf(1), 0.0, 0.0
			for _, k := range lengths {
				w, h := (along-g*float64(k-1))/float64(k), across*thick[k]/total
				least, most = min(least, w*h), max(most, w*h)
				area += w * h * float64(k)
				if columns {
					w, h = h, w
				}
				each := o.Shapes.Worth(w, h, pics)
				for range k {
					worth = append(worth, each)
				}
			}
			if most <= MaxUneven*least {
				keep(lengths[len(lengths)-1] == short, score(worth), area/whole)
			}
			if lengths[len(lengths)-1] == short {
				break
			}
		}
	}
	lines = func(left, least int, have []int) {
		if left == 0 {
			try(have, false)
			try(have, true)
			return
		}
		for k := least; k <= left; k++ {
			if len(have) > 0 && k > max(have[0]+1, 3*have[0]/2) {
				return
			}
			lines(left-k, k, append(slices.Clone(have), k))
		}
	}
	if n <= 12 {
		lines(n, 1, nil)
	} else { // lines of two lengths
		for rows := 1; rows <= n; rows++ {
			k := n / rows
			lengths := slices.Repeat([]int{k}, rows-n%rows)
			try(append(lengths, slices.Repeat([]int{k + 1}, n%rows)...), false)
			try(append(slices.Clone(lengths[:rows-n%rows]), slices.Repeat([]int{k + 1}, n%rows)...), true)
		}
	}
	for rows := 1; rows <= n; rows++ {
		cols := math.Ceil(float64(n) / float64(rows))
		w, h := (W-g*(cols-1))/cols, (H-g*float64(rows-1))/float64(rows)
		for shape := o.Shapes.Least; shape <= o.Shapes.Most; shape *= 1.01 {
			a, b := math.Floor(min(w, h*shape)/2)*2, math.Floor(min(h, w/shape)/2)*2
			if a > 8 && b > 8 {
				keep(true, float64(n)*o.Shapes.Worth(a, b, pics)/whole, a*b*float64(n)/whole)
			}
		}
	}
	return found
}

// scoreOf is the score of a plan as its pixels are.
func scoreOf(p Plan, o Options, pics float64) float64 {
	sum := 0.0
	for _, r := range p.Tiles {
		sum += 1 / o.Shapes.Worth(float64(r.W), float64(r.H), pics)
	}
	n := float64(len(p.Tiles))
	share, _ := covered(p)
	return share * n * n / sum / float64(p.Canvas.W*p.Canvas.H)
}

// TestFillAgainstBruteForce holds the search against trying everything: what it
// chooses is within 2 % of the best there is, or of the best of equal tiles where
// it chooses those, which then cost at most 5 % of the canvas.
func TestFillAgainstBruteForce(t *testing.T) {
	for _, c := range filmCanvases {
		for _, pics := range []float64{landscape, 4. / 3, portrait} {
			for _, n := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 17, 23, 31, 47,
				60, 200} {
				o := fillOptions(n, c)
				p, err := Fill(slices.Repeat([]float64{pics}, n), c, o)
				if err != nil {
					t.Fatal(err)
				}
				best := tryAll(pics, n, c, o)
				got := scoreOf(p, o, pics)
				first, equal := p.Tiles[0], true
				for _, r := range p.Tiles {
					equal = equal && max(r.W-first.W, first.W-r.W, r.H-first.H, first.H-r.H) <= 2
				}
				switch {
				case equal && got < 0.98*best.even:
					t.Errorf("%v, %d of %.2f: equal tiles score %.3f, possible %.3f", c, n, pics, got, best.even)
				case !equal && got < 0.98*best.best:
					t.Errorf("%v, %d of %.2f: score %.3f, possible %.3f", c, n, pics, got, best.best)
				case equal && got < best.best-equalCost-0.02*best.best:
					t.Errorf("%v, %d of %.2f: equal tiles score %.3f and cost more than they may of %.3f", c, n, pics,
						got, best.best)
				}
			}
		}
	}
}

// TestHalvesAndOthers says what an editor expects of few players.
func TestHalvesAndOthers(t *testing.T) {
	for _, k := range []struct {
		n    int
		c    Canvas
		want string
	}{
		{1, Canvas{1920, 1080}, "[{0 0 1920 1080}]"},
		{1, Canvas{1080, 1920}, "[{0 0 1080 1920}]"},
		{2, Canvas{1920, 1080}, "[{6 6 952 1068} {964 6 950 1068}]"},
		{2, Canvas{1080, 1920}, "[{6 6 1068 952} {6 964 1068 950}]"},
		{4, Canvas{1920, 1080}, "[{6 6 952 532} {964 6 950 532} {6 544 952 530} {964 544 950 530}]"},
	} {
		p, err := Fill(pictures(k.n, 0), k.c, fillOptions(k.n, k.c))
		if err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprint(p.Tiles); got != k.want {
			t.Errorf("%d on %v: %s, want %s", k.n, k.c, got, k.want)
		}
	}
}

// BenchmarkFill plans a crowd.
func BenchmarkFill(b *testing.B) {
	for _, n := range []int{10, 60, 200} {
		c := Canvas{1920, 1080}
		pics, o := pictures(n, 3), fillOptions(n, c)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Fill(pics, c, o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// TestASmallFilmLooksAsTheLargeOne compares the arrangement on canvases of one shape:
// edges are where they are on the largest, to a few pixels of gutters and rounding.
func TestASmallFilmLooksAsTheLargeOne(t *testing.T) {
	for _, c := range filmCanvases {
		for _, n := range []int{1, 2, 3, 5, 7, 10, 23, 47} {
			large, err := Fill(pictures(n, 3), c, fillOptions(n, c))
			if err != nil {
				t.Fatal(err)
			}
			for _, k := range []int{3, 2} { // thirds and halves
				small := Canvas{c.W / k, c.H / k}
				p, err := large.On(small, fillOptions(n, small))
				if err != nil {
					t.Fatal(err)
				}
				checkTiles(t, p.Tiles, small, fillOptions(n, small))
				for i, r := range p.Tiles {
					q := large.Tiles[i]
					if off := max(r.X*k-q.X, q.X-r.X*k, r.Bottom()*k-q.Bottom(), q.Bottom()-r.Bottom()*k); off > 12 {
						t.Fatalf("%v of %v, %d: %v, %v on the large one", small, c, n, r, q)
					}
				}
			}
		}
	}
	if _, err := (Plan{}).On(Canvas{64, 36}, Options{}); err == nil {
		t.Error("a plan of nothing was brought to a canvas")
	}
}

// TestASoloistLeavesNothingFree places a soloist among others of any shape: the
// canvas is covered, nobody among the others is much smaller than another, and the
// soloist is largest.
func TestASoloistLeavesNothingFree(t *testing.T) {
	for _, c := range filmCanvases {
		for _, n := range []int{2, 3, 4, 5, 7, 10, 11, 16, 25, 40, 61} {
			o := fillOptions(n, c)
			o.Picture = landscape
			p, err := Around(n, c, o, 0)
			if err != nil {
				t.Fatal(err)
			}
			checkTiles(t, p.Tiles, c, o)
			share, _ := covered(p)
			// One other fills no band without being nearly as large.
			if len(p.Tiles) != n || n > 2 && share < 0.87 {
				t.Errorf("%v, %d: %d tiles, %.3f of the canvas", c, n, len(p.Tiles), share)
			}
			for _, r := range p.Tiles[1:] {
				if 2*p.Tiles[0].W < larger*r.W || 2*p.Tiles[0].H < larger*r.H {
					t.Errorf("%v, %d: the soloist has %v, another %v", c, n, p.Tiles[0], r)
				}
			}
		}
	}
}
