package assemble

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"ripieno/layout"
)

// transitionManifest has a transition of each kind. Measure 1 begins at guide
// time 4, which is output frame 30; a beat has 15 frames.
const transitionManifest = testManifest + `
shots:
  - {from: start, show: card, text: "before"}
  - {from: m1, show: tutti, transition: {kind: dissolve, beats: 1}}
  - {from: m1.3, show: solo, take: take-2, transition: {kind: move, beats: 1}}
  - {from: m2, show: pair, takes: [take-1, take-2], transition: {kind: move, seconds: 0.5}}
  - {from: m2.3, show: tutti, transition: cut}
`

// TestTransitions measures a dissolve and two moves in a finished film: the
// frame at which each begins and ends, the weight of every frame of the
// dissolve, and where a gliding tile is and what it shows in every frame.
func TestTransitions(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:2]
	takes[0].offset, takes[1].offset, takes[1].drift = -2.517, 0.003, 0
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := fmt.Sprintf(transitionManifest,
		manifestLines(takes)+"  - {name: take-3, player: Player 3, part: Part 3, expected: true}")
	p := openTest(t, dir, text)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Output)
	f := decodeFilm(t, tool, r.Output, 640, 360)
	if len(f.frames) != filmLen {
		t.Fatalf("%d frames, want %d", len(f.frames), filmLen)
	}
	checkDissolve(t, f, grid)
	// The solo at m1.3 is frame 60, the pair at m2 frame 90, tutti at m2.3 frame 120.
	for k := 30; k < 120; k++ {
		want := at(t, grid.Shots, k, "take-2")
		id, counter := readMark(f.frames[k], f.w, want.X, want.Y, want.W, want.H)
		now := filmStart + float64(k)/filmFPS
		if id != 2 || math.Abs(takes[1].guide(float64(counter)/takes[1].fps)-now) > 0.5/25+0.001 {
			t.Errorf("frame %d: read player %d, frame %d at %v", k, id, counter, want)
		}
	}
	// A step of a move is at most 1.5 times the mean step, and two pixels of rounding.
	from, to := at(t, grid.Shots, 44, "take-2"), at(t, grid.Shots, 60, "take-2")
	last := from
	for k := 45; k <= 60; k++ {
		now := at(t, grid.Shots, k, "take-2")
		most := 1.5*math.Abs(float64(to.X-from.X))/13 + 2 // it glides in 12 of 15 frames
		if d := math.Abs(float64(now.X - last.X)); d > most {
			t.Errorf("frame %d: the tile jumps by %.0f, at most %.1f is a step", k, d, most)
		}
		last = now
	}
}

// at returns where a take's tile stands in a frame, from the plan and the rule of
// moves: gentle, and complete on the first frame of the shot.
func at(t *testing.T, shots []GridShot, frame int, take string) layout.Rect {
	t.Helper()
	rect := func(s GridShot) layout.Rect {
		for _, tile := range s.Tiles {
			if tile.Take == take {
				return layout.Rect{X: tile.X, Y: tile.Y, W: tile.W, H: tile.H}
			}
		}
		return layout.Rect{}
	}
	for i, s := range shots {
		from, to := int(math.Round(s.From*filmFPS)), int(math.Round(s.To*filmFPS))
		if frame < from || frame >= to {
			continue
		}
		if i+1 < len(shots) && shots[i+1].Transition == "move" {
			n := int(math.Round(shots[i+1].TransitionSeconds * filmFPS))
			if k := frame - (to - n); k >= 0 {
				leave, arrive := 0, 0 // frames in which others go, and in which others come; there are no names
				if len(s.Tiles) > 1 {
					leave = n / 4
				}
				if len(shots[i+1].Tiles) > 1 {
					arrive = n / 4
				}
				return layout.Between(rect(s), rect(shots[i+1]), float64(k+1-leave)/float64(n+1-leave-arrive))
			}
		}
		return rect(s)
	}
	t.Fatalf("no shot shows frame %d", frame)
	return layout.Rect{}
}

// checkDissolve looks at a place that is background (59.5) in the card and
// white or black in the tile: frame 15+k of 15 holds (k+1)/16 of the tile.
func checkDissolve(t *testing.T, f film, grid GridResult) {
	t.Helper()
	tile := grid.Shots[1].Tiles[0]
	x, y := tile.X+tile.W*31/32, tile.Y+tile.H/4 // the column that is always white above
	mean := func(k int) float64 {
		sum := 0.0
		for d := -1; d <= 1; d++ {
			sum += float64(f.frames[k][(y+d)*f.w+x]) / 3
		}
		return sum
	}
	full := mean(31)
	if full < 200 {
		t.Fatalf("the tile has no white at %d,%d: %.0f", x, y, full)
	}
	for k := 0; k < 45; k++ {
		part := math.Min(1, math.Max(0, float64(k-14)/16))
		if want := 59.5 + part*(full-59.5); math.Abs(mean(k)-want) > 6 {
			t.Errorf("frame %d: %.0f, want %.0f", k, mean(k), want)
		}
	}
}

// TestFadesOfThePicture measures how the film comes out of black and goes
// into it.
func TestFadesOfThePicture(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	text := bytes.ReplaceAll([]byte(fmt.Sprintf(testManifest, "  - {name: a, expected: true}")),
		[]byte("gutter: 6, margin: 12"), []byte("fade_in: 1, fade_out: 2"))
	p := openTest(t, dir, string(text)+"shots: [{from: start, show: card, text: x}]\n")
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Output)
	f := decodeFilm(t, tool, r.Output, 640, 360)
	for k := range filmLen {
		part := math.Min(1, math.Min(float64(k)/30, float64(filmLen-k)/60))
		want := part * 59.5 // the luma of #204060, as the decoder spreads it from 0 to 255
		if got := float64(f.frames[k][20*f.w+20]); math.Abs(got-want) > 3 {
			t.Errorf("frame %d: %.0f, want %.0f", k, got, want)
		}
	}
}
