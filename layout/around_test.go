package layout

import (
	"math"
	"math/rand/v2"
	"testing"
)

// aroundCanvases are the usual shapes of films.
var aroundCanvases = []Canvas{{1920, 1080}, {1080, 1920}, {1080, 1080}, {1440, 1080}, {960, 540}, {3840, 2160}}

// checkAround holds what must be true of every arrangement.
func checkAround(t *testing.T, p Plan, n int, c Canvas, o Options) {
	t.Helper()
	if len(p.Tiles) != n {
		t.Fatalf("%d tiles for %d", len(p.Tiles), n)
	}
	checkTiles(t, p.Tiles, c, o)
	if n == 1 {
		return
	}
	big, small := p.Tiles[0], p.Tiles[1]
	for i, r := range p.Tiles[1:] {
		if r.W != small.W || r.H != small.H {
			t.Errorf("small tile %d is %dx%d, the first %dx%d", i+1, r.W, r.H, small.W, small.H)
		}
		if i > 0 && (r.Y < p.Tiles[i].Y || r.Y == p.Tiles[i].Y && r.X < p.Tiles[i].X) {
			t.Errorf("tile %d at %v stands before tile %d at %v", i+1, r, i, p.Tiles[i])
		}
	}
	if 2*big.W < 3*small.W || 2*big.H < 3*small.H {
		t.Errorf("the large tile is %dx%d, a small one %dx%d", big.W, big.H, small.W, small.H)
	}
}

// TestAroundEveryCount tries 1 to 100 players on every shape of film: inside,
// apart, even, the large tile the largest, and neither it nor the others tiny.
func TestAroundEveryCount(t *testing.T) {
	lowest := 1.0
	for _, c := range aroundCanvases {
		o := Options{AspectW: 16, AspectH: 9, Gutter: c.EvenScale(6), Margin: c.EvenScale(24)}
		alone, err := Grid(1, c, o)
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 100; n++ {
			p, err := Around(n, c, o, 0)
			if err != nil {
				t.Fatalf("%d on %v: %v", n, c, err)
			}
			checkAround(t, p, n, c, o)
			if n == 1 {
				continue
			}
			big, small := p.Tiles[0], p.Tiles[1]
			// Measured on these canvases: never under 0.60 of its width alone.
			if float64(big.W) < 0.6*float64(alone.Tiles[0].W) {
				t.Errorf("%d on %v: the large tile is %d wide, alone it would be %d", n, c, big.W, alone.Tiles[0].W)
			}
			grid, err := Grid(n, c, o)
			if err != nil {
				t.Fatal(err)
			}
			lowest = min(lowest, float64(small.H)/float64(grid.Tiles[0].H))
			if off := math.Abs(float64(big.W)/float64(big.H)*9/16 - 1); off > 0.01 {
				t.Errorf("%d on %v: the large tile is %dx%d, %.1f %% from its shape", n, c, big.W, big.H, off*100)
			}
			// What is covered is in the middle.
			box := big
			for _, r := range p.Tiles {
				right, bottom := max(box.Right(), r.Right()), max(box.Bottom(), r.Bottom())
				box.X, box.Y = min(box.X, r.X), min(box.Y, r.Y)
				box.W, box.H = right-box.X, bottom-box.Y
			}
			if dx, dy := box.X+box.Right()-c.W, box.Y+box.Bottom()-c.H; max(dx, -dx) > 8 || max(dy, -dy) > 8 {
				t.Errorf("%d on %v: the block %v is not in the middle", n, c, box)
			}
		}
	}
	t.Logf("small tiles are %.2f of the height they would have in a grid, or more", lowest)
	if lowest < 0.4 {
		t.Errorf("a small tile is %.2f of the height it would have in a grid", lowest)
	}
}

// TestAroundProperties draws counts, canvases, gutters and shapes of tiles.
func TestAroundProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	for range 400 {
		c, o := draw(r)
		n := 1 + r.IntN(100)
		p, err := Around(n, c, o, 0)
		if _, small := err.(*TooSmallError); small {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		checkAround(t, p, n, c, o)
		again, _ := Around(n, c, o, 0)
		for i := range p.Tiles {
			if p.Tiles[i] != again.Tiles[i] {
				t.Fatal("two results for the same arguments")
			}
		}
	}
}

