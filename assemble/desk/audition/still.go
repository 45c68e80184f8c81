package audition

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"math"

	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// A strip is a row of stills round a moment: so many, so far apart, so high.
const (
	stripStills = 5
	stripStep   = 2 // frames of stripRate
	stripHigh   = 112
	stripWide   = 200
)

// stripRate is how finely stills are told apart, whatever the film's rate.
var stripRate = shot.Rate{Num: 30, Den: 1}

// NoPicture is the error for a take of which there are no stills.
type NoPicture struct{ Take string }

// Error names the take, since a page asks for the stills of many at once.
func (e NoPicture) Error() string { return fmt.Sprintf("there is no picture of take %q", e.Take) }

// Strip returns a JPEG of stills of a take round a time of its picture's file: the
// moment itself is in the middle. Stills are kept in the store. It fails with
// [NoPicture] where the take has none that can be read.
func (p *Placing) Strip(ctx context.Context, x *session.Session, take string, at float64) ([]byte, error) {
	r := p.files[take]
	if r == nil {
		return nil, NoPicture{take}
	}
	pic := *r.Picture(audio.Clock{})
	pic.Parts, pic.Gain = nil, [3]float64{}
	if pic.W < 1 || pic.H < 1 || !(pic.Last > pic.First) {
		return nil, NoPicture{take}
	}
	scale := min(stripWide/float64(pic.W), stripHigh/float64(pic.H))
	w, h := max(2, layout.NearEven(float64(pic.W)*scale)), max(2, layout.NearEven(float64(pic.H)*scale))
	maker := picture.New(x.Tool(), x.Store().Steady, &plan.Plan{Timeline: plan.Timeline{Rate: stripRate}}, nil, nil)
	var made []task.Ref[image.Image]
	var edges []task.Edge
	for i := range stripStills {
		t := at + float64((i-stripStills/2)*stripStep)/stripRate.FPS()
		n := stripRate.Frame(math.Min(math.Max(t, pic.First), pic.Last-2/stripRate.FPS()))
		still, err := maker.Still(plan.Conform{Take: take, Picture: pic, W: w, H: h,
			Frames: plan.Span{From: n, To: n + 1}}, true)
		if err != nil {
			return nil, err
		}
		made, edges = append(made, still), append(edges, still)
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	row := image.NewRGBA(image.Rect(0, 0, w*stripStills, h))
	found := false
	for i, m := range made {
		img, ok, err := m.Result(res)
		if err != nil || !ok {
			continue // a frame that cannot be read leaves a hole
		}
		found = true
		draw.Draw(row, image.Rect(i*w, 0, (i+1)*w, h), img, img.Bounds().Min, draw.Src)
	}
	if !found {
		return nil, NoPicture{take}
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, row, &jpeg.Options{Quality: 80})
	return out.Bytes(), err
}
