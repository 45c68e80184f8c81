package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/assemble/plan"
	"ripieno/layout"
)

// stack puts every piece in its place on the canvas. Between and around them
// is black, which the overlay covers.
func stack(pieces []Piece, g Segment, backdrop backdropper) *ffmpeg.Stream {
	return stackIn(layout.Rect{W: g.Canvas.W, H: g.Canvas.H}, pieces, g, backdrop)
}

// stackIn is stack for a part of the canvas.
func stackIn(part layout.Rect, pieces []Piece, g Segment, backdrop backdropper) *ffmpeg.Stream {
	var tiles []*ffmpeg.Stream
	var places []string
	minX, minY := g.Canvas.W, g.Canvas.H
	for _, p := range pieces {
		minX, minY = min(minX, p.Hole.X), min(minY, p.Hole.Y)
	}
	for _, p := range pieces {
		tiles = append(tiles, piece(p, g, backdrop))
		places = append(places, fmt.Sprintf("%d_%d", p.Hole.X-minX, p.Hole.Y-minY))
	}
	s := tiles[0]
	if len(tiles) > 1 {
		s = ffmpeg.Filter(tiles, "xstack", ffmpeg.Args{
			"inputs=" + strconv.Itoa(len(tiles)), "layout=" + join(places), "fill=black",
		})
	}
	return filter(s, "pad", fmt.Sprintf("w=%d", part.W), fmt.Sprintf("h=%d", part.H),
		fmt.Sprintf("x=%d", minX-part.X), fmt.Sprintf("y=%d", minY-part.Y), "color=black")
}

// backdropper gives so many frames of background in the size of a piece.
type backdropper func(p Piece, frames int) *ffmpeg.Stream

// backdrops hands out one copy of the background for each gap.
func backdrops(g Segment) backdropper {
	var next func() *ffmpeg.Stream
	switch gaps := g.gaps(); gaps {
	case 0:
	case 1:
		next = func() *ffmpeg.Stream { return picture(g.Backdrop, "yuv420p") }
	default:
		split, k := picture(g.Backdrop, "yuv420p").Split(), 0
		next = func() *ffmpeg.Stream {
			k++
			// ffmpeg-go tells streams apart by a sum of hashes in which what differs at the
			// end of a word hardly counts: with the number alone, copies for tiles of 88 and
			// 86 rows were taken for one, by a path that differs from run to run.
			return split.Get(strconv.Itoa(k) + "-th copy, for a gap")
		}
	}
	return func(p Piece, frames int) *ffmpeg.Stream {
		h := p.Hole
		s := next()
		if g.Scenery {
			s = filter(s, "crop", strconv.Itoa(h.W), strconv.Itoa(h.H), strconv.Itoa(h.X), strconv.Itoa(h.Y))
		} else {
			s = filter(s, "scale", strconv.Itoa(h.W), strconv.Itoa(h.H))
		}
		return still(filter(s, "setsar", "sar=1"), frames)
	}
}

// piece returns one mezzanine, opened at its frame, cut, scaled and filled up in
// time to the whole segment. Seeking half a frame early lands on the frame
// itself whatever the rounding of its time.
func piece(p Piece, g Segment, backdrop backdropper) *ffmpeg.Stream {
	in := g.input()
	if p.Skip > 0 {
		in["ss"] = number((float64(p.Skip) - 0.5) * float64(g.Rate.Den) / float64(g.Rate.Num))
	}
	first := p.Count
	for _, m := range p.More {
		first -= m.Count
	}
	s := filter(ffmpeg.Input(p.Path, in), "trim", "end_frame="+strconv.Itoa(first))
	if len(p.More) > 0 {
		s = goOn(s, p.More, g)
	}
	if p.Crop != (layout.Rect{W: p.W, H: p.H}) {
		s = filter(s, "crop", strconv.Itoa(p.Crop.W), strconv.Itoa(p.Crop.H), strconv.Itoa(p.Crop.X),
			strconv.Itoa(p.Crop.Y))
	}
	switch {
	case p.Inner != (layout.Rect{}):
		s = beforeItself(s, p)
	case p.Crop.W != p.Hole.W || p.Crop.H != p.Hole.H:
		s = g.scale(s, p.Hole.W, p.Hole.H)
	}
	s = p.Push.apply(filter(filter(s, "setsar", "sar=1"), "format", "pix_fmts=yuv420p"))
	parts := []*ffmpeg.Stream{}
	if p.Start > 0 {
		parts = append(parts, backdrop(p, p.Start))
	}
	parts = append(parts, setPace(s, g.Rate))
	if after := g.Frames - p.Start - p.Count; after > 0 {
		parts = append(parts, backdrop(p, after))
	}
	if len(parts) == 1 {
		return parts[0]
	}
	all := ffmpeg.Filter(parts, "concat", ffmpeg.Args{"n=" + strconv.Itoa(len(parts)), "v=1", "a=0"})
	return setPace(all, g.Rate)
}

