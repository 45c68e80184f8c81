package layout

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func draw(r *rand.Rand) (Canvas, Options) {
	return Canvas{2 * (200 + r.IntN(1700)), 2 * (200 + r.IntN(900))},
		Options{1 + r.IntN(20), 1 + r.IntN(20), r.IntN(14), r.IntN(30), Align(r.IntN(3)), Shapes{}, 0}
}

// TestSections: a section begins a row, its rows differ by one at most, tiles
// are as large as any row length allows.
func TestSections(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	planned := 0
	for range 800 {
		c, o := draw(r)
		var sizes []int
		n := 0
		for range 1 + r.IntN(7) {
			sizes = append(sizes, 1+r.IntN(30))
			n += sizes[len(sizes)-1]
		}
		p, err := Sections(sizes, c, o)
		if err != nil {
			continue
		}
		planned++
		checkPlan(t, p, n, c, o)
		lengths := map[int]int{} // tiles by row, rows told apart by y
		section := map[int]int{}
		i := 0
		for s, size := range sizes {
			for range size {
				y := p.Tiles[i].Y
				if old, ok := section[y]; ok && old != s {
					t.Fatalf("sections %d and %d share a row", old, s)
				}
				section[y] = s
				lengths[y]++
				i++
			}
		}
		for y, k := range lengths {
			for z, l := range lengths {
				if section[y] == section[z] && k > l+1 {
					t.Fatalf("section %d has rows of %d and %d", section[y], k, l)
				}
			}
		}
		want := 0
		for cols := 1; cols <= n; cols++ {
			rows := 0
			for _, s := range sizes {
				rows += int(math.Ceil(float64(s) / float64(cols)))
			}
			want = max(want, bruteTile(rows, cols, c, o))
		}
		if got := p.Tiles[0].W * p.Tiles[0].H; got != want {
			t.Fatalf("%v on %v with %+v: area %d, possible %d", sizes, c, o, got, want)
		}
	}
	if planned < 600 {
		t.Errorf("only %d of 800 draws planned", planned)
	}
	if _, err := Sections([]int{3, 0}, canvases["16:9"], wide); err == nil ||
		err.Error() != "sections: number 2 has 0 tiles" {
		t.Errorf("empty section: %v", err)
	}
	if _, err := Sections(nil, canvases["16:9"], wide); err == nil {
		t.Error("no sections at all were placed")
	}
}

// bruteTile returns the area of the largest tile for so many rows and columns, by
// trying every size from the canvas down.
func bruteTile(rows, cols int, c Canvas, o Options) int {
	g, m := o.Gutter+o.Gutter%2, o.Margin+o.Margin%2
	long := max(c.W/cols, c.H/rows) + 2
	for a := long + long%2; a >= 2; a -= 2 {
		w, h := a, 2*int(math.Floor(float64(a)*float64(o.AspectH)/float64(o.AspectW)/2+0.5))
		if o.AspectW < o.AspectH {
			w, h = 2*int(math.Floor(float64(a)*float64(o.AspectW)/float64(o.AspectH)/2+0.5)), a
		}
		if cols*w+(cols-1)*g+2*m <= c.W && rows*h+(rows-1)*g+2*m <= c.H {
			if w < MinTile || h < MinTile {
				return 0
			}
			return w * h
		}
	}
	return 0
}

func TestPages(t *testing.T) {
	hd := canvases["16:9"]
	pages, err := Pages(100, hd, wide, 320, 180)
	if err != nil {
		t.Fatal(err)
	}
	if len(pages) != 4 { // 25 to a page have 378 columns each, 34 only 314
		t.Errorf("%d pages", len(pages))
	}
	r := rand.New(rand.NewPCG(4, 4))
	for range 300 {
		n := 1 + r.IntN(1+r.IntN(MaxTiles)) // small counts more often
		c, o := draw(r)
		w, h := 16+r.IntN(300), 16+r.IntN(200)
		pages, err := Pages(n, c, o, w, h)
		if err != nil {
			var small *TooSmallError
			one, gridErr := Grid(1, c, o)
			if !errors.As(err, &small) || small.Count != 1 ||
				(gridErr == nil && one.Tiles[0].W >= w && one.Tiles[0].H >= h) {
				t.Fatalf("%d on %v, %+v, at least %dx%d: %v", n, c, o, w, h, err)
			}
			continue
		}
		total := 0
		for i, p := range pages {
			checkTiles(t, p.Tiles, c, o)
			total += len(p.Tiles)
			if d := len(pages[0].Tiles) - len(p.Tiles); d < 0 || d > 1 {
				t.Fatalf("page %d has %d tiles, the first %d", i, len(p.Tiles), len(pages[0].Tiles))
			}
			if p.Tiles[0].W < w || p.Tiles[0].H < h || p.Tiles[0] != pages[0].Tiles[0] && p.Rows > 1 {
				t.Fatalf("page %d begins with %v, the first with %v", i, p.Tiles[0], pages[0].Tiles[0])
			}
		}
		if total != n {
			t.Fatalf("%d tiles on pages, want %d", total, n)
		}
		if len(pages) > 1 { // one page fewer is not enough
			most := int(math.Ceil(float64(n) / float64(len(pages)-1)))
			if p, err := Grid(most, c, o); err == nil && p.Tiles[0].W >= w && p.Tiles[0].H >= h {
				t.Fatalf("%d pages where %d do", len(pages), len(pages)-1)
			}
		}
	}
	if _, err := Pages(0, hd, wide, 8, 8); err == nil {
		t.Error("no tiles were placed on pages")
	}
}

