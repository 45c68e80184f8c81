package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"
)

// Compose stacks the pieces, lays the overlay with its frames and labels over them and
// encodes a closed run of frames that joins to others of the same coding without
// re-encoding. A rough cut has a coding of its own. It fails for an encoder without
// settings, and by a bug in the graph.
func Compose(g Segment, c Coding, dst string) (Command, error) {
	enc, err := c.of()
	if err != nil {
		return Command{}, err
	}
	if g.Rough {
		enc = rough
	}
	inputs := len(g.overlays())
	for _, p := range g.pieces() {
		inputs += 1 + len(p.More)
	}
	if g.gaps() > 0 {
		inputs++
	}
	if g.Marks.Path != "" {
		inputs++
	}
	if g.Names.Frames > 0 {
		inputs++
	}
	return build(inputs, func() *ffmpeg.Stream {
		backdrop := backdrops(g)
		s := scene(g.Scene, g, backdrop)
		if g.Into != nil {
			s = into(s, g, backdrop)
		}
		s = layNames(s, g)
		s = fade(s, g)
		s = layMarks(s, g.Marks, g.Rate)
		s = filter(s, "format", "pix_fmts=yuv420p")
		if g.Copy.Path == "" {
			return enc.output(s, g.Canvas, g.Rate, g.Frames, dst)
		}
		two := s.Split()
		return ffmpeg.MergeOutputs(
			enc.output(two.Get("0"), g.Canvas, g.Rate, g.Frames, dst),
			ffmpeg.Output([]*ffmpeg.Stream{g.Copy.of(two.Get("1"))}, g.Copy.Path, ffmpeg.KwArgs{
				"c:v": "rawvideo", "f": "rawvideo", "fps_mode": "passthrough", "frames:v": strconv.Itoa(g.Frames),
			}))
	})
}

// of makes the small copy of a picture.
func (c Copy) of(s *ffmpeg.Stream) *ffmpeg.Stream {
	s = filter(s, "scale", fmt.Sprintf("w=%d", c.W), fmt.Sprintf("h=%d", c.H), "flags=area", "in_color_matrix=bt709",
		"in_range=tv", "out_range=pc")
	return filter(s, "format", "pix_fmts=rgb24")
}

// scene returns the picture of a shot.
func scene(sc Scene, g Segment, backdrop backdropper) *ffmpeg.Stream {
	s := picture(sc.Overlay, "yuva420p")
	if len(sc.Pieces) == 0 {
		return layRoll(sc.Push.apply(setPace(still(s, g.Frames), g.Rate)), sc.Roll, g)
	}
	return ffmpeg.Filter([]*ffmpeg.Stream{stack(sc.Pieces, g, backdrop), s}, "overlay", ffmpeg.Args{"format=yuv420"})
}

// layRoll lays the moving picture over s. Both have full colour until they are
// one: letters that move by an odd number of rows would flicker in colour.
func layRoll(s *ffmpeg.Stream, r Roll, g Segment) *ffmpeg.Stream {
	if r.Path == "" {
		return s
	}
	roll := setPace(filter(still(picture(r.Path, "yuva444p"), g.Frames), "settb", "AVTB"), g.Rate)
	roll = filter(roll, "crop", strconv.Itoa(g.Canvas.W), strconv.Itoa(g.Canvas.H), "0", fmt.Sprintf("n*%d", r.Step),
		"exact=1")
	s = setPace(filter(filter(s, "format", "pix_fmts=yuv444p"), "settb", "AVTB"), g.Rate)
	return ffmpeg.Filter([]*ffmpeg.Stream{s, roll}, "overlay", ffmpeg.Args{"format=yuv444"})
}

// layNames lays the names over the picture.
func layNames(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	n := g.Names
	if n.Frames == 0 {
		return s
	}
	way := "in"
	if n.Out {
		way = "out"
	}
	// The filter counts frames from its first, whose weight is 0 or 1.
	skip := n.At + 1
	names := still(picture(n.Path, "yuva420p"), skip+g.Frames)
	names = filter(names, "fade", "t="+way, "start_frame=0", "nb_frames="+strconv.Itoa(n.Frames+1), "alpha=1")
	names = filter(names, "trim", "start_frame="+strconv.Itoa(skip))
	// Pictures come in twenty-fifths of a second, in which two frames can have
	// one time.
	names = setPace(filter(names, "settb", "AVTB"), g.Rate)
	s = setPace(filter(filter(s, "format", "pix_fmts=yuv420p"), "settb", "AVTB"), g.Rate)
	return ffmpeg.Filter([]*ffmpeg.Stream{s, names}, "overlay", ffmpeg.Args{"format=yuv420"})
}
