package assemble

import (
	"context"
	"image"

	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/mix/audio"
)

// ensembleMoment is where in a file the picture is taken that the blurred ensemble has of
// it, and ensembleHigh how many lines it has: it is blurred to fewer.
const (
	ensembleMoment = 0.5
	ensembleHigh   = 90
)

// groundOnEnsemble gives drawings the blurred ensemble as their ground, when the
// production asks for it: one picture of every take whose picture may be shown. One that
// cannot be read is left out; without any, the ground is the colour. The key of the
// ground names the stills, so a take that comes in changes it and with it every
// segment.
func groundOnEnsemble(ctx context.Context, p *Production, set *takes.Set, assets *picture.Assets) error {
	man := p.Manifest()
	if !man.Picture.Blurred {
		return nil
	}
	line, err := plan.NewTimeline(man)
	if err != nil {
		return err
	}
	maker := picture.New(p.Tool(), p.Store().Steady, &plan.Plan{Timeline: line}, nil, nil)
	var stills []task.Ref[image.Image]
	var edges []task.Edge
	for _, t := range set.Takes {
		if t.Video == nil || !t.Video.HasPicture() || !t.ShowsPicture() {
			continue
		}
		pic := t.Video.Picture(audio.Clock{}) // by the time of the file: it needs no place
		pic.Parts = nil
		if pic.W < 1 || pic.H < 1 || !(pic.Last > pic.First) {
			continue
		}
		n := line.Rate.Frame(pic.First + ensembleMoment*(pic.Last-pic.First))
		c := plan.Conform{Take: t.Name, Picture: *pic, H: ensembleHigh,
			W:      max(2, layout.NearEven(ensembleHigh*float64(pic.W)/float64(pic.H))),
			Frames: plan.Span{From: n, To: n + 1}}
		still, err := maker.Still(c, true)
		if err != nil {
			return err
		}
		stills, edges = append(stills, still), append(edges, still)
	}
	res, err := p.Run(ctx, task.Collect(edges...))
	if err != nil {
		return err
	}
	var pictures []image.Image
	var keys [][]byte
	for _, s := range stills {
		img, ok, err := s.Result(res)
		if err != nil {
			return err
		}
		if ok {
			pictures, keys = append(pictures, img), append(keys, []byte(s.Task().Action.ID().String()))
		}
	}
	assets.Blur(pictures, store.HashBytes(keys...))
	return nil
}
