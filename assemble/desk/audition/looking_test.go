package audition

import (
	"slices"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// The picture as it is planned: spans of guide time, holes where pictures are, no source
// of a card. Entries of the manifest's list have their words and their seconds.
func TestThePictureAsPlanned(t *testing.T) {
	pl := plantest.Plan(t, round, true)
	f := filmOf(pl.Films[0], pl.Timeline)
	if len(f.Shots) != 2 || f.Shots[0].From != 3 || f.Shots[0].To != 8 || f.Shots[1].To != 13 ||
		f.Shots[1].Show != "solo" || len(f.Shots[1].Tiles) != 1 {
		t.Fatalf("%+v", f)
	}
	cards, pictures := 0, 0
	for _, tile := range f.Shots[0].Tiles {
		if tile.Source == nil {
			cards++
			if tile.Hole != tile.Rect {
				t.Errorf("a card has a hole: %+v", tile)
			}
		} else if pictures++; tile.Source.W <= 0 || tile.Hole.W <= 0 || tile.Head != nil {
			t.Errorf("%+v", tile)
		}
	}
	if cards != 1 || pictures != 2 {
		t.Errorf("%d cards and %d pictures", cards, pictures)
	}
	head := filmOf(plan.Film{Shots: []plan.Shot{{Tiles: []plan.Tile{{Head: layout.Rect{X: 1, Y: 2, W: 3, H: 4}}}}}},
		plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}})
	if h := head.Shots[0].Tiles[0].Head; h == nil || h.X != 1 || h.H != 4 {
		t.Errorf("%+v", h)
	}
	l := &Looking{Start: 3, End: 13}
	man := parsed(t)
	first, second := listedShot(man.Shots[0], l), listedShot(man.Shots[1], l)
	if first.From != 3 || first.FromText != "start" || first.To != nil || first.ToText != "" || first.Show != "tutti" ||
		first.Transition != "cut" {
		t.Errorf("%+v", first)
	}
	if second.From != 8 || second.FromText != "m3" || *second.To != 13 || second.ToText != "end" ||
		second.Take != "horn" {
		t.Errorf("%+v", second)
	}
	pair := listedShot(production.Shot{Show: shot.Pair, Take: "oboe", Other: "horn"}, l)
	if pair.Take != "oboe" || pair.Other != "horn" || pair.Show != "pair" {
		t.Errorf("%+v", pair)
	}
	var nobody *Looking
	if _, ok := nobody.Still("oboe"); ok {
		t.Error("a picture of nothing")
	}
}

// Canvases are the three usual shapes, and each other one that is delivered, once.
func TestShapesThatAreLookedAt(t *testing.T) {
	wide := production.Aspect{AspectW: 2, AspectH: 1}
	list := Canvases(&production.Production{Deliver: []production.Deliverable{{Name: "final", W: 1280, H: 720},
		{Name: "old", W: 1440, H: 1080}, {Name: "older", W: 640, H: 480}, {Name: "wide", W: 1920, H: 1080, Aspect: wide}}})
	var got []string
	for _, w := range list {
		got = append(got, w.Name)
		if !w.KeepSeats || w.Canvas.W < 2 {
			t.Errorf("%+v", w)
		}
	}
	if want := []string{"16:9", "9:16", "1:1", "old, 1440 x 1080", "wide, 1920 x 1080"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if list[3].Canvas != (layout.Canvas{W: 1440, H: 1080}) || list[4].Aspect != wide {
		t.Errorf("%+v", list[3:])
	}
}
