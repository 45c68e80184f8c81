package assemble

import (
	"fmt"
	"image"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/media"
)

// hue is one of several colours that are told apart after encoding.
func hue(i, n int) [3]float64 {
	at := func(shift float64) float64 {
		return 128 + 120*math.Cos(2*math.Pi*(float64(i)/float64(n)+shift))
	}
	return [3]float64{at(0), at(-1. / 3), at(1. / 3)}
}

// boxes finds where each of n hues is in a picture: the bounding box of the pixels
// that have it, and not of a mixture of two beside each other.
func boxes(m image.Image, in image.Rectangle, n int) []image.Rectangle {
	found, hues := make([]image.Rectangle, n), make([][3]float64, n)
	for i := range hues {
		hues[i] = hue(i, n)
	}
	limit := 120 * 2 * math.Sin(math.Pi/float64(n)) * 0.28
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			red, green, blue, _ := m.At(x, y).RGBA()
			for i, h := range hues {
				r, g, b := float64(red>>8)-h[0], float64(green>>8)-h[1], float64(blue>>8)-h[2]
				if r*r+g*g+b*b < limit*limit {
					found[i] = found[i].Union(image.Rect(x, y, x+1, y+1))
				}
			}
		}
	}
	return found
}

// sameBox reports whether two boxes are the same to some pixels.
func sameBox(a, b image.Rectangle, slack int) bool {
	for _, d := range []int{a.Min.X - b.Min.X, a.Min.Y - b.Min.Y, a.Max.X - b.Max.X, a.Max.Y - b.Max.Y} {
		if max(d, -d) > slack {
			return false
		}
	}
	return true
}

// TestPlanSheetAndFilmAreOne renders takes of one colour each and finds every tile
// where `grid --json` says, in a frame of the film and, in proportion, on the
// storyboard: for tiles of any shape on a wide, an upright and an old canvas, and of one.
func TestPlanSheetAndFilmAreOne(t *testing.T) {
	t.Parallel()
	const n = 8 // as many as fill every canvas without bars
	s := newShort(t)
	var takes strings.Builder
	var inputs, outputs []string
	for i := range n {
		h := hue(i, n)
		inputs = append(inputs, "-f", "lavfi", "-i",
			fmt.Sprintf("color=0x%02x%02x%02x:s=64x36:r=24:d=2.5,format=rgb24", byte(h[0]), byte(h[1]), byte(h[2])))
		outputs = append(outputs, "-map", fmt.Sprint(i), "-vf", "scale=out_color_matrix=bt709:out_range=tv")
		outputs = append(outputs, strings.Fields("-pix_fmt yuv420p -c:v libx264 -preset ultrafast -qp 4 -threads 1 "+
			"-colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv -y")...)
		outputs = append(outputs, s.file(fmt.Sprint(i, ".mp4")))
		fmt.Fprintf(&takes, "  - {name: t%d, video: {file: intake/%d.mp4, offset: 0.5}}\n", i, i)
	}
	run(t, s.tool, command(nil, append(inputs, outputs...)...))
	for _, c := range []struct {
		picture string
		w, h    int
	}{{"aspect: auto", 960, 540}, {"aspect: auto", 406, 720}, {"aspect: auto", 640, 480}, {"aspect: 16:9", 640, 360}} {
		t.Run(fmt.Sprint(c.picture, c.w, "x", c.h), func(t *testing.T) {
			p := s.open(t, takes.String(), c.picture, c.w, c.h)
			defer p.Close()
			r, err := p.Sheet(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			film, err := p.Render(t.Context(), RenderOptions{})
			if err != nil || len(film.Faults) > 0 {
				t.Fatal(err, film.Faults)
			}
			f := decodeColour(t, s.tool, film.Output, c.w, c.h)
			frame := image.NewYCbCr(image.Rect(0, 0, c.w, c.h), image.YCbCrSubsampleRatio420)
			seen := boxes(fromBT709(frame, f.frames[12]), frame.Rect, n)
			page, err := media.ReadPNG(r.Sheet)
			if err != nil {
				t.Fatal(err)
			}
			on := boxes(page, page.Bounds(), n)
			var all, drawn image.Rectangle
			for i := range n {
				all, drawn = all.Union(seen[i]), drawn.Union(on[i])
			}
			across, down := float64(drawn.Dx())/float64(all.Dx()), float64(drawn.Dy())/float64(all.Dy())
			if math.Abs(across/down-1) > 0.01 {
				t.Errorf("the storyboard is drawn %.3f times as wide as high", across/down)
			}
			for i, tile := range r.Shots[0].Tiles {
				want := image.Rect(tile.X, tile.Y, tile.X+tile.W, tile.Y+tile.H)
				if !sameBox(seen[i], want, 2) {
					t.Errorf("%s is at %v of the film, planned at %v", tile.Take, seen[i], want)
				}
				x := func(a int) int { return drawn.Min.X + int(math.Round(float64(a-all.Min.X)*across)) }
				y := func(a int) int { return drawn.Min.Y + int(math.Round(float64(a-all.Min.Y)*down)) }
				onPage := image.Rect(x(want.Min.X), y(want.Min.Y), x(want.Max.X), y(want.Max.Y))
				if !sameBox(on[i], onPage, 2) {
					t.Errorf("%s is at %v of the storyboard, expected at %v", tile.Take, on[i], onPage)
				}
			}
		})
	}
}

// fromBT709 turns a frame of limited range into red, green and blue by ITU-R
// BT.709's matrix (item 3.3).
func fromBT709(size *image.YCbCr, frame []byte) image.Image {
	w, h := size.Rect.Dx(), size.Rect.Dy()
	out := image.NewNRGBA(size.Rect)
	for y := range h {
		for x := range w {
			c := w*h + y/2*(w/2) + x/2
			Y := (float64(frame[y*w+x]) - 16) * 255 / 219
			cb, cr := (float64(frame[c])-128)*255/224, (float64(frame[c+w*h/4])-128)*255/224
			for k, v := range []float64{Y + 1.5748*cr, Y - 0.1873*cb - 0.4681*cr, Y + 1.8556*cb, 255} {
				out.Pix[4*(y*w+x)+k] = byte(min(max(v, 0), 255))
			}
		}
	}
	return out
}
