package plan

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// planned returns the first film of a production of so many takes of 1920x1080.
func planned(t *testing.T, p *production.Production, wants []Want) (Film, Timeline) {
	t.Helper()
	facts := filmed(p)
	for name, f := range facts {
		pic := *f.Picture
		pic.W, pic.H = 1920, 1080
		f.Picture = &pic
		facts[name] = f
	}
	pl, err := New(p, facts, wants, Look{})
	if err != nil {
		t.Fatal(err)
	}
	return pl.Films[0], pl.Timeline
}

// sizes returns the heights in which a take is conformed, with the frames.
func sizes(f Film, take string) map[int][]Span {
	out := map[int][]Span{}
	for _, c := range f.Conforms {
		if c.Take == take {
			out[c.H] = append(out[c.H], c.Frames)
		}
	}
	return out
}

func TestWhatShotsShowDecodesNothingAgain(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	kinds := []production.Shot{
		{Show: "tutti"}, {Show: "card", Text: "interlude"}, {Show: "soli", Section: "high"},
		{Show: "pair", Take: "take-1", Other: "take-4"},
		{Show: "solo", Take: "take-2"}, {Show: "solo", Take: "take-3", Others: "around"},
	}
	for round := range 60 {
		p := lamplighter(t, 9)
		for m := 1; m <= 8; m += 1 + rng.IntN(3) {
			s := kinds[rng.IntN(len(kinds))]
			s.From = at(m)
			p.Shots = append(p.Shots, s)
		}
		p.Shots[0].From = production.Time{Edge: production.FilmStart}
		f, line := planned(t, p, fullHD)
		// A grid of nine stands in tiles of 352 lines on 1080.
		whole := exists(*filmed(p)["take-1"].Picture, line)
		for _, c := range f.Conforms {
			if c.H == 360 && c.Frames != whole {
				t.Fatalf("round %d: %s is kept on frames %v of %v", round, c.Take, c.Frames, whole)
			}
			if c.H < 360 || c.H > 360 && c.Frames == whole && len(p.Shots) > 4 {
				t.Fatalf("round %d: %s is kept with %d lines on frames %v", round, c.Take, c.H, c.Frames)
			}
		}
		for _, s := range f.Shots {
			for _, tile := range s.Tiles {
				c := f.Conforms[tile.Conform]
				if c.Take != tile.Take || tile.Shown.From+line.First < c.Frames.From ||
					tile.Shown.To+line.First > c.Frames.To {
					t.Fatalf("round %d: %s is shown on %v of a film from %d, and was kept as %+v", round, tile.Take,
						tile.Shown, line.First, c.Frames)
				}
				if float64(c.H) < min(1, tile.scale())*float64(c.Picture.H)-1 {
					t.Fatalf("round %d: %s is shown with %d lines of %d", round, tile.Take, tile.Hole.H, c.H)
				}
			}
		}
	}
}

// A close-up lies on guide time's own raster, so its edge may move inside of
// it, and what other shots show of the take is nothing to it.
func TestACloseUpStandsByItself(t *testing.T) {
	solos := func(from ...int) map[int][]Span {
		p := lamplighter(t, 9)
		p.Shots = []production.Shot{{From: production.Time{Edge: production.FilmStart}, Show: "tutti"}}
		for _, m := range from {
			p.Shots = append(p.Shots, production.Shot{From: at(m), Show: "solo", Take: "take-2"},
				production.Shot{From: at(m + 1), Show: "tutti"})
		}
		f, _ := planned(t, p, fullHD)
		return sizes(f, "take-2")
	}
	// Measures last 2 s from 8 s of guide time on, the raster 4 s of 30 frames.
	if got := solos(3)[1080]; !slices.Equal(got, []Span{{360, 480}}) {
		t.Errorf("measure 3 is conformed on %v", got)
	}
	if got := solos(4)[1080]; !slices.Equal(got, []Span{{360, 480}}) {
		t.Errorf("measure 4 is conformed on %v", got)
	}
	if got := solos(1, 7)[1080]; !slices.Equal(got, []Span{{240, 360}, {600, 720}}) {
		t.Errorf("measures 1 and 7 are conformed on %v", got)
	}
	if got := solos(1, 3)[1080]; !slices.Equal(got, []Span{{240, 480}}) {
		t.Errorf("measures 1 and 3 are conformed on %v", got)
	}
}

func TestATrimDecodesNothingAgain(t *testing.T) {
	p := lamplighter(t, 9)
	f, _ := planned(t, p, fullHD)
	from, to := at(2), at(4)
	p.Takes[1].TrimFrom, p.Takes[1].TrimTo = &from, &to
	g, _ := planned(t, p, fullHD)
	if !reflect.DeepEqual(f.Conforms, g.Conforms) {
		t.Errorf("with a trim %+v is conformed instead of %+v", g.Conforms, f.Conforms)
	}
	if shown := g.Shots[0].Tiles[1].Shown; shown != (Span{120, 240}) {
		t.Errorf("shown on %v", shown)
	}
}

// Pinned seats keep the size of the grid they were given in: somebody whom
// nobody expected makes every tile smaller and decodes nobody else again.
func TestAnUnexpectedPlayerDecodesNobodyElse(t *testing.T) {
	keptAs := func(takes, seats int) map[int][]Span {
		p := lamplighter(t, takes)
		p.Seats = seats
		for i := range seats {
			p.Takes[i].Seat = i + 1
		}
		f, _ := planned(t, p, fullHD)
		if tile := f.Shots[0].Tiles[0]; takes == 10 && tile.Hole.H > 270 {
			t.Fatalf("a tile of ten has %d lines", tile.Hole.H)
		}
		return sizes(f, "take-1")
	}
	nine, line := keptAs(9, 0), Span{180, 780}
	if !slices.Equal(nine[360], []Span{line}) {
		t.Fatalf("nine takes are kept as %v", nine)
	}
	if got := keptAs(9, 9); !slices.Equal(got[360], nine[360]) || len(got) != 1 {
		t.Errorf("nine pinned takes are kept as %v", got)
	}
	if got := keptAs(10, 9); !slices.Equal(got[360], nine[360]) || len(got) != 1 {
		t.Errorf("with a tenth, nine pinned takes are kept as %v", got)
	}
	if got := keptAs(10, 0); len(got[360]) > 0 {
		t.Errorf("ten takes that were never pinned are kept as %v", got)
	}
}

// Whatever cannot be laid out as a grid of all may still be shown in parts.
func TestMoreTakesThanTheCanvasHoldsAreShownInParts(t *testing.T) {
	p := lamplighter(t, 60)
	p.Picture.Gutter = 100
	for i := range p.Takes {
		p.Takes[i].Section = []string{"high", "middle", "low"}[i%3]
	}
	small := []Want{{Name: "small", Canvas: layout.Canvas{W: 160, H: 90}}}
	if _, err := New(p, filmed(p), small, Look{}); err == nil {
		t.Fatal("sixty takes fit on that canvas")
	}
	p.Shots = []production.Shot{{From: production.Time{Edge: production.FilmStart}, Show: "solo", Take: "take-2"}}
	f, _ := planned(t, p, small)
	if len(f.Conforms) != 1 || f.Shots[0].Tiles[0].Conform != 0 {
		t.Errorf("conformed are %+v", f.Conforms)
	}
}
