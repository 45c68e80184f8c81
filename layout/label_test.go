package layout

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// A name leaves the usual corner only for one in which it hides much less.
func TestANameLeavesItsCornerForAPerson(t *testing.T) {
	for _, k := range []struct {
		name  string
		h     Hidden
		usual int
		want  Corner
	}{
		{"nobody is hidden", Hidden{}, 0, BottomLeft},
		{"the end of a bow", Hidden{0.06, 0, 0, 0}, 0, BottomLeft},
		{"hands at the lower left", Hidden{0.2, 0, 0, 0}, 0, BottomRight},
		{"hands all along the foot", Hidden{0.2, 0.2, 0.01, 0}, 0, TopLeft},
		{"only the upper right is free", Hidden{0.2, 0.2, 0.1, 0}, 0, TopRight},
		{"everywhere alike", Hidden{0.2, 0.2, 0.2, 0.2}, 0, BottomLeft},
		{"nowhere free, one a little better", Hidden{0.20, 0.16, 0.3, 0.4}, 0, BottomLeft},
		{"nowhere free, one much better", Hidden{0.20, 0.3, 0.1, 0.4}, 0, TopLeft},
		{"where all others stand", Hidden{0, 0, 0.01, 0}, 2, TopLeft},
		{"not where all others stand", Hidden{0.01, 0, 0.2, 0}, 2, BottomLeft},
	} {
		if got := Corners[k.h.Corner(k.usual)]; got != k.want {
			t.Errorf("%s: %s, want %s", k.name, got, k.want)
		}
	}
}

// All names stand at the lower left unless that hides half of all people and another
// corner at most half as many.
func TestTheUsualCorner(t *testing.T) {
	free, low, left := Hidden{}, Hidden{0.2, 0.2, 0, 0}, Hidden{0.2, 0, 0.2, 0}
	for _, k := range []struct {
		name string
		all  []Hidden
		want Corner
	}{
		{"nothing is known of anybody", nil, BottomLeft},
		{"nobody is hidden", []Hidden{free, free, free}, BottomLeft},
		{"one of three", []Hidden{free, low, free}, BottomLeft},
		{"two of three", []Hidden{low, low, free}, TopLeft},
		{"all, on both sides", []Hidden{low, left, low, left}, TopRight},
		{"everywhere", []Hidden{{1, 1, 1, 1}, {1, 1, 1, 1}}, BottomLeft},
		{"no corner is half as bad", []Hidden{{1, 1, 1, 1}, {1, 1, 1, 1}, {1, 0, 0, 0}}, BottomLeft},
	} {
		if got := Corners[UsualCorner(k.all)]; got != k.want {
			t.Errorf("%s: %s, want %s", k.name, got, k.want)
		}
	}
}

// Whatever is hidden where: a name never hides more than in the usual corner, nor more
// than a third more than where it hides least, and the order of people says nothing.
func TestNamesNeverHideMoreThanTheyMust(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 7))
	for range 2000 {
		all := make([]Hidden, 1+r.IntN(12))
		for i := range all {
			for k := range all[i] {
				if r.IntN(2) > 0 {
					all[i][k] = r.Float64()
				}
			}
		}
		usual := UsualCorner(all)
		for _, h := range all {
			got := h[h.Corner(usual)]
			if got > h[usual] && got > hides || got > hides && got*worthIt > slices.Min(h[:]) {
				t.Fatalf("%v hides %.3f, the usual corner is %d", h, got, usual)
			}
		}
		slices.Reverse(all)
		if UsualCorner(all) != usual {
			t.Fatalf("%v: another order has another corner", all)
		}
	}
}
