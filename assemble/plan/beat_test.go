package plan

import (
	"strings"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// Tiles of everybody come one section after another, each complete on its beat and
// nobody in another place than before.
func TestEntrancesBySectionOnTheBeat(t *testing.T) {
	p := lamplighter(t, 6)
	p.Picture.LabelsFor = 1
	p.Sections = []production.Section{{Name: "low"}, {Name: "high"}}
	enter := production.Entrances{By: production.BySection, Beats: 2}
	p.Shots = []production.Shot{{From: at(1), Show: "tutti", Entrances: enter}, {From: at(3), Show: "tutti"}}
	pl, err := New(p, filmed(p), fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	f := pl.Films[0]
	checkTiles(t, f)
	line, beat := pl.Timeline, p.Tempo.Shift(at(1).Seconds, 1)-at(1).Seconds
	all := f.Shots[len(f.Shots)-1]
	places := map[string]layout.Rect{}
	for _, tile := range all.Tiles {
		places[tile.Take] = tile.Rect
	}
	sections := len(p.Sections)
	entering := f.Shots[len(f.Shots)-1-sections : len(f.Shots)-1]
	seen := 0
	for i, s := range entering {
		if want := line.Output(at(1).Seconds + float64(2*i)*beat); s.From != want {
			t.Errorf("section %d comes at frame %d, want %d", i+1, s.From, want)
		}
		if want := line.Rate.Frame(beat); i > 0 && (s.Into.Kind != production.Dissolve || s.Into.Frames != want) {
			t.Errorf("section %d comes by %+v, want a dissolve of a beat, %d frames", i+1, s.Into, want)
		}
		if len(s.Tiles) <= seen {
			t.Errorf("nobody comes with section %d", i+1)
		}
		for k, tile := range s.Tiles {
			if k >= seen && tile.Section != p.Sections[i].Name || tile.Rect != places[tile.Take] {
				t.Errorf("with section %q comes %s of %q to %v", p.Sections[i].Name, tile.Take, tile.Section, tile.Rect)
			}
		}
		seen = len(s.Tiles)
	}
	if seen != 6 {
		t.Errorf("%d of 6 are there in the end", seen)
	}
	p.Shots[0].Entrances = production.Entrances{By: production.ByPlayer, Beats: 2}
	if _, err := New(p, filmed(p), fullHD, Look{}); err == nil || !strings.Contains(err.Error(),
		"too short for 6 entrances") {
		t.Errorf("six entrances in two measures: %v", err)
	}
}

// Sheets of a grid follow each other on beats, and in equal parts when cuts are exact.
func TestSheetsTurnOnBeats(t *testing.T) {
	for _, cuts := range production.CutKinds {
		p := lamplighter(t, 25)
		p.Picture.SmallestTile, p.Picture.Cuts = 300, cuts
		to := at(3)
		p.Shots = []production.Shot{{From: at(1), To: &to, Show: "tutti"}}
		pl, err := New(p, filmed(p), fullHD, Look{})
		if err != nil {
			t.Fatal(err)
		}
		shots, onBeat, sheets := pl.Films[0].Shots, 0, 0
		for i, s := range shots {
			if s.Sheet == 0 || s.From < pl.Timeline.Output(at(1).Seconds) || s.To > pl.Timeline.Output(to.Seconds) {
				continue
			}
			sheets = s.Sheets
			if shots[i-1].To != s.From {
				t.Fatalf("sheet %d begins at %d, the one before ends at %d", s.Sheet, s.From, shots[i-1].To)
			}
			for b := range p.Tempo.Beats() {
				if pl.Timeline.Output(b.Seconds) == s.From {
					onBeat++
				}
			}
		}
		if sheets < 3 || cuts == production.CutOnBeats && onBeat != sheets-1 || cuts == production.CutExact &&
			onBeat == sheets-1 {
			t.Errorf("cuts: %s: %d of %d turns lie on beats", cuts, onBeat, sheets-1)
		}
	}
}

// A push-in goes on evenly through a shot and its transitions: of a solo the soloist's
// picture alone, about the head.
func TestPushIn(t *testing.T) {
	p := lamplighter(t, 4)
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"},
		{From: at(3), Show: "solo", Take: "take-2", Others: "around", PushIn: 1.06,
			Transition: production.Transition{Kind: "move", Seconds: 0.5}}}
	pl, err := New(p, filmed(p), fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	f := pl.Films[0]
	n := len(f.Shots) - 1
	if !f.Shots[n].Pushes(0) || f.Shots[n].Pushes(1) || f.Shots[n-1].Pushes(0) {
		t.Error("not the soloist alone")
	}
	if len(f.Glides(n)) > 0 {
		t.Error("a picture that grows glides as well")
	}
	tile := Tile{Rect: layout.Rect{X: 100, Y: 100, W: 400, H: 200}, Hole: layout.Rect{X: 100, Y: 100, W: 400, H: 200},
		Head: layout.Rect{X: 180, Y: 110, W: 40, H: 60}}
	if x, y := tile.Middle(); x != 0.25 || y != 0.2 {
		t.Errorf("the head's middle is %g, %g", x, y)
	}
}
