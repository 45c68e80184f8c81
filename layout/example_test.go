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
