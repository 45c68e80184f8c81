package card

import (
	"flag"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"ripieno/layout"
)

var update = flag.Bool("update", false, "write the golden pictures anew; look at them before keeping them")

var (
	dark  = color.NRGBA{0x14, 0x16, 0x1a, 255}
	small = layout.Canvas{W: 320, H: 180}
)

// cast is an invented ensemble with the names that are hard to set.
var cast = [][2]string{
	{"Mara Voss", "Oboe 1"}, {"Ilse Brandt", "Horn 2"}, {"Ödön Szőke", "Viola"}, {"Анна Крылова", "Violin I"},
	{"Νίκος Παππάς", "Contrabass"}, {"Johannes-Maximilian von der Hohenlinden-Altstetten",
		"Second assistant bass clarinet in B flat"},
	{"%{pts} \"it's\": a\\b", "Flute"}, {"Jo", ""},
}

// ensemble returns an overlay with pictures, labels and both kinds of placeholder.
func ensemble(t testing.TB, c layout.Canvas, n int) OverlayOptions {
	t.Helper()
	g, err := layout.Grid(n, c, layout.Options{AspectW: 16, AspectH: 9, Gutter: c.EvenScale(6)})
	if err != nil {
		t.Fatal(err)
	}
	o := OverlayOptions{Background: dark}
	for i, r := range g.Tiles {
		p := cast[i%len(cast)]
		switch i % 7 {
		case 3:
			o.Placeholders = append(o.Placeholders, Placeholder{r, p[0], p[1], "sound only", false})
		case 5:
			o.Placeholders = append(o.Placeholders, Placeholder{r, p[0], p[1], "not in yet", true})
		default:
			o.Holes = append(o.Holes, r)
			o.Labels = append(o.Labels, Label{r, p[0], p[1]})
		}
	}
	return o
}

func planShot(t testing.TB, c layout.Canvas, n int, caption string) PlanShot {
	t.Helper()
	g, err := layout.Grid(n, c, layout.Options{AspectW: 16, AspectH: 9, Gutter: c.EvenScale(6)})
	if err != nil {
		t.Fatal(err)
	}
	s := PlanShot{Caption: caption}
	for i, r := range g.Tiles {
		p := PlanTile{Tile: r, Seat: i + 1, Take: "take", Player: cast[i%len(cast)][0], Part: cast[i%len(cast)][1],
			Section: []string{"winds", "brass", "strings"}[3*i/n]}
		if i == 1 {
			p.Note = "not in yet"
		}
		s.Tiles = append(s.Tiles, p)
	}
	return s
}

