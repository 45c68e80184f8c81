package layout

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// canvases are the aspects a production is delivered in; 2.39:1 at 1920
// columns has 803.3 lines, here the even number above.
var canvases = map[string]Canvas{
	"16:9": {1920, 1080}, "9:16": {1080, 1920}, "1:1": {1080, 1080}, "4:3": {1440, 1080}, "2.39:1": {1920, 804},
}

var wide = Options{AspectW: 16, AspectH: 9, Gutter: 6}

// largestByTrying returns an independent search: every row count, every even size
// downwards from the canvas until it fits. The aspect rule is that of the
// documentation: the longer side is even, the other the nearest even number.
func largestByTrying(n int, c Canvas, o Options) (area int) {
	gutter, margin := o.Gutter+o.Gutter%2, o.Margin+o.Margin%2
	for rows := 1; rows <= n; rows++ {
		cols := int(math.Ceil(float64(n) / float64(rows)))
		fits := func(w, h int) bool {
			return cols*w+(cols-1)*gutter+2*margin <= c.W && rows*h+(rows-1)*gutter+2*margin <= c.H
		}
		long := max(c.W/cols, c.H/rows) + 2
		for a := long + long%2; a >= 2; a -= 2 {
			w, h := a, 2*int(math.Floor(float64(a)*float64(o.AspectH)/float64(o.AspectW)/2+0.5))
			if o.AspectW < o.AspectH {
				w, h = 2*int(math.Floor(float64(a)*float64(o.AspectW)/float64(o.AspectH)/2+0.5)), a
			}
			if fits(w, h) {
				if w >= MinTile && h >= MinTile {
					area = max(area, w*h)
				}
				break // smaller sizes have less area
			}
		}
	}
	return area
}

// TestGridIsOptimal holds every count from 1 to 200 on every canvas against
// the brute-force search.
func TestGridIsOptimal(t *testing.T) {
	for name, c := range canvases {
		for n := 1; n <= 200; n++ {
			p, err := Grid(n, c, wide)
			if err != nil {
				t.Fatalf("%s, %d tiles: %v", name, n, err)
			}
			checkPlan(t, p, n, c, wide)
			if got, want := p.Tiles[0].W*p.Tiles[0].H, largestByTrying(n, c, wide); got != want {
				t.Errorf("%s, %d tiles: area %d, another row count gives %d", name, n, got, want)
			}
		}
	}
}

// TestGridProperties draws counts, canvases, aspects, gutters and margins at
// random.
func TestGridProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 4))
	planned := 0
	for range 3000 {
		n := 1 + r.IntN(1+r.IntN(MaxTiles)) // small counts more often
		c := Canvas{2 * (60 + r.IntN(2000)), 2 * (60 + r.IntN(1100))}
		o := Options{1 + r.IntN(32), 1 + r.IntN(32), r.IntN(20), r.IntN(40), Align(r.IntN(3)), Shapes{}, 0}
		p, err := Grid(n, c, o)
		best := 0
		if n <= 60 || err != nil {
			best = largestByTrying(n, c, o)
		}
		if err != nil {
			var small *TooSmallError
			if !errors.As(err, &small) || best != 0 {
				t.Fatalf("%d tiles on %v with %+v: %v, but %d square pixels are possible", n, c, o, err, best)
			}
			continue
		}
		planned++
		checkPlan(t, p, n, c, o)
		if got := p.Tiles[0].W * p.Tiles[0].H; best != 0 && got != best {
			t.Fatalf("%d tiles on %v with %+v: area %d, possible %d", n, c, o, got, best)
		}
	}
	if planned < 1500 {
		t.Errorf("only %d of 3000 draws were planned; the draw tests too little", planned)
	}
}

// checkPlan holds a plan of equal tiles against everything it promises.
func checkPlan(t *testing.T, p Plan, n int, c Canvas, o Options) {
	t.Helper()
	if len(p.Tiles) != n {
		t.Fatalf("%d tiles for %d", len(p.Tiles), n)
	}
	checkTiles(t, p.Tiles, c, o)
	first := p.Tiles[0]
	for _, r := range p.Tiles {
		if r.W != first.W || r.H != first.H {
			t.Fatalf("unequal tiles %v and %v on %v", first, r, c)
		}
	}
	// The aspect is off by at most one pixel.
	w, h := float64(first.W), float64(first.H)
	ratio := float64(o.AspectW) / float64(o.AspectH)
	if math.Abs(w-h*ratio) > 1+1e-9 && math.Abs(h-w/ratio) > 1+1e-9 {
		t.Fatalf("tile %v has not the aspect %d:%d", first, o.AspectW, o.AspectH)
	}
	// The block is centred: what is free at the sides differs by less than
	// two pixels, once the snap to even is allowed for.
	left, right, top, bottom := c.W, 0, c.H, 0
	for _, r := range p.Tiles {
		left, right = min(left, r.X), max(right, r.Right())
		top, bottom = min(top, r.Y), max(bottom, r.Bottom())
	}
	if d := (c.W - right) - left; o.Align != Leading && (d < 0 || d > 2) {
		t.Fatalf("%d left, %d right of %d tiles on %v", left, c.W-right, n, c)
	}
	if d := (c.H - bottom) - top; d < 0 || d > 2 {
		t.Fatalf("%d above, %d below %d tiles on %v", top, c.H-bottom, n, c)
	}
}