// TestAroundShapes holds a few arrangements that can be seen in the mind.
func TestAroundShapes(t *testing.T) {
	for _, tt := range []struct {
		n     int
		c     Canvas
		large Rect
		small Rect // the first of them
	}{
		{2, Canvas{1920, 1080}, Rect{0, 180, 1280, 720}, Rect{1280, 360, 640, 360}},
		{4, Canvas{1920, 1080}, Rect{0, 180, 1280, 720}, Rect{1280, 0, 640, 360}}, // a column beside
		{6, Canvas{1920, 1080}, Rect{0, 0, 1280, 720}, Rect{1280, 0, 640, 360}},   // at the right and below
		{13, Canvas{1920, 1080}, Rect{0, 0, 1644, 924}, Rect{1644, 0, 274, 154}},  // one place free
		{25, Canvas{1920, 1080}, Rect{274, 154, 1370, 770}, Rect{0, 0, 274, 154}}, // all round
		{9, Canvas{1080, 1920}, Rect{0, 48, 1080, 608}, Rect{0, 656, 540, 304}},   // two and two below
		{21, Canvas{1080, 1080}, Rect{12, 0, 1054, 592}, Rect{0, 592, 216, 122}},  // five and five below
	} {
		p, err := Around(tt.n, tt.c, Options{AspectW: 16, AspectH: 9}, 0)
		if err != nil {
			t.Fatal(err)
		}
		if p.Tiles[0] != tt.large || p.Tiles[1] != tt.small {
			t.Errorf("%d on %v: %v and %v, want %v and %v", tt.n, tt.c, p.Tiles[0], p.Tiles[1], tt.large, tt.small)
		}
	}
}

// TestAroundLeast: small tiles are never lower than asked, and the pages of
// those that would be keep the large tile where it is.
func TestAroundLeast(t *testing.T) {
	for _, c := range aroundCanvases {
		o := Options{AspectW: 16, AspectH: 9, Gutter: 6}
		for n := 2; n <= 100; n += 7 {
			least := c.EvenScale(150)
			pages, err := AroundPages(n, c, o, least)
			if err != nil {
				t.Fatal(err)
			}
			shown := 0
			for _, p := range pages {
				checkAround(t, p, len(p.Tiles), c, o)
				if p.Tiles[0] != pages[0].Tiles[0] || p.Tiles[1].H < least || len(p.Tiles) < 2 {
					t.Errorf("%d on %v: large %v and %v, small %d", n, c, p.Tiles[0], pages[0].Tiles[0], p.Tiles[1].H)
				}
				shown += len(p.Tiles) - 1
			}
			if shown != n-1 {
				t.Errorf("%d on %v: the pages show %d", n, c, shown)
			}
			if len(pages) > 1 {
				if _, err := Around((n-2)/(len(pages)-1)+2, c, o, least); err == nil {
					t.Errorf("%d on %v: %d pages where fewer would do", n, c, len(pages))
				}
			}
		}
	}
}

func TestAroundRefuses(t *testing.T) {
	o := Options{AspectW: 16, AspectH: 9}
	c := Canvas{1920, 1080}
	if _, err := Around(0, c, o, 0); err == nil {
		t.Error("no tile at all")
	}
	if _, err := Around(MaxTiles+1, c, o, 0); err == nil {
		t.Error("too many tiles")
	}
	if _, err := Around(5, Canvas{1921, 1080}, o, 0); err == nil {
		t.Error("an odd canvas")
	}
	for _, n := range []int{2, 500} {
		if _, err := Around(n, c, o, 900); err == nil {
			t.Errorf("%d tiles of 900 lines beside a larger one", n)
		}
	}
	if _, err := Around(3, c, Options{AspectW: 16, AspectH: 9, Margin: 538}, 0); err == nil {
		t.Error("nothing left inside the margin")
	}
	if pages, err := AroundPages(3, c, o, 900); err == nil {
		t.Errorf("%d pages", len(pages))
	}
}

func BenchmarkAround500(b *testing.B) {
	for b.Loop() {
		if _, err := Around(MaxTiles, Canvas{1920, 1080}, Options{AspectW: 16, AspectH: 9, Gutter: 6}, 0); err != nil {
			b.Fatal(err)
		}
	}
}