// TestWeighted: inside, disjoint, even; a tile of weight k covers k cells and
// their gutters; the cells are as large as any number of columns allows.
func TestWeighted(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 3))
	planned := 0
	for range 400 {
		c, o := draw(r)
		weights := make([]int, 1+r.IntN(60))
		across, widest := 0, 1
		for i := range weights {
			weights[i] = 1
			if r.IntN(12) == 0 {
				weights[i] = 1 + r.IntN(4)
			}
			across += weights[i]
			widest = max(widest, weights[i])
		}
		p, err := Weighted(weights, c, o)
		if err != nil {
			continue
		}
		planned++
		checkTiles(t, p.Tiles, c, o)
		g := o.Gutter + o.Gutter%2
		cell := Rect{}
		for i, k := range weights {
			w, h := (p.Tiles[i].W-(k-1)*g)/k, (p.Tiles[i].H-(k-1)*g)/k
			if cell == (Rect{}) {
				cell = Rect{W: w, H: h}
			}
			if w != cell.W || h != cell.H || p.Tiles[i].W != k*w+(k-1)*g {
				t.Fatalf("tile %d of weight %d is %v, cells are %v", i, k, p.Tiles[i], cell)
			}
		}
		want := 0
		for cols := widest; cols <= across; cols++ {
			rows, _ := pack(weights, cols)
			want = max(want, bruteTile(rows, cols, c, o))
		}
		if got := cell.W * cell.H; got != want {
			t.Fatalf("%v on %v with %+v: cells of %d, possible %d", weights, c, o, got, want)
		}
	}
	if planned < 300 {
		t.Errorf("only %d of 400 draws planned", planned)
	}
}