// checkTiles holds rectangles against what every plan promises: inside,
// disjoint with the gutter between, even.
func checkTiles(t *testing.T, tiles []Rect, c Canvas, o Options) {
	t.Helper()
	for i, r := range tiles {
		if (r.X|r.Y|r.W|r.H)%2 != 0 {
			t.Fatalf("tile %d is not even: %v", i, r)
		}
		if !r.Inside(c) || r.X < o.Margin || r.Y < o.Margin || r.Right() > c.W-o.Margin || r.Bottom() > c.H-o.Margin {
			t.Fatalf("tile %d %v is outside %v with margin %d", i, r, c, o.Margin)
		}
		grown := Rect{r.X - o.Gutter, r.Y - o.Gutter, r.W + 2*o.Gutter, r.H + 2*o.Gutter}
		for k, s := range tiles[i+1:] {
			if grown.Overlaps(s) {
				t.Fatalf("tiles %d %v and %d %v are closer than %d", i, r, i+1+k, s, o.Gutter)
			}
		}
	}
}

func TestGridShapes(t *testing.T) {
	tests := []struct {
		n          int
		canvas     string
		rows, cols int
	}{
		{1, "16:9", 1, 1}, {4, "16:9", 2, 2}, {9, "16:9", 3, 3}, {16, "16:9", 4, 4},
		{3, "9:16", 3, 1}, {6, "9:16", 6, 1}, {7, "9:16", 4, 2}, {4, "1:1", 2, 2}, {8, "16:9", 3, 3},
	}
	for _, tt := range tests {
		p, err := Grid(tt.n, canvases[tt.canvas], wide)
		if err != nil {
			t.Fatal(err)
		}
		if p.Rows != tt.rows || p.Cols != tt.cols {
			t.Errorf("%d on %s: %d rows of %d, want %d of %d", tt.n, tt.canvas, p.Rows, p.Cols, tt.rows, tt.cols)
		}
	}
}

// TestGridAlign looks at the two tiles of the last row of eight on 16:9.
func TestGridAlign(t *testing.T) {
	o := wide
	xs := map[Align][2]int{}
	for _, a := range []Align{Centred, Spread, Leading} {
		o.Align = a
		p, err := Grid(8, canvases["16:9"], o)
		if err != nil {
			t.Fatal(err)
		}
		xs[a] = [2]int{p.Tiles[6].X - p.Tiles[0].X, p.Tiles[7].X - p.Tiles[0].X}
		if p.Tiles[6].Y != p.Tiles[7].Y {
			t.Errorf("align %d: the last row is not level", a)
		}
	}
	p, _ := Grid(8, canvases["16:9"], wide)
	step := p.Tiles[1].X - p.Tiles[0].X
	want := map[Align][2]int{Centred: {step / 2 &^ 1, step/2&^1 + step}, Spread: {0, 2 * step}, Leading: {0, step}}
	for a, w := range want {
		if xs[a] != w {
			t.Errorf("align %d: last row at %v, want %v", a, xs[a], w)
		}
	}
}

func TestGridRefuses(t *testing.T) {
	hd := canvases["16:9"]
	set := func(f func(*Options)) Options { o := wide; f(&o); return o }
	tests := []struct {
		name string
		n    int
		c    Canvas
		o    Options
		want string
	}{
		{"none", 0, hd, wide, "tiles: 0 is not within 1 and 1200"},
		{"too many", 1201, hd, wide, "tiles: 1201 is not within 1 and 1200"},
		{"odd canvas", 1, Canvas{1919, 1080}, wide, "canvas: 1919x1080 has an odd side"},
		{"huge canvas", 1, Canvas{20000, 1080}, wide, "canvas: 20000x1080 is not within 8 and 16384 pixels a side"},
		{"no aspect", 1, hd, Options{}, "aspect: 0:0 has a term outside 1 and 10000"},
		{"negative gutter", 1, hd, set(func(o *Options) { o.Gutter = -1 }),
			"gutter: -1 is not within 0 and 16384 pixels"},
		{"negative margin", 1, hd, set(func(o *Options) { o.Margin = -2 }),
			"margin: -2 is not within 0 and 16384 pixels"},
		{"align", 1, hd, set(func(o *Options) { o.Align = 9 }), "align: 9 is unknown"},
		{"margin eats all", 1, hd, set(func(o *Options) { o.Margin = 600 }),
			"1 tiles on a canvas of 1920x1080 would be smaller than 8x8"},
		{"small canvas", 500, Canvas{160, 90}, wide, "500 tiles on a canvas of 160x90 would be smaller than 8x8"},
	}
	for _, tt := range tests {
		if _, err := Grid(tt.n, tt.c, tt.o); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}

func TestEvenScale(t *testing.T) {
	for _, tt := range []struct {
		c    Canvas
		px   float64
		want int
	}{
		{Canvas{1920, 1080}, 6, 6}, {Canvas{1080, 1920}, 6, 6}, {Canvas{3840, 2160}, 6, 12}, {Canvas{960, 540}, 6, 4},
		{Canvas{480, 270}, 6, 2}, {Canvas{480, 270}, 0, 0}, {Canvas{1920, 1080}, math.NaN(), 0},
	} {
		if got := tt.c.EvenScale(tt.px); got != tt.want {
			t.Errorf("%v pixels at 1080 lines on %v: %d, want %d", tt.px, tt.c, got, tt.want)
		}
	}
}

func BenchmarkGrid500(b *testing.B) {
	for b.Loop() {
		if _, err := Grid(500, Canvas{1920, 1080}, wide); err != nil {
			b.Fatal(err)
		}
	}
}
