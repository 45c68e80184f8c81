package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/assemble/plan"
	"ripieno/layout"
)

// Tone mapping of HDR takes. Light is counted in units of HDR reference white,
// 203 cd/m² (ITU-R BT.2408-4, table 1), which makes a white shirt in an HDR
// take land near that of the SDR take beside it. Below toneLinear nothing is
// changed; above, a Möbius curve brings what a display of 1000 cd/m² can show
// (the nominal peak of HLG, ITU-R BT.2100-2, table 5; also assumed for PQ,
// common practice, no source) to full white. No standard fixes the curve.
const (
	referenceWhite = 203
	nominalPeak    = 1000
	toneLinear     = 0.3
)

// draftReduction is from which reduction on a rough cut leaves out every other
// row before it scales. Leaving out copies nothing, and half of what is to be
// scaled takes half of the time; two rows and more are left for each that is
// shown, of which scaling makes the mean.
const draftReduction = 4

// toBT709 scales first, so that a size that changes inside the file cannot
// reach anything behind it and tone mapping works on few pixels. A picture
// that needs no other matrix is scaled by zscale, where there is one: the same
// in a third of the time. Frames are chosen before what is dear: of sixty a
// second half are not shown in most films. Choosing keeps a frame until the next
// one comes; a large one is out of the processor's caches then, which makes
// scaling so much slower that it must spare many.
func toBT709(s *ffmpeg.Stream, c plan.Conform, zscale bool, chosen choice) *ffmpeg.Stream {
	p := c.Picture
	switch {
	case p.HDR:
		s = toneMap(chosen.of(resize(s, c)), p)
	case zscale && (p.Primaries == "bt2020" || p.Primaries == "smpte432"):
		s = narrowGamut(chosen.of(resize(s, c)), p)
	case zscale && p.Matrix == "bt709" && (p.PixFmt == "yuv420p" || p.PixFmt == "yuvj420p"):
		in := "limited"
		if p.Range == "pc" || p.PixFmt == "yuvj420p" {
			in = "full"
		}
		kernel := "bicubic"
		if c.Draft {
			kernel = "bilinear"
		}
		// zscale spoils the first frame of another size, so all are brought to
		// the file's own, which costs nothing for those that have it. Pixels that
		// are not square can make an odd width of that, which 4:2:0 cannot be
		// padded to.
		s = resize(s, plan.Conform{W: layout.CeilEven(p.W), H: layout.CeilEven(p.H)})
		if chosen.few {
			s = chosen.of(s)
		}
		if c.Draft && p.H%4 == 0 && p.H >= draftReduction*c.H {
			s = filter(s, "field", "type=top")
		}
		s = filter(s, "zscale", fmt.Sprintf("w=%d", c.W), fmt.Sprintf("h=%d", c.H), "filter="+kernel,
			"matrixin=bt709", "matrix=bt709", "rangein="+in, "range=limited")
		if !chosen.few {
			s = chosen.of(s)
		}
	default:
		colour := []string{"out_color_matrix=bt709", "out_range=tv"}
		if m := scaleNames[p.Matrix]; m != "" {
			colour = append(colour, "in_color_matrix="+m)
		} else if m := p.Matrix; m != "" {
			colour = append(colour, "in_color_matrix="+m)
		}
		if p.Range == "tv" || p.Range == "pc" {
			colour = append(colour, "in_range="+p.Range)
		}
		s = chosen.of(resize(s, c, colour...))
	}
	s = filter(turn(filter(s, "setsar", "sar=1"), p), "format", "pix_fmts=yuv420p")
	if p.Gain != ([3]float64{}) {
		s = applyGain(s, p.Gain)
	}
	return s
}

// resize scales every frame to c's size. Sizes are rounded to even pixels, so a
// shape within a twentieth of c's is c's; a picture that takes another shape
// inside the file, as when a phone is turned in a call, is shown whole in the
// middle of black, not stretched.
func resize(s *ffmpeg.Stream, c plan.Conform, more ...string) *ffmpeg.Stream {
	return resizeAs(s, "dar", c.W, c.H, more...)
}

// resizeAs is resize with the name that ffmpeg has for a frame's shape: as it is
// seen (dar), or counted in pixels (a).
func resizeAs(s *ffmpeg.Stream, shape string, w, h int, more ...string) *ffmpeg.Stream {
	same := fmt.Sprintf(`lt(abs(%s*%d/%d-1)\,0.05)`, shape, h, w)
	size := []string{
		fmt.Sprintf(`w=if(%s\,%d\,2*floor(min(%d\,%d*%s)/2))`, same, w, w, h, shape),
		fmt.Sprintf(`h=if(%s\,%d\,2*floor(min(%d\,%d/%s)/2))`, same, h, h, w, shape),
		"eval=frame", "flags=bicubic+accurate_rnd",
	}
	s = filter(s, "scale", append(size, more...)...)
	return filter(s, "pad", fmt.Sprintf("w=%d", w), fmt.Sprintf("h=%d", h), "x=-1", "y=-1", "eval=frame")
}

