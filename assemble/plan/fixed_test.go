package plan

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// TestAFixedShapeKeepsItsFilms compares the tiles of productions with a fixed
// shape of tiles with those of the day before shapes were searched for, which
// testdata/fixed.txt holds: every number that enters the arguments of ffmpeg.
func TestAFixedShapeKeepsItsFilms(t *testing.T) {
	var out bytes.Buffer
	canvases := []layout.Canvas{{W: 1920, H: 1080}, {W: 1080, H: 1920}, {W: 1080, H: 1080}, {W: 640, H: 360}}
	for _, rows := range []string{"grid", "sections", "justified"} {
		for _, short := range []string{"centred", "spread", "left"} {
			for _, n := range []int{1, 2, 3, 5, 7, 10, 25, 60} {
				p := lamplighter(t, n)
				p.Picture.Rows, p.Picture.ShortRows = production.Rows(rows), production.Alignment(short)
				p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(3), Show: "soli", Section: "high"},
					{From: at(4), Show: "solo", Take: "take-1", Others: "around"},
					{From: at(5), Show: "solo", Take: "take-1"}}
				if n > 1 {
					p.Shots = append(p.Shots, production.Shot{From: at(6), Show: "pair", Take: "take-1",
						Other: "take-2"})
				}
				for _, c := range canvases {
					pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: c}}, Look{})
					if err != nil {
						t.Fatal(err)
					}
					h := sha256.New()
					for _, s := range pl.Films[0].Shots {
						for _, tile := range s.Tiles {
							fmt.Fprintln(h, s.From, s.To, tile.Take, tile.Rect, tile.Hole, tile.Source, tile.Fit,
								tile.Behind)
						}
					}
					for _, k := range pl.Films[0].Conforms {
						fmt.Fprintln(h, k.Take, k.W, k.H, k.Frames, k.Draft)
					}
					fmt.Fprintf(&out, "%s %s %d %v %x\n", rows, short, n, c, h.Sum(nil)[:6])
				}
			}
		}
	}
	const path = "testdata/fixed.txt"
	if os.Getenv("UPDATE_FIXED") != "" {
		if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(out.Bytes(), want) {
		got, old := bytes.Split(out.Bytes(), []byte("\n")), bytes.Split(want, []byte("\n"))
		for i := range got {
			if i >= len(old) || !bytes.Equal(got[i], old[i]) {
				t.Fatalf("films of a fixed shape changed, first: %s", got[i])
			}
		}
	}
}
