package card

import (
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"io"
	"strings"
	"testing"

	"ripieno/layout"
)

// bounds returns where a card differs from its background.
func bounds(m *image.NRGBA, bg color.NRGBA) image.Rectangle {
	return extent(m, func(p color.NRGBA) bool { return p != bg })
}

// TestTitleFits: whatever the length, the text stays inside the margins, is
// centred and reaches AA on dark and on light.
func TestTitleFits(t *testing.T) {
	long := strings.Repeat("Several considerably longer words, ", 30)
	for _, c := range []layout.Canvas{{W: 960, H: 540}, {W: 540, H: 960}, {W: 480, H: 270}} {
		for _, bg := range []color.NRGBA{dark, {0xf0, 0xee, 0xe6, 255}, {0x7f, 0x7f, 0x7f, 255}} {
			for name, o := range map[string]TitleOptions{
				"short": {Title: "Round"},
				"usual": {Title: "The Lamplighter's Round",
					Blocks: lines("Aurelio Tamsin", "", "The Harbour Street Players")},
				"lines": {Blocks: lines("In memory of nobody\nin particular")},
				"long":  {Title: long[:300], Blocks: lines(long[:500])},
				"word":  {Title: strings.Repeat("Wolken", 40)},
			} {
				o.Background = bg
				m, err := Title(c, o)
				if err != nil {
					t.Fatal(err)
				}
				b := bounds(m, bg)
				if b.Empty() {
					t.Fatalf("%s on %v: nothing drawn", name, c)
				}
				if inner := image.Rect(c.W/20, c.H/50, c.W-c.W/20, c.H-c.H/50); !b.In(inner) {
					t.Errorf("%s on %v: text at %v, outside %v", name, c, b, inner)
				}
				if off := (b.Min.X + b.Max.X - c.W) / 2; off < -c.W/50 || off > c.W/50 {
					t.Errorf("%s on %v: %d pixels off the middle", name, c, off)
				}
				best := 1.0
				for y := b.Min.Y; y < b.Max.Y; y++ {
					for x := b.Min.X; x < b.Max.X; x++ {
						best = max(best, Contrast(m.NRGBAAt(x, y), bg))
					}
				}
				// Strokes thinner than a pixel never show their full colour.
				if best < 4.5 && min(c.W, c.H) >= 540 {
					t.Errorf("%s on %v, background %v: contrast %.2f", name, c, bg, best)
				}
			}
		}
	}
	if m, err := Title(small, TitleOptions{Background: dark}); err != nil || !bounds(m, dark).Empty() {
		t.Errorf("an empty title: %v, %v", bounds(m, dark), err)
	}
	if _, err := Title(small, TitleOptions{Title: "🎻", Blocks: lines("a\tb")}); err == nil ||
		strings.Count(err.Error(), "no font can draw") != 2 {
		t.Errorf("%v", err)
	}
}

func lines(texts ...string) []TitleBlock { return []TitleBlock{{Main: texts}} }

func roll(n int) (credits []Credit) {
	for i := range n {
		k := cast[i%len(cast)]
		credits = append(credits, Credit{[]string{"Winds", "Brass", "Strings"}[3*i/n], k[1],
			fmt.Sprintf("%s %d", k[0], i)})
	}
	return credits
}

// TestCredits: every player stands on some page, in order, and no page is
// written to its edge.
func TestCredits(t *testing.T) {
	for _, c := range []layout.Canvas{{W: 960, H: 540}, {W: 540, H: 960}} {
		for _, n := range []int{1, 2, 7, 20, 60, 300} {
			o := CreditsOptions{Background: dark, Title: "The players", Credits: roll(n)}
			pages, err := Credits(c, o)
			if err != nil {
				t.Fatal(err)
			}
			for i, m := range pages {
				b := bounds(m, dark)
				if b.Empty() || !b.In(image.Rect(c.W/50, c.H/50, c.W-c.W/50, c.H-c.H/50)) {
					t.Errorf("%d players on %v: page %d has ink at %v", n, c, i, b)
				}
			}
			// With names this long, at a size that a telephone shows.
			if most := (n + 13) / 14; len(pages) > most {
				t.Errorf("%d players on %v take %d pages, want at most %d", n, c, len(pages), most)
			}
		}
	}
	pages, err := Credits(small, CreditsOptions{Background: dark})
	if err != nil || len(pages) != 1 || !bounds(pages[0], dark).Empty() {
		t.Errorf("no credits at all: %d pages, %v", len(pages), err)
	}
	if _, err := Credits(small, CreditsOptions{Credits: []Credit{{"Winds", "Oboe", "a\nb"}}}); err == nil {
		t.Error("a newline in a name was accepted")
	}
}

