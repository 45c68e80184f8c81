package plan

import (
	"maps"
	"slices"
	"testing"

	"ripieno/layout"
	"ripieno/layout/shot"

	"ripieno/assemble/production"
)

// Where the player is matters in pictures of another shape than their tile, and in those
// that a shot moves in on; what is shown whole, or has an edge of a few pixels cut, needs
// nobody to be found.
func TestCutTakes(t *testing.T) {
	cut := func(p *production.Production, facts map[string]Facts) []string {
		t.Helper()
		pl, err := New(p, facts, fullHD, Look{})
		if err != nil {
			t.Fatal(err)
		}
		return slices.Sorted(maps.Keys(pl.Cut()))
	}
	p := lamplighter(t, 4)
	facts := filmed(p)
	if got := cut(p, facts); len(got) > 0 {
		t.Errorf("of pictures in the shape of their tiles %q are cut", got)
	}
	facts["take-2"].Picture.W = 960
	facts["take-3"].Picture.W, facts["take-3"].Picture.H = 720, 1280
	if got := cut(p, facts); !slices.Equal(got, []string{"take-2", "take-3"}) {
		t.Errorf("%q are cut, want the second and the third", got)
	}
	p.Takes[2].Fit = layout.Fit
	if got := cut(p, facts); !slices.Equal(got, []string{"take-2"}) {
		t.Errorf("%q are cut, though one of them is shown whole", got)
	}
	p.Shots = []production.Shot{{From: at(1), Show: shot.Tutti},
		{From: at(3), Show: shot.Solo, Take: "take-4", PushIn: 1.06}}
	if got := cut(p, facts); !slices.Equal(got, []string{"take-2", "take-4"}) {
		t.Errorf("%q are cut or moved in on, want the second and the fourth", got)
	}
}
