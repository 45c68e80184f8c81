package survey

import (
	"bytes"
	"image/jpeg"

	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/takes"
	"ripieno/layout"
	"ripieno/mix/audio"
)

// frameMoment is where in the music the frame of a take is taken: players are
// in the middle of something by then.
const frameMoment = 0.4

// Thumbnails are thumbHigh pixels high and at most thumbWide wide, and have
// thumbBytes at most: two hundred of them make a page of less than two
// megabytes.
const (
	thumbHigh  = 126
	thumbWide  = 224
	thumbBytes = 6000
)

// frames says which frame of each take the page shows; takes without picture
// are not in the result. A picture whose place is not known is shown at the
// same share of the file.
func frames(set *takes.Set, man *production.Production, line plan.Timeline) map[string]plan.Conform {
	out := map[string]plan.Conform{}
	for _, r := range set.Recordings() {
		if !r.HasPicture() {
			continue
		}
		pic := r.Picture(audio.Clock{Offset: r.Place.Offset})
		if pic.W < 1 || pic.H < 1 || !(pic.Last > pic.First) {
			continue
		}
		at := man.Tempo.Start() + frameMoment*(man.Tempo.End()-man.Tempo.Start())
		if !r.Usable() {
			pic.Clock, pic.Parts = audio.Clock{}, nil
			at = pic.First + frameMoment*(pic.Last-pic.First)
		}
		// Inside the file, and not at its very end, where no frame may follow any more.
		at = min(max(at, pic.Guide(pic.First)), pic.Guide(pic.Last)-0.2)
		n := line.Rate.Frame(at)
		w, h := thumbSize(pic.W, pic.H)
		out[r.Owner] = plan.Conform{Take: r.Owner, Picture: *pic, W: w, H: h, Frames: plan.Span{From: n, To: n + 1}}
	}
	return out
}

// thumbSize fits a picture into that of a thumbnail; even, as ffmpeg wants it.
func thumbSize(w, h int) (int, int) {
	scale := min(thumbWide/float64(w), thumbHigh/float64(h))
	return max(2, layout.NearEven(float64(w)*scale)), max(2, layout.NearEven(float64(h)*scale))
}

// thumbnail puts a take's frame into the page. A frame that could not be read
// is left out: check says what is wrong.
func (s *Survey) thumbnail(t *report.Reviewed, x still) error {
	img, ok, err := x.made.Result(s.res)
	if err != nil || !ok {
		return err
	}
	for _, quality := range []int{78, 68, 58, 46, 34, 20, 8} {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
			return err
		}
		if b.Len() <= thumbBytes {
			t.Picture, t.W, t.H = b.Bytes(), x.W, x.H
			return nil
		}
	}
	return nil // a picture of pure noise, which shows nothing anyway
}