// TestCreditsColumns looks at how rows are dealt: all there, in order, no
// heading at the foot, no gap at the head, columns about equally long.
func TestCreditsColumns(t *testing.T) {
	c := layout.Canvas{W: 1920, H: 1080}
	for _, n := range []int{1, 5, 13, 14, 29, 38, 61, 150, 400} {
		s := newSetter(nil)
		credits := roll(n)
		r := s.roster(c, CreditsOptions{Title: "The players", Credits: credits}, 24)
		i := 0
		for k, column := range r.columns {
			if len(column) > r.depth {
				t.Fatalf("%d players: column %d has %d rows of %d", n, k, len(column), r.depth)
			}
			if column[0].blank() || len(column[len(column)-1].heading.runs) > 0 {
				t.Fatalf("%d players: column %d begins blank or ends with a heading", n, k)
			}
			for _, row := range column {
				if len(row.name.runs) > 0 {
					if !strings.HasPrefix(credits[i].Name, strings.TrimSuffix(row.name.text, ellipsis)) {
						t.Fatalf("%d players: number %d is %q, want %q", n, i, row.name.text, credits[i].Name)
					}
					i++
				}
			}
		}
		if i != n {
			t.Fatalf("%d of %d players stand in the columns", i, n)
		}
		if k := len(r.columns); k > 1 && k <= r.perPage {
			for _, column := range r.columns[:k-1] {
				if len(column) > len(r.columns[0])+3 || len(column) < len(r.columns[0])-3 {
					t.Errorf("%d players: columns of %d and %d rows", n, len(r.columns[0]), len(column))
				}
			}
		}
	}
}

// TestPlanPicture: the tiles stand on the page where they stand on the
// canvas, at every width, and a note is seen.
func TestPlanPicture(t *testing.T) {
	c := layout.Canvas{W: 1920, H: 1080}
	for _, width := range []int{640, 1280, 1920} {
		o := PlanOptions{Canvas: c, Title: "Round", Width: width, Shots: []PlanShot{planShot(t, c, 5, "tutti")}}
		m, err := PlanPicture(o)
		if err != nil {
			t.Fatal(err)
		}
		if m.Rect.Dx() != width {
			t.Fatalf("%d wide, want %d", m.Rect.Dx(), width)
		}
		g, err := newSheet(&o)
		if err != nil {
			t.Fatal(err)
		}
		for i, tile := range o.Shots[0].Tiles {
			b := g.place(tile.Tile, g.left, g.margin+g.head+g.caption)
			inner := inside(b.inset(2 + 2*g.unit))
			tint := g.tints[tile.Section]
			plain, inked := 0, 0
			for y := inner.Min.Y; y < inner.Max.Y; y++ {
				for x := inner.Min.X; x < inner.Max.X; x++ {
					switch p := m.NRGBAAt(x, y); {
					case p == tint:
						plain++
					case Contrast(p, tint) > 4:
						inked++
					}
				}
			}
			all := inner.Dx() * inner.Dy()
			if i == 1 && plain*10 > all*9 {
				t.Errorf("width %d: tile 2 is not hatched", width)
			}
			if i != 1 && plain*10 < all*8 || inked < 30 {
				t.Errorf("width %d: tile %d has %d plain and %d inked of %d pixels", width, i+1, plain, inked, all)
			}
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	c := layout.Canvas{W: 640, H: 360}
	off := layout.Rect{X: 600, W: 100, H: 50}
	for _, tt := range []struct {
		o    PlanOptions
		want string
	}{
		{PlanOptions{Canvas: layout.Canvas{W: 3, H: 3}}, "canvas: 3x3 is not within 8 and 16384 pixels a side"},
		{PlanOptions{Canvas: c, Width: 100}, "width: 100 is not within 320 and 8192 pixels"},
		{PlanOptions{Canvas: c, Shots: []PlanShot{{Tiles: []PlanTile{{Tile: off}}}}},
			"tile 100x50 at 600,0 is not on a canvas of 640x360"},
		{PlanOptions{Canvas: c, Title: "♫🎻"}, `no font can draw "♫🎻": 🎻 (U+1F3BB)`},
		{PlanOptions{Canvas: c, Shots: make([]PlanShot, 400)},
			"400 shots on one plan are too many to draw; draw them one by one"},
	} {
		_, err := PlanPicture(tt.o)
		if err == nil || err.Error() != tt.want {
			t.Errorf("picture: %v, want %s", err, tt.want)
		}
		if _, svg := PlanSVG(tt.o); svg == nil || svg.Error() != err.Error() {
			t.Errorf("SVG: %v, picture: %v", svg, err)
		}
	}
}

// TestPlanSVG: well-formed, every name there as text, nothing interpreted.
func TestPlanSVG(t *testing.T) {
	c := layout.Canvas{W: 1920, H: 1080}
	shot := planShot(t, c, 8, `<&"caption'>`)
	shot.Tiles[0].Player = `</text><script>x</script>`
	data, err := PlanSVG(PlanOptions{Canvas: c, Title: "Round", Shots: []PlanShot{shot}})
	if err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(strings.NewReader(string(data)))
	var text []string
	elements := map[string]int{}
	for {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch k := tok.(type) {
		case xml.StartElement:
			elements[k.Name.Local]++
		case xml.CharData:
			text = append(text, string(k))
		}
	}
	all := strings.Join(text, "\n")
	for _, want := range []string{`<&"caption'>`, "</text><script>x</script>", "Ilse Brandt", "Анна Крылова",
		"%{pts} \"it's\": a\\b", "not in yet",
		fmt.Sprintf("8 tiles, %dx%d", shot.Tiles[0].Tile.W, shot.Tiles[0].Tile.H)} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not in the drawing", want)
		}
	}
	if elements["script"] > 0 || elements["svg"] != 1 || elements["path"] != 1 {
		t.Errorf("elements %v", elements)
	}
}

func BenchmarkPlanPicture200(b *testing.B) {
	c := layout.Canvas{W: 1920, H: 1080}
	o := PlanOptions{Canvas: c, Title: "Round", Shots: []PlanShot{planShot(b, c, 200, "tutti")}}
	for b.Loop() {
		if _, err := PlanPicture(o); err != nil {
			b.Fatal(err)
		}
	}
}
