package card

import (
	"flag"
	"fmt"
	"image"
	"image/color"
	"path/filepath"
	"testing"

	"ripieno/layout"
)

var samples = flag.String("samples", "", "draw cards at their full size into this folder, to be looked at")

// crest is a picture for title cards: a ring of an invented band.
func crest() image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, 400, 400))
	for y := range 400 {
		for x := range 400 {
			d := (x-200)*(x-200) + (y-200)*(y-200)
			if d < 190*190 && d > 165*165 || d < 70*70 && x > y-40 {
				m.SetNRGBA(x, y, color.NRGBA{0xd8, 0xb0, 0x5c, 255})
			}
		}
	}
	return m
}

// fullTitle returns a title with everything that can stand on it.
func fullTitle() TitleOptions {
	return TitleOptions{
		Background: dark, Title: "Der Laternenanzünder", Picture: crest(),
		Blocks: []TitleBlock{
			{Main: []string{"Aurelio Tamsin"}, More: []string{"Arrangement: Ottilie Marsh", "Text: Davít Sørel"}},
			{Main: []string{"Abendorchester Niederwiek"}, More: []string{"Leitung: Mara Voss"}},
			{More: []string{"Sommerkonzert, 12. Juni 2031"}},
		},
	}
}

// fullCredits returns credits of n players with roles, thanks and rights.
func fullCredits(n int) CreditsOptions {
	sections := []string{"Holzbläser", "Blechbläser", "Streicher", "Schlagwerk"}
	o := CreditsOptions{Background: dark, Title: "Der Laternenanzünder", Credits: []Credit{{Part: "Leitung", Name: "Mara Voss"}}}
	for i := range n {
		k := cast[i%5]
		o.Credits = append(o.Credits, Credit{Section: sections[i*4/n], Part: k[1], Name: k[0]})
	}
	o.Credits = append(o.Credits, Credit{Part: "Ton", Name: "Ilse Brandt"}, Credit{Part: "Schnitt", Name: "Pia Lund"},
		Credit{Section: "Dank an", Name: "die Bücherei Niederwiek"}, Credit{Section: "Dank an", Name: "alle Nachbarn"})
	o.Foot = []string{"© 2031 Abendorchester Niederwiek. Noten mit freundlicher Genehmigung des Verlags am Kai."}
	return o
}

// The three shapes of a film.
var shapes = map[string]layout.Canvas{"wide": {W: 1920, H: 1080}, "tall": {W: 1080, H: 1920}, "square": {W: 1080, H: 1080}}

// styled returns a frame with bright pictures and names in a style.
func styled(t testing.TB, c layout.Canvas, n int, style layout.LabelStyle, screen float64) *image.NRGBA {
	t.Helper()
	o := ensemble(t, c, n)
	o.Look = LabelLook{Style: style, Screen: screen, Ground: dark}
	var shown []Shown
	for i, hole := range o.Holes {
		if style == layout.Strip {
			hole.H -= StripHeight(c, hole, screen)
			o.Holes[i] = hole
		}
		shown = append(shown, Shown{Picture: bright(hole.W, hole.H), Source: layout.Rect{W: hole.W, H: hole.H}, Hole: hole})
	}
	over, err := Overlay(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return Still(over, shown)
}

// bright returns a picture as light as a room with a window, with stripes that
// trouble letters.
func bright(w, h int) image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint8(150 + 100*x/w)
			if (x/9+y/9)%4 == 0 {
				v -= 60
			}
			m.SetNRGBA(x, y, color.NRGBA{v, v, v - v/8, 255})
		}
	}
	return m
}

func TestSamples(t *testing.T) {
	if *samples == "" {
		t.Skip("nobody looks")
	}
	for _, style := range []layout.LabelStyle{layout.Plate, layout.Shadow, layout.Strip} {
		for _, screen := range []float64{0, PhoneCM} {
			store(t, styled(t, layout.Canvas{W: 1280, H: 720}, 6, style, screen),
				filepath.Join(*samples, fmt.Sprintf("labels-%s-%v.png", style, screen)))
		}
	}
	for name, c := range shapes {
		m, err := Title(c, fullTitle())
		if err != nil {
			t.Fatal(err)
		}
		store(t, m, filepath.Join(*samples, "title-"+name+".png"))
		plainTitle := TitleOptions{Background: dark, Title: "The Lamplighter’s Round",
			Blocks: []TitleBlock{{Main: []string{"Aurelio Tamsin"}}, {Main: []string{"The Harbour Street Players"}}}}
		if m, err = Title(c, plainTitle); err != nil {
			t.Fatal(err)
		}
		store(t, m, filepath.Join(*samples, "plain-"+name+".png"))
		for _, n := range []int{9, 25, 60} {
			pages, err := Credits(c, fullCredits(n))
			if err != nil {
				t.Fatal(err)
			}
			for i, m := range pages {
				store(t, m, filepath.Join(*samples, fmt.Sprintf("credits-%d-%s-%d.png", n, name, i)))
			}
		}
	}
}
