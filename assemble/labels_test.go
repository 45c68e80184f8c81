package assemble

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// composed lists the segments that a run would encode, in order.
func composed(t *testing.T, p *Production) (list []string) {
	t.Helper()
	r, err := p.Plan(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, task := range r.Tasks {
		if task.Stage == "compose" && task.Runs {
			list = append(list, task.Name)
		}
	}
	return list
}

// TestNamesComeAndGoSoftly measures the plate of a name in every frame of a
// film: it comes in 12 frames, stays, goes in 12 frames, and nothing that lies
// outside of those is encoded again because of it.
func TestNamesComeAndGoSoftly(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	take := cast()[0]
	take.id = 2 // the first column of its mark is white at the bottom
	take.write(t, tool, dir)
	text := strings.Replace(manifestOf([]placedTake{take}, ""), "labels: false", "labels: true, labels_for: 1.5", 1)
	p := openTest(t, dir, text+"shots: [{from: start, show: tutti}, {from: m2, show: solo, take: take-2, "+
		"transition: {kind: dissolve, beats: 1}}]\n")
	if _, err := p.Render(t.Context(), RenderOptions{}); err != nil {
		t.Fatal(err)
	}
	p.Manifest().Picture.LabelsFade = 0.4
	// The first shot's names are there to frame 45; those of the second come with
	// the transition at frame 75 and go before frame 135.
	want := []string{"final from 0.0 s", "final from 0.4 s", "final from 1.1 s", "final from 3.0 s", "final from 4.1 s"}
	if got := composed(t, p); !slices.Equal(got, want) {
		t.Errorf("softly, these are encoded again: %q, want %q", got, want)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Output)
	f := decodeFilm(t, tool, r.Output, 640, 360)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	tile := grid.Shots[0].Tiles[0]
	// Inside the plate, left of its first letter.
	plate := func(k int) float64 {
		sum := 0.0
		for y := tile.Y + tile.H - 16; y < tile.Y+tile.H-10; y++ {
			for x := tile.X + 8; x < tile.X+11; x++ {
				sum += float64(f.frames[k][y*f.w+x]) / 18
			}
		}
		return sum
	}
	bare, full := plate(60), plate(20)
	if bare < 220 || math.Abs(full-(0.28*bare+0.72*18)) > 6 { // #101215, see card's plate
		t.Fatalf("the picture is %.0f without a plate and %.0f with one", bare, full)
	}
	for k := range 180 {
		part, most := named(k), 6.0
		if k >= 75 && k < 90 {
			most = 10 // all of the picture changes, and the encoder saves
		}
		if k == 89 {
			most = 12 // no frame refers to the last of a segment, which gets the fewest bits
		}
		if want := bare + part*(full-bare); math.Abs(plate(k)-want) > most {
			t.Errorf("frame %d: the plate is %.0f, want %.0f", k, plate(k), want)
		}
		id, counter := readMark(f.frames[k], f.w, tile.X, tile.Y, tile.W, tile.H)
		if off := take.guide(float64(counter)/take.fps) - filmStart - float64(k)/filmFPS; id != 2 ||
			math.Abs(off) > 0.5/filmFPS+0.0005 {
			t.Errorf("frame %d shows player %d, %.3f s off", k, id, off)
		}
	}
}

// named returns how much of a name is there in frame k of that film.
func named(k int) float64 {
	switch {
	case k < 12:
		return float64(k+1) / 13
	case k < 33:
		return 1
	case k < 45:
		return 1 - float64(k-32)/13
	case k < 75:
		return 0
	case k < 90: // the dissolve
		return float64(k-74) / 16
	case k < 123:
		return 1
	case k < 135:
		return 1 - float64(k-122)/13
	}
	return 0
}

// TestASoloistAmongTheOthers looks at everybody in a shot of one large picture
// with the others round it, while they glide there and when they stand.
func TestASoloistAmongTheOthers(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:3]
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := manifestOf(takes, "  - {name: take-5, player: Player 5, part: Part 5, expected: true}\n")
	p := openTest(t, dir, text+"shots: [{from: start, show: tutti}, {from: m1, show: solo, take: take-2, others: "+
		"around, transition: {kind: move, seconds: 0.5}}]\n")
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Output)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	solo := grid.Shots[1].Tiles
	if len(solo) != 3 || solo[0].Take != "take-2" || solo[0].W < 2*solo[1].W || solo[2].Card != "" {
		t.Fatalf("the shot shows %+v", solo)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	for k := 10; k < 150; k++ {
		for _, take := range takes {
			tile := at(t, grid.Shots, k, fmt.Sprintf("take-%d", take.id))
			if take.id != 2 && k >= 15 && k < 30 {
				continue // on their way, the soloist passes in front of the others
			}
			id, counter := readMark(f.frames[k], f.w, tile.X, tile.Y, tile.W, tile.H)
			half := 0.5 / math.Min(take.fps, filmFPS)
			if off := take.guide(float64(counter)/take.fps) - filmStart - float64(k)/filmFPS; id != take.id ||
				math.Abs(off) > half+0.001 {
				t.Errorf("frame %d: player %d is read as %d, %.3f s off, in %v", k, take.id, id, off, tile)
			}
		}
	}
}
