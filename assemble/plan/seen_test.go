package plan

import (
	"fmt"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// seenIn lists who is seen in each shot of a film.
func seenIn(f Film) (list []string) {
	for _, s := range f.Shots {
		line := string(s.Show)
		for _, t := range s.Tiles {
			line += " " + t.Take[len("take-"):]
		}
		list = append(list, line)
	}
	return list
}

// TestAFinishedFilmIsFinished plans a production in which takes are awaited, not
// placed, broken and withheld: the film has neither tiles nor credits for them,
// and the rough cut has all.
func TestAFinishedFilmIsFinished(t *testing.T) {
	p := lamplighter(t, 8)
	searched(p)
	for i := range p.Takes {
		p.Takes[i].Player = fmt.Sprint("Player ", i+1)
	}
	p.Takes[5].Release = production.ReleaseNo
	p.Shots = []production.Shot{
		{From: at(1), Show: "tutti"}, {From: at(2), Show: "soli", Section: "high"}, {From: at(3), Show: "solo",
			Take: "take-3"},
		{From: at(4), Show: "solo", Take: "take-1", Others: production.OthersAround}, {From: at(5), Show: "pair",
			Take: "take-1", Other: "take-3"},
		{From: at(6), Show: "solo", Take: "take-7"}, {From: at(7), Show: "card", Text: "credits"},
	}
	facts := filmed(p)
	facts["take-3"], facts["take-4"], facts["take-5"] = Facts{Absent: Awaited}, Facts{Absent: Unplaced},
		Facts{Absent: Unreadable}
	heard := facts["take-7"]
	heard.Picture = nil
	facts["take-7"] = heard
	want := []Want{{Name: "x", Canvas: layout.Canvas{W: 1920, H: 1080}}}
	check := func(what string, seen []string, credits int) {
		t.Helper()
		pl, err := New(p, facts, want, Look{})
		if err != nil {
			t.Fatal(err)
		}
		f := pl.Films[0]
		checkTiles(t, f)
		if got := seenIn(f); fmt.Sprint(got) != fmt.Sprint(seen) {
			t.Errorf("%s shows\n%q\nwant\n%q", what, got, seen)
		}
		if n := len(f.Cards.Roster); n != credits {
			t.Errorf("%s credits %d players, want %d", what, n, credits)
		}
	}
	check("the film", []string{"tutti 1 2 7 8", "tutti 1 2 7 8", "soli 1 7", "tutti 1 2 7 8", "solo 1 2 7 8", "solo 1",
		"solo 7", "card"}, 4)
	p.Picture.AudioOnly = production.AudioOnlyCredit
	check("with audio_only: credit, the film", []string{"tutti 1 2 8", "tutti 1 2 8", "soli 1", "tutti 1 2 8",
		"solo 1 2 8", "solo 1",
		"tutti 1 2 8", "card"}, 4)
	p.Picture.AudioOnly = production.AudioOnlyCard
	want[0].Rough = true
	check("the rough cut", []string{"tutti 1 2 3 4 5 6 7 8", "tutti 1 2 3 4 5 6 7 8", "soli 1 3 5 7", "solo 3",
		"solo 1 2 3 4 5 6 7 8",
		"pair 1 3", "solo 7", "card"}, 7)
	want[0].Rough = false
	for _, take := range p.Takes {
		facts[take.Name] = Facts{Absent: Awaited}
	}
	check("the film of which nothing is there", []string{"tutti 1 2 3 4 5 6 7 8", "tutti 1 2 3 4 5 6 7 8",
		"soli 1 3 5 7", "solo 3",
		"solo 1 2 3 4 5 6 7 8", "pair 1 3", "solo 7", "card"}, 7)
}

// TestPinnedSeatsStayInAFinishedFilm keeps everybody where grid --pin put them,
// although one of them is not there.
func TestPinnedSeatsStayInAFinishedFilm(t *testing.T) {
	for n := 5; n < 30; n++ {
		pinnedFilm(t, n)
	}
}

func pinnedFilm(t *testing.T, n int) {
	t.Helper()
	p := lamplighter(t, n)
	searched(p)
	pin(p)
	facts := filmed(p)
	whole := one1080(t, p, facts)
	facts["take-4"] = Facts{Absent: Awaited}
	f := one1080(t, p, facts)
	checkTiles(t, f)
	if len(f.Shots[0].Tiles) != n-1 || f.Shots[0].Show != shot.Tutti {
		t.Fatalf("%d tiles", len(f.Shots[0].Tiles))
	}
	at := map[string]layout.Rect{}
	for _, tile := range whole.Shots[0].Tiles {
		at[tile.Take] = tile.Rect
	}
	for _, tile := range f.Shots[0].Tiles {
		if tile.Rect != at[tile.Take] {
			t.Fatalf("of %d, %s moves from %v to %v", n, tile.Take, at[tile.Take], tile.Rect)
		}
	}
}