// input returns the options of reading a mezzanine.
func (g Segment) input() ffmpeg.KwArgs {
	// ffmpeg 5.1 leaves the original's mark of rotation in a kept picture, which
	// is upright.
	in := ffmpeg.KwArgs{"threads": "1", "noautorotate": ""}
	if g.Queues {
		in["thread_queue_size"] = "0"
	}
	return in
}

// goOn lets the mezzanines of more follow s.
func goOn(s *ffmpeg.Stream, more []Continued, g Segment) *ffmpeg.Stream {
	all := []*ffmpeg.Stream{setPace(s, g.Rate)}
	for _, m := range more {
		s := ffmpeg.Input(m.Path, g.input())
		all = append(all, setPace(filter(s, "trim", "end_frame="+strconv.Itoa(m.Count)), g.Rate))
	}
	return ffmpeg.Filter(all, "concat", ffmpeg.Args{"n=" + strconv.Itoa(len(all)), "v=1", "a=0"})
}

// scale brings a mezzanine, which is BT.709 and always of one size, to another.
func (g Segment) scale(s *ffmpeg.Stream, w, h int) *ffmpeg.Stream {
	if g.Zscale {
		return filter(s, "zscale", fmt.Sprintf("w=%d", w), fmt.Sprintf("h=%d", h), "filter=bicubic")
	}
	return filter(s, "scale", strconv.Itoa(w), strconv.Itoa(h), "flags=bicubic+accurate_rnd")
}

// beforeItself fits a picture into its hole and fills the rest with the same
// picture, cut to the hole, blurred and darkened. The blur is made on few
// pixels and costs little.
func beforeItself(s *ffmpeg.Stream, p Piece) *ffmpeg.Stream {
	two := s.Split()
	hole, inner := p.Hole, p.Inner
	scale := func(s *ffmpeg.Stream, w, h int) *ffmpeg.Stream {
		return filter(filter(s, "scale", strconv.Itoa(w), strconv.Itoa(h), "flags=bicubic+accurate_rnd"), "setsar",
			"sar=1")
	}
	// The largest even window of the hole's shape.
	w, h := p.Crop.W, p.Crop.W*hole.H/hole.W
	if h > p.Crop.H {
		w, h = p.Crop.H*hole.W/hole.H, p.Crop.H
	}
	back := filter(two.Get("1"), "crop", strconv.Itoa(max(2, layout.FloorEven(w))),
		strconv.Itoa(max(2, layout.FloorEven(h))))
	back = scale(back, max(16, layout.FloorEven(hole.W/8)), max(16, layout.FloorEven(hole.H/8)))
	// Two means of seven pixels are nearly a Gaussian of 2.8. The filter of that name
	// spoils the colours of narrow pictures when it has one thread (5.1.9).
	back = filter(back, "boxblur", "lr=3", "lp=2", "cr=3", "cp=2")
	back = filter(scale(back, hole.W, hole.H), "lutyuv", "y=16+(val-16)*0.6")
	front := scale(two.Get("0"), inner.W, inner.H)
	return ffmpeg.Filter([]*ffmpeg.Stream{back, front}, "overlay", ffmpeg.Args{
		fmt.Sprintf("x=%d", inner.X-hole.X), fmt.Sprintf("y=%d", inner.Y-hole.Y), "format=yuv420"})
}

// rough is the encoder of rough cuts: H.264 High, for looking at once. Beside
// the veryfast preset at 26 this takes 2.4 times the bits and a third of the
// time, and looks no worse. 8x8dct makes it High, which the check of a film
// asks for.
var rough = Encoder{Name: "libx264", Codec: plan.H264, args: ffmpeg.KwArgs{
	"profile:v": "high", "preset": "ultrafast", "crf": "30", "x264-params": "open-gop=0:8x8dct=1"}}
