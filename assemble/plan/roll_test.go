package plan

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// TestARollPassesInItsShot: the credits come in from below on the first frames
// and are gone by the last, at whole pixels a frame, no faster than can be
// read, for any roster, length and canvas.
func TestARollPassesInItsShot(t *testing.T) {
	rolled := 0
	for _, takes := range []int{1, 9, 60} {
		for _, tail := range []float64{10, 30, 59} {
			for _, c := range []layout.Canvas{{W: 1920, H: 1080}, {W: 540, H: 960}, {W: 480, H: 270}} {
				p := lamplighter(t, takes)
				p.Title, p.Picture.Tail = "A Round", tail
				for i := range p.Takes {
					p.Takes[i].Player, p.Takes[i].Part = fmt.Sprintf("Player Number %d", i), "Oboe"
				}
				p.Shots = []production.Shot{{From: at(8), Show: "card", Text: "credits", Roll: true}}
				pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: c}}, Look{})
				if err != nil {
					if !strings.Contains(err.Error(), "to roll slowly enough to be read") {
						t.Fatal(err)
					}
					continue
				}
				rolled++
				s := pl.Films[0].Shots[len(pl.Films[0].Shots)-1]
				roll, err := newCards(p, nil).NewRoll(Look{}, c, s.Roll.Stretch)
				if err != nil {
					t.Fatal(err)
				}
				blank := s.Roll.Top(0) + c.H              // rows of the roll seen in the first frame
				rest := roll.Height - s.Roll.Top(s.Len()) // and those that would be left behind the last
				if s.Roll.Step < 1 || blank > s.Roll.Step || rest > 0 {
					t.Errorf("%d takes, %v s, %v: %+v of %d rows: %d rows at the first frame, %d left", takes, tail, c,
						s.Roll, roll.Height, blank, rest)
				}
				if exact := float64(roll.Height+c.H) / float64(s.Len()); s.Roll.Step > 1 &&
					float64(s.Roll.Step) > exact+1.2 {
					t.Errorf("%d takes, %v s, %v: %d pixels a frame where %.2f would do", takes, tail, c, s.Roll.Step,
						exact)
				}
				if s.Pages != 1 {
					t.Errorf("%d pages of a roll", s.Pages)
				}
			}
		}
	}
	if rolled < 15 {
		t.Errorf("only %d of 27 rolled", rolled)
	}
}

// TestARollTooFastIsRefused names the time it needs.
func TestARollTooFastIsRefused(t *testing.T) {
	p := lamplighter(t, 40)
	p.Shots = []production.Shot{{From: at(7), Show: "card", Text: "credits", Roll: true}}
	_, err := New(p, filmed(p), fullHD, Look{})
	if err == nil || !strings.Contains(err.Error(),
		"the credits need 14 seconds to roll slowly enough to be read, and the shot lasts 6.0") {
		t.Error(err)
	}
}

// TestTheRosterHasEachSectionOnce though its seats are apart, and keeps the
// order of seats within it; who is in no section stands together as well.
func TestTheRosterHasEachSectionOnce(t *testing.T) {
	p := &production.Production{}
	for _, k := range []struct{ part, section string }{
		{"Oboe", "winds"}, {"Viola", "strings"}, {"Narrator", ""}, {"Horn", "winds"}, {"Cello",
			"strings"}, {"Page turner", ""}, {"Flute", "winds"},
	} {
		p.Takes = append(p.Takes, production.Take{Part: k.part, Section: k.section})
	}
	p.Takes = append(p.Takes, production.Take{Part: "Bassoon", Section: "bass", Release: production.ReleaseNo})
	var got []string
	for _, c := range newCards(p, nil).Roster {
		got = append(got, c.Section+" "+c.Part)
	}
	want := []string{"winds Oboe", "winds Horn", "winds Flute", "strings Viola", "strings Cello", " Narrator",
		" Page turner"}
	if !slices.Equal(got, want) {
		t.Errorf("the roster is %q, want %q", got, want)
	}
}