// TestGoldens holds every kind of picture against a stored one. Rasterising
// in float32 may differ in the last place between machines, hence the
// tolerance; a glyph moved by half a pixel is far outside it.
func TestGoldens(t *testing.T) {
	title := TitleOptions{Background: dark, Title: "The Lamplighter's Round",
		Blocks: []TitleBlock{{Main: []string{"Aurelio Tamsin"}}, {Main: []string{"The Harbour Street Players"}}}}
	var credits []Credit
	for i, p := range cast {
		credits = append(credits, Credit{[]string{"Winds", "Strings"}[i/5], p[1], p[0]})
	}
	plan := PlanOptions{Canvas: small, Title: "The Lamplighter's Round", Width: 640,
		Shots: []PlanShot{planShot(t, small, 5, "m1 to m33"), {Caption: "card", Text: "title"}}}
	pages, err := Credits(small, CreditsOptions{Background: dark, Title: "The players", Credits: credits})
	if err != nil || len(pages) != 1 {
		t.Fatalf("%d pages of credits, %v", len(pages), err)
	}
	for name, drawn := range map[string]func() (*image.NRGBA, error){
		"overlay": func() (*image.NRGBA, error) { return Overlay(small, ensemble(t, small, 6)) },
		"title":   func() (*image.NRGBA, error) { return Title(small, title) },
		"plan":    func() (*image.NRGBA, error) { return PlanPicture(plan) },
		"credits": func() (*image.NRGBA, error) { return pages[0], nil },
		"roll": func() (*image.NRGBA, error) {
			r, err := NewRoll(small, CreditsOptions{Background: dark, Title: "The players", Credits: credits}, 1)
			if err != nil {
				return nil, err
			}
			m := plain(small.W, small.H, dark)
			draw.Draw(m, m.Rect, r.Draw(20, small.H), image.Point{}, draw.Over)
			return m, nil
		},
		"title-wide":     func() (*image.NRGBA, error) { return Title(layout.Canvas{W: 480, H: 270}, fullTitle()) },
		"title-tall":     func() (*image.NRGBA, error) { return Title(layout.Canvas{W: 270, H: 480}, fullTitle()) },
		"title-square":   func() (*image.NRGBA, error) { return Title(layout.Canvas{W: 360, H: 360}, fullTitle()) },
		"credits-wide":   func() (*image.NRGBA, error) { return lastPage(Credits(layout.Canvas{W: 480, H: 270}, fullCredits(9))) },
		"credits-tall":   func() (*image.NRGBA, error) { return lastPage(Credits(layout.Canvas{W: 270, H: 480}, fullCredits(9))) },
		"credits-square": func() (*image.NRGBA, error) { return lastPage(Credits(layout.Canvas{W: 360, H: 360}, fullCredits(9))) },
		"labels-shadow":  func() (*image.NRGBA, error) { return styled(t, small, 6, layout.Shadow, 0), nil },
		"labels-strip":   func() (*image.NRGBA, error) { return styled(t, small, 6, layout.Strip, 0), nil },
		"labels-phone":   func() (*image.NRGBA, error) { return styled(t, small, 6, layout.Plate, PhoneCM), nil },
		"backdrop": func() (*image.NRGBA, error) {
			before := title
			before.Backdrop = plain(small.W, small.H, color.NRGBA{0xd0, 0xa0, 0x60, 255})
			return Title(small, before)
		},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := drawn()
			if err != nil {
				t.Fatal(err)
			}
			compare(t, got, filepath.Join("testdata", name+".png"))
		})
	}
}

// lastPage returns the last of several pages.
func lastPage(pages []*image.NRGBA, err error) (*image.NRGBA, error) {
	if err != nil {
		return nil, err
	}
	return pages[len(pages)-1], nil
}

// compare allows a mean difference of 0.25 code values and 0.1 % of pixels
// that differ by more than 24.
func compare(t *testing.T, got *image.NRGBA, path string) {
	t.Helper()
	if *update {
		store(t, got, path)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	decoded, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	want := image.NewNRGBA(decoded.Bounds())
	for y := range want.Rect.Dy() {
		for x := range want.Rect.Dx() {
			want.Set(x, y, decoded.At(x, y))
		}
	}
	if got.Rect != want.Rect {
		t.Fatalf("size %v, want %v", got.Rect.Size(), want.Rect.Size())
	}
	sum, far := 0, 0
	for i := 0; i < len(got.Pix); i += 4 {
		worst := 0
		for k := range 4 {
			// Colours count as they are seen, weighted by their alpha.
			d := int(got.Pix[i+k]) - int(want.Pix[i+k])
			if k < 3 {
				d = (int(got.Pix[i+k])*int(got.Pix[i+3]) - int(want.Pix[i+k])*int(want.Pix[i+3])) / 255
			}
			d = max(d, -d)
			sum += d
			worst = max(worst, d)
		}
		if worst > 24 {
			far++
		}
	}
	if mean := float64(sum) / float64(len(got.Pix)); mean > 0.25 || far*1000 > len(got.Pix)/4 {
		bad := filepath.Join(t.ArtifactDir(), filepath.Base(path))
		store(t, got, bad)
		t.Errorf("mean difference %.3f, %d pixels far off; what was drawn: %s (go test -artifacts keeps it)", mean, far,
			bad)
	}
}

func store(t *testing.T, m image.Image, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(f, m); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
