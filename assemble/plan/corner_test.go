package plan

import (
	"slices"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/framing"
	"ripieno/layout/motion"
)

// handAt returns somebody whose hand moves in a cell of the picture, and who is known.
func handAt(x, y float64) *framing.Person {
	moves := make(motion.Heat, motion.HeatSide*motion.HeatSide)
	moves[int(y*motion.HeatSide)*motion.HeatSide+int(x*motion.HeatSide)] = 255
	return &framing.Person{Body: framing.Box{Left: 0.2, Right: 0.8, Bottom: 1}, Moves: moves, Sure: 1}
}

// named plans a film with everybody, one alone, a section and everybody again.
func named(t *testing.T, change func(p *production.Production, facts map[string]Facts)) Film {
	t.Helper()
	p := lamplighter(t, 6)
	p.Picture.Aspect = production.Aspect{Shapes: layout.AnyShape}
	for i := range p.Takes {
		p.Takes[i].Player, p.Takes[i].Part = "Runa Thistle", "Violin"
	}
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(3), Show: "solo", Take: "take-2"},
		{From: at(5), Show: "soli", Section: "low"}, {From: at(6), Show: "tutti"}}
	facts := filmed(p)
	change(p, facts)
	pl, err := New(p, facts, fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	return pl.Films[0]
}

// corners returns all corners in which the name of a take stands in a film.
func corners(f Film, take string) (list []layout.Corner) {
	for _, s := range f.Shots {
		for _, t := range s.Tiles {
			if t.Take == take && !slices.Contains(list, t.Corner) {
				list = append(list, t.Corner)
			}
		}
	}
	return list
}

// TestNamesKeepOffHands: whose hand is where their name would be has the name elsewhere, in
// every shot in the same corner; all others keep theirs.
func TestNamesKeepOffHands(t *testing.T) {
	f := named(t, func(_ *production.Production, facts map[string]Facts) {
		for take, x := range map[string]float64{"take-2": 0.24, "take-3": 0.5, "take-4": 0.76} {
			k := facts[take]
			k.Subject = handAt(x, 0.95)
			facts[take] = k
		}
	})
	for take, want := range map[string]layout.Corner{"take-1": layout.BottomLeft, "take-2": layout.BottomRight,
		"take-3": layout.BottomLeft, "take-4": layout.BottomLeft} {
		if got := corners(f, take); !slices.Equal(got, []layout.Corner{want}) {
			t.Errorf("the name of %s stands %v, want %s", take, got, want)
		}
	}
}

// A hand that is covered in one shot only moves the name in all: here the soloist's whole
// picture is seen where the grid cuts the hand away.
func TestANameStaysInItsCorner(t *testing.T) {
	f := named(t, func(p *production.Production, facts map[string]Facts) {
		p.Shots[0].Aspect = production.Aspect{AspectW: 4, AspectH: 5}
		p.Shots[3].Aspect = p.Shots[0].Aspect
		k := facts["take-2"]
		k.Subject = handAt(0.04, 0.95)
		facts["take-2"] = k
	})
	if got := corners(f, "take-2"); !slices.Equal(got, []layout.Corner{layout.BottomRight}) {
		t.Errorf("the name stands %v", got)
	}
	tile := f.Shots[0].Tiles[1]
	boxes := card.NameBoxes(f.Canvas, []card.Label{tile.Name(f.Cards.words)}, f.Look, nil)[0]
	k := Facts{Picture: &Picture{W: 1280, H: 720}, Subject: handAt(0.04, 0.95)}
	if tile.Take != "take-2" || covered(tile, k, boxes[0]) != 0 {
		t.Errorf("the grid shows the hand of %s, so this proves nothing", tile.Take)
	}
}

// A person's choice wins, strips have no corner, and a late take moves nobody's name.
func TestWhoPlacesNames(t *testing.T) {
	hands := func(facts map[string]Facts, n int) {
		for _, take := range []string{"take-1", "take-2", "take-3"}[:n] {
			k := facts[take]
			k.Subject = handAt(0.24, 0.95)
			facts[take] = k
		}
	}
	for name, k := range map[string]struct {
		change func(*production.Production)
		want   layout.Corner
	}{
		"a corner is chosen": {func(p *production.Production) { p.Picture.LabelCorner = layout.TopRight },
			layout.TopRight},
		"the hand's corner is chosen": {func(p *production.Production) { p.Picture.LabelCorner = layout.BottomLeft },
			layout.BottomLeft},
		"auto":   {func(p *production.Production) { p.Picture.LabelCorner = layout.AutoCorner }, layout.BottomRight},
		"strips": {func(p *production.Production) { p.Picture.LabelStyle = layout.Strip }, ""},
		"tiles of one shape, as before": {func(p *production.Production) {
			p.Picture.Aspect = production.Aspect{AspectW: 16, AspectH: 9}
		}, layout.BottomLeft},
	} {
		f := named(t, func(p *production.Production, facts map[string]Facts) {
			k.change(p)
			hands(facts, 3)
		})
		if got := corners(f, "take-1"); !slices.Equal(got, []layout.Corner{k.want}) {
			t.Errorf("%s: the name stands %v, want %s", name, got, k.want)
		}
	}
	late := func(awaited bool) Film {
		return named(t, func(p *production.Production, facts map[string]Facts) {
			hands(facts, 3)
			if awaited {
				facts["take-6"] = Facts{Absent: Awaited}
			}
		})
	}
	before, after := late(true), late(false)
	for _, take := range []string{"take-1", "take-4", "take-5"} {
		if a, b := corners(before, take), corners(after, take); !slices.Equal(a, b) {
			t.Errorf("the name of %s stood %v and stands %v", take, a, b)
		}
	}
}

// Where tiles have one shape a name keeps off a head, shot by shot, as it always did.
func TestFixedTilesKeepOffHeads(t *testing.T) {
	f := named(t, func(p *production.Production, facts map[string]Facts) {
		p.Picture.Aspect = production.Aspect{AspectW: 16, AspectH: 9}
		for i := range p.Takes {
			p.Takes[i].AutoCrop = i != 2
			k := facts[p.Takes[i].Name]
			low := framing.Box{Top: 0.7, Right: 0.3, Bottom: 1}
			k.Subject = &framing.Person{Head: low, Heads: low, Sure: 1}
			facts[p.Takes[i].Name] = k
		}
	})
	for take, want := range map[string]layout.Corner{"take-1": layout.BottomRight, "take-3": layout.BottomLeft} {
		if got := corners(f, take); !slices.Equal(got, []layout.Corner{want}) {
			t.Errorf("the name of %s stands %v, want %s", take, got, want)
		}
	}
}