// TestWeightedConductor: one heavy tile among light ones stands at the top in
// the middle, and equal weights are a plain grid.
func TestWeightedConductor(t *testing.T) {
	hd := canvases["16:9"]
	weights := []int{1, 1, 1, 2, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	p, err := Weighted(weights, hd, wide)
	if err != nil {
		t.Fatal(err)
	}
	big := p.Tiles[3]
	if p.Rows != 4 || p.Cols != 4 || big.Y != p.Tiles[0].Y || math.Abs(float64(big.X+big.W/2-hd.W/2)) > 2 {
		t.Errorf("%d rows of %d, conductor at %v", p.Rows, p.Cols, big)
	}
	for n := 1; n <= 120; n++ {
		ones := make([]int, n)
		for i := range ones {
			ones[i] = 1
		}
		a, err := Weighted(ones, hd, wide)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Grid(n, hd, wide)
		if err != nil {
			t.Fatal(err)
		}
		for i := range a.Tiles {
			if a.Tiles[i] != b.Tiles[i] {
				t.Fatalf("%d equal weights: tile %d at %v, in a grid at %v", n, i, a.Tiles[i], b.Tiles[i])
			}
		}
	}
	if _, err := Weighted([]int{1, 9}, hd, wide); err == nil ||
		err.Error() != "weights: number 2 is 9, not within 1 and 8" {
		t.Errorf("weight 9: %v", err)
	}
}

// TestJustified: flush rows, common height in a row, aspects kept.
func TestJustified(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	planned := 0
	for range 150 {
		c, o := draw(r)
		aspects := make([]float64, 1+r.IntN(80))
		for i := range aspects {
			aspects[i] = []float64{16. / 9, 9. / 16, 4. / 3, 1}[r.IntN(4)]
		}
		p, err := Justified(aspects, c, o)
		if err != nil {
			var small *TooSmallError
			if !errors.As(err, &small) {
				t.Fatal(err)
			}
			continue
		}
		planned++
		checkTiles(t, p.Tiles, c, o)
		left, right := p.Tiles[0].X, 0
		rows := map[int]Rect{}
		for i, q := range p.Tiles {
			if d := math.Abs(float64(q.W) - aspects[i]*float64(q.H)); d > 2+2*aspects[i] {
				t.Fatalf("tile %d %v has not the aspect %v", i, q, aspects[i])
			}
			row, ok := rows[q.Y]
			if !ok {
				row = q
			} else if q.H != row.H || q.X < row.Right() {
				t.Fatalf("tile %d %v does not continue its row %v", i, q, row)
			}
			row.W = q.Right() - row.X
			rows[q.Y] = row
		}
		for _, row := range rows {
			if right == 0 {
				right = row.Right()
			}
			if row.X != left || row.Right() != right {
				t.Fatalf("row %v is not flush with %d to %d", row, left, right)
			}
		}
		most := 0 // over all numbers of rows, none skipped
		for n := 1; n <= len(aspects); n++ {
			even, err := check(len(aspects), c, Options{1, 1, o.Gutter, o.Margin, Centred, Shapes{}, 0})
			if err != nil {
				t.Fatal(err)
			}
			tiles, _ := newJustification(aspects, shares(aspects, n), c, even).place(aspects)
			most = max(most, area(tiles))
		}
		if got := area(p.Tiles); got != most {
			t.Fatalf("%d pictures on %v cover %d, possible %d", len(aspects), c, got, most)
		}
		if len(rows) != p.Rows {
			t.Fatalf("%d rows, plan says %d", len(rows), p.Rows)
		}
	}
	if planned < 110 {
		t.Errorf("only %d of 150 draws planned", planned)
	}
	for _, bad := range []float64{0, -1, 11, math.NaN(), math.Inf(1)} {
		if _, err := Justified([]float64{bad}, canvases["16:9"], wide); err == nil {
			t.Errorf("aspect %v accepted", bad)
		}
	}
	// Six landscape pictures of the canvas's aspect: two rows of three fill
	// the width.
	p, err := Justified([]float64{1.5, 1.5, 1.5, 1.5, 1.5, 1.5}, Canvas{900, 400}, Options{})
	if err != nil || p.Rows != 2 || p.Cols != 3 || p.Tiles[0] != (Rect{0, 0, 300, 200}) {
		t.Errorf("%+v, %v", p, err)
	}
}

// TestBetween: no jump, no step back, even all the way, both ends exact.
func TestBetween(t *testing.T) {
	a, b := Rect{0, 0, 480, 270}, Rect{1200, 600, 160, 90}
	if Between(a, b, 0) != a || Between(a, b, 1) != b || Between(a, b, -3) != a || Between(a, b, 7) != b ||
		Between(a, b, math.NaN()) != a {
		t.Error("an end is not exact")
	}
	const frames = 45
	last := a
	for i := 1; i <= frames; i++ {
		r := Between(a, b, float64(i)/frames)
		if (r.X|r.Y|r.W|r.H)%2 != 0 {
			t.Fatalf("odd at frame %d: %v", i, r)
		}
		// The steepest step of 3t²-2t³ is 1.5 of the mean; 2 is the snap.
		if d := r.X - last.X; d < 0 || float64(d) > 1.5*1200/frames+2 {
			t.Fatalf("frame %d: x from %d to %d", i, last.X, r.X)
		}
		if d := r.Bottom() - last.Bottom(); d < 0 || float64(d) > 1.5*420/frames+2 {
			t.Fatalf("frame %d: bottom from %d to %d", i, last.Bottom(), r.Bottom())
		}
		last = r
	}
}

func BenchmarkWeighted500(b *testing.B) {
	weights := make([]int, 500)
	for i := range weights {
		weights[i] = 1 + (i%50)/49
	}
	for b.Loop() {
		if _, err := Weighted(weights, Canvas{1920, 1080}, wide); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJustified500(b *testing.B) {
	aspects := make([]float64, 500)
	for i := range aspects {
		aspects[i] = []float64{16. / 9, 9. / 16}[i%5/4]
	}
	for b.Loop() {
		if _, err := Justified(aspects, Canvas{1920, 1080}, wide); err != nil {
			b.Fatal(err)
		}
	}
}
