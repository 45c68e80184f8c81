package card

import (
	"math"
	"testing"

	"ripieno/layout"
)

// On a telephone whose short side is 6 cm, held 30 cm away, capitals of the least
// size are seen under 16 minutes of arc (calculated here the other way round), on
// every shape of film.
func TestReadable(t *testing.T) {
	for name, c := range shapes {
		px := Readable(c, PhoneCM)
		cap := newSetter(nil).set("H", regular, px)
		high := cap.pixels(cap.runs[0].Glyphs[0].YBearing) // pixels
		mm := high / float64(min(c.W, c.H)) * PhoneCM * 10
		if arc := math.Atan(mm/viewingMM) * 180 / math.Pi * 60; math.Abs(arc-leastArcMinutes) > 0.1 {
			t.Errorf("%s: capitals are seen under %.2f minutes", name, arc)
		}
	}
	if px := Readable(layout.Canvas{W: 1920, H: 1080}, PhoneCM); math.Abs(px-34.8) > 0.1 {
		t.Errorf("%.2f pixels at 1080 lines", px)
	}
	if a, b := Readable(shapes["wide"], 6), Readable(shapes["wide"], 12); math.Abs(a-2*b) > 1e-9 {
		t.Errorf("%v on 6 cm, %v on 12", a, b)
	}
}

// Titles are set with the kerning of their font; the font of names has none.
func TestTitlesAreKerned(t *testing.T) {
	s := newSetter(nil)
	together := func(text string, w weight) (whole, parts float64) {
		for _, r := range text {
			parts += s.set(string(r), w, 1000).width
		}
		return s.set(text, w, 1000).width, parts
	}
	for _, pair := range []string{"AV", "To", "Ty"} {
		if whole, parts := together(pair, display); whole >= parts-10 {
			t.Errorf("%s is %.0f wide, its letters %.0f", pair, whole, parts)
		}
	}
	if l := s.set("Раунд, Νίκος, Ödön", display, 100); len(l.missing) > 0 {
		t.Errorf("%q cannot be set", l.missing)
	}
}

// A section stays in one column where that leaves less than half of one empty.
func TestSectionsStayTogether(t *testing.T) {
	s := newSetter(nil)
	var credits []Credit
	for i := range 24 {
		credits = append(credits, Credit{Section: []string{"Winds", "Brass", "Strings", "Voices"}[i/6], Part: "Part", Name: "Mara Voss"})
	}
	r := s.roster(shapes["wide"], CreditsOptions{Credits: credits}, 35)
	if len(r.columns) < 2 {
		t.Fatalf("%d columns", len(r.columns))
	}
	for i, k := range r.columns {
		if len(k[0].heading.runs) == 0 {
			t.Errorf("column %d begins within a section", i)
		}
	}
}

// Rights stand below the credits on the last page, or on one of their own.
func TestFoot(t *testing.T) {
	for name, c := range shapes {
		for _, n := range []int{0, 3, 20, 60} {
			o := fullCredits(max(n, 1))
			if n == 0 {
				o.Credits = nil
			}
			with, err := Credits(c, o)
			if err != nil {
				t.Fatal(err)
			}
			last := bounds(with[len(with)-1], dark)
			if last.Empty() || last.Max.Y > c.H-c.H/50 || last.Min.Y < c.H/50 {
				t.Errorf("%s, %d players: the last page has ink at %v", name, n, last)
			}
			o.Foot = nil
			without, err := Credits(c, o)
			if err != nil {
				t.Fatal(err)
			}
			if len(with) > len(without)+1 || len(with) < len(without) {
				t.Errorf("%s, %d players: %d pages with rights, %d without", name, n, len(with), len(without))
			}
		}
	}
}
