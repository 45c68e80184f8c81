package assemble

import (
	"fmt"
	"strings"
	"testing"
)

// TestCreditsRollSteadily decodes a roll: from every frame to the next the
// picture moves up by the same whole number of rows, over the borders of
// segments and into the dissolve that ends it; it begins and ends empty.
func TestCreditsRollSteadily(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	var takes strings.Builder
	for i := range 7 {
		fmt.Fprintf(&takes, "  - {name: t%d, player: \"Player %s\", part: Part %d, section: s%d, expected: true}\n", i,
			strings.Repeat("x", i), i, i/3)
	}
	text := strings.Replace(fmt.Sprintf(testManifest, takes.String()), "measures: 2\n", "measures: 10\n", 1)
	p := openTest(t, dir, text+"shots: [{from: start, show: card, text: credits, roll: true}, {from: m10, show: "+
		"card, text: x, transition: {kind: dissolve, seconds: 0.5}}]\n")
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Output)
	f := decodeFilm(t, tool, r.Output, 640, 360)
	const rolls = 570 // measure 10 begins at guide time 22
	if a, b := f.lit(0), f.lit(rolls-20); len(a) > 2 {
		t.Errorf("rows %v of the first frame have letters (%v near the end)", a, b)
	}
	steps := map[int]int{}
	for k := 20; k+1 < rolls-16; k++ {
		if len(f.lit(k)) < 20 {
			continue
		}
		best := 0
		for step := -2; step <= 6; step++ {
			if f.unlike(k, step) < f.unlike(k, best) {
				best = step
			}
		}
		steps[best]++
		if best != 2 {
			t.Errorf("from frame %d to the next the picture moves %d rows", k, best)
		}
	}
	if len(steps) != 1 || steps[2] < 300 {
		t.Errorf("steps %v", steps)
	}
}

// lit returns the rows of frame k that have letters; #204060 is 60 when the decoder
// spreads it from 0 to 255.
func (f film) lit(k int) (rows []int) {
	for y := range f.h {
		for x := range f.w {
			if f.frames[k][y*f.w+x] > 140 {
				rows = append(rows, y)
				break
			}
		}
	}
	return rows
}

// unlike returns how far frame k+1 is from frame k moved up by so many rows, in the
// middle of the picture.
func (f film) unlike(k, step int) (sum int) {
	a, b := f.frames[k], f.frames[k+1]
	for y := 10; y < f.h-10; y++ {
		for x := 120; x < 520; x += 2 {
			d := int(b[y*f.w+x]) - int(a[(y+step)*f.w+x])
			sum += max(d, -d)
		}
	}
	return sum
}