// applyGain multiplies the channels of the signal, which is a gain of linear
// light on a display with a power law.
func applyGain(s *ffmpeg.Stream, by [3]float64) *ffmpeg.Stream {
	s = filter(s, "scale", "in_color_matrix=bt709", "in_range=tv", "out_range=pc",
		"flags=bicubic+accurate_rnd+full_chroma_int")
	s = filter(s, "format", "pix_fmts=gbrp")
	channel := func(name string, k float64) string { return fmt.Sprintf("%s=min(val*%.5f\\,255)", name, k) }
	s = filter(s, "lutrgb", channel("r", by[0]), channel("g", by[1]), channel("b", by[2]))
	s = filter(s, "scale", "out_color_matrix=bt709", "out_range=tv", "flags=bicubic+accurate_rnd+full_chroma_int")
	return filter(s, "format", "pix_fmts=yuv420p")
}

// sampleFrames is how many key frames Light looks at, which phones write about
// one a second.
const sampleFrames = 60

// Light writes key frames of a take, small and as conforming would show them, as bytes
// of red, green and blue. c's frames and gain do not matter. It fails only by a bug in
// the graph.
func Light(c plan.Conform, src Source, dst string) (Command, error) {
	c.Picture.Gain = [3]float64{}
	return build(1, func() *ffmpeg.Stream {
		in := rawInput()
		in["skip_frame"] = "nokey"
		all := choice{of: func(s *ffmpeg.Stream) *ffmpeg.Stream { return s }}
		s := upright(src.input(in), c, src.Zscale, all)
		s = filter(s, "scale", "in_color_matrix=bt709", "in_range=tv", "out_range=pc",
			"flags=area+accurate_rnd+full_chroma_int")
		s = filter(s, "format", "pix_fmts=rgb24")
		return ffmpeg.Output([]*ffmpeg.Stream{s}, dst, ffmpeg.KwArgs{"frames:v": strconv.Itoa(sampleFrames),
			"fps_mode": "passthrough", "f": "rawvideo", "threads": "1"})
	})
}

// toneMap brings HLG and PQ to BT.709. What the file does not tag is what
// such files are: BT.2020 with its own matrix, limited range (ITU-R BT.2100-2).
func toneMap(s *ffmpeg.Stream, p plan.Picture) *ffmpeg.Stream {
	more := []string{fmt.Sprintf("npl=%d", referenceWhite)}
	if p.Transfer == "arib-std-b67" {
		// HLG's display light depends on the luminance of all three (ITU-R
		// BT.2100-2, table 5); approximated, each goes by itself, and a pure
		// blue comes out nearly twice as bright.
		more = append(more, "agamma=0")
	}
	s = linear(s, tags(p, "bt2020", "bt2020nc"), more...)
	s = filter(s, "tonemap", "tonemap=mobius", "param="+number(toneLinear), "desat=0",
		"peak="+strconv.FormatFloat(float64(nominalPeak)/referenceWhite, 'f', 4, 64))
	return clip(s)
}

// narrowGamut brings wide primaries with an ordinary transfer function to BT.709.
func narrowGamut(s *ffmpeg.Stream, p plan.Picture) *ffmpeg.Stream {
	if p.Transfer == "" {
		p.Transfer = "bt709"
	}
	matrix := "bt2020nc"
	if p.Primaries == "smpte432" {
		matrix = "bt709"
	}
	return clip(linear(s, tags(p, p.Primaries, matrix)))
}

// linear returns a picture as linear light in BT.709 primaries.
func linear(s *ffmpeg.Stream, in []string, more ...string) *ffmpeg.Stream {
	args := append(in, "transfer=linear", "primaries=bt709", "matrix=gbr")
	return filter(filter(s, "zscale", append(args, more...)...), "format", "pix_fmts=gbrpf32le")
}

// clip ends a computation in linear light: the signal that a BT.709 display
// shows as that light (ITU-R BT.1886, which is what zscale does), in whole
// numbers. Colours outside BT.709 are negative here and would become
// code values outside the limited range; as whole numbers they are clipped.
func clip(s *ffmpeg.Stream) *ffmpeg.Stream {
	s = filter(s, "zscale", "transfer=bt709")
	s = filter(s, "format", "pix_fmts=gbrp16le")
	return filter(s, "scale", "out_color_matrix=bt709", "out_range=tv", "flags=bicubic+accurate_rnd+full_chroma_int")
}

// scaleNames are the words of the filter scale where they differ from the probe's.
// Pictures in BT.2020 reach it only where there is no zscale: their matrix is right
// then, and their colours are a little dull, since primaries stay as they are.
var scaleNames = map[string]string{"bt2020nc": "bt2020", "bt2020_ncl": "bt2020", "bt2020c": "bt2020",
	"bt2020_cl": "bt2020"}

// zimgNames are zscale's words where they differ from the probe's.
var zimgNames = map[string]string{"bt2020_ncl": "bt2020nc", "bt2020_cl": "bt2020c", "pc": "full", "tv": "limited"}

// tags tells zscale what a picture is, with words for what the file leaves
// out: zscale refuses a conversion from anything unknown. Only words known
// here reach the graph.
func tags(p plan.Picture, primaries, matrix string) []string {
	word := func(tag, otherwise string) string {
		if w, ok := zimgNames[tag]; ok {
			tag = w
		}
		switch tag {
		case "bt709", "bt2020", "bt2020nc", "bt2020c", "smpte432", "arib-std-b67", "smpte2084", "smpte170m", "bt470bg",
			"bt2020-10", "bt2020-12", "iec61966-2-1", "full", "limited":
			return tag
		}
		return otherwise
	}
	return []string{
		"matrixin=" + word(p.Matrix, matrix), "primariesin=" + word(p.Primaries, primaries),
		"transferin=" + word(p.Transfer, "bt709"), "rangein=" + word(p.Range, "limited"),
	}
}
