package layout_test

import (
	"fmt"

	"ripieno/layout"
)

// Twelve players on a full-HD canvas: the plan that shows them largest.
func ExampleGrid() {
	p, err := layout.Grid(12, layout.Canvas{W: 1920, H: 1080}, layout.Options{AspectW: 16, AspectH: 9, Gutter: 6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(p.Rows, "rows of", p.Cols)
	fmt.Println(p.Tiles[0])
	// Output:
	// 3 rows of 4
	// {2 134 474 266}
}

// A portrait phone video in a landscape tile, the face kept in view.
func ExamplePlace() {
	tile := layout.Rect{X: 0, Y: 0, W: 640, H: 360}
	p, err := layout.Place(1080, 1920, tile, layout.Crop, layout.Focus{X: 0.5, Y: 0.3, Zoom: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("show", p.Source, "at", p.Target)
	// Output:
	// show {0 272 1080 608} at {0 0 640 360}
}

// A player nobody expected: the others keep their cells.
func ExampleReseat() {
	canvas, o := layout.Canvas{W: 1920, H: 1080}, layout.Options{AspectW: 16, AspectH: 9}
	four, _ := layout.Grid(4, canvas, o)
	five, _ := layout.Grid(5, canvas, o)
	cells, err := layout.Reseat(four.Cells(), five)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, name := range []string{"flute", "oboe", "violin", "cello", "tuba"} {
		fmt.Println(name, "at", cells[i])
	}
	// Output:
	// flute at row 1, column 1
	// oboe at row 1, column 2
	// violin at row 2, column 1
	// cello at row 2, column 2
	// tuba at row 1, column 3
}

// A soloist with six others in view: tile 0 is the soloist.
func ExampleAround() {
	p, err := layout.Around(7, layout.Canvas{W: 1920, H: 1080}, layout.Options{AspectW: 16, AspectH: 9, Gutter: 6}, 90)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("soloist", p.Tiles[0])
	fmt.Println("first of the others", p.Tiles[1])
	// Output:
	// soloist {10 4 1422 800}
	// first of the others {1438 2 470 264}
}

// As an ensemble sits: every section begins a row.
func ExampleSections() {
	p, err := layout.Sections([]int{3, 4, 2}, layout.Canvas{W: 1280, H: 720}, layout.Options{AspectW: 16, AspectH: 9})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("first row ends with", p.Tiles[2])
	fmt.Println("second row begins with", p.Tiles[3])
	// Output:
	// first row ends with {800 90 320 180}
	// second row begins with {0 270 320 180}
}

// A conductor with four times the area of each of nine players.
func ExampleWeighted() {
	weights := []int{2, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	p, err := layout.Weighted(weights, layout.Canvas{W: 1280, H: 720}, layout.Options{AspectW: 16, AspectH: 9})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("conductor", p.Tiles[0])
	fmt.Println("first player", p.Tiles[1])
	// Output:
	// conductor {320 0 640 360}
	// first player {0 0 320 180}
}

// Fifty players are too many for one grid whose tiles can be seen: each page
// has as many as any other, or one fewer.
func ExamplePages() {
	pages, err := layout.Pages(50, layout.Canvas{W: 1280, H: 720}, layout.Options{AspectW: 16, AspectH: 9}, 240, 136)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range pages {
		fmt.Println(len(p.Tiles), "tiles of", p.Tiles[0].W, "x", p.Tiles[0].H)
	}
	// Output:
	// 25 tiles of 256 x 144
	// 25 tiles of 256 x 144
}

// A tile that glides starts and stops gently.
func ExampleBetween() {
	small, large := layout.Rect{X: 0, Y: 0, W: 320, H: 180}, layout.Rect{X: 0, Y: 0, W: 1280, H: 720}
	for _, t := range []float64{0, 0.25, 0.5, 0.75, 1} {
		fmt.Println(t, layout.Between(small, large, t).W)
	}
	// Output:
	// 0 320
	// 0.25 470
	// 0.5 800
	// 0.75 1130
	// 1 1280
}
