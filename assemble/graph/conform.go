package graph

import (
	"fmt"
	"math"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// seekMargin is how long before the first frame wanted a file is opened of whose
// key frames nothing is known, in seconds: the frame shown there may have begun
// that much earlier, and reading may begin late.
const seekMargin = 3

// mezzanineCodec holds the encoder settings of a conformed picture: every
// frame by itself, so that any frame can be opened at its own cost, and
// nothing that makes decoding slow. A fixed quantizer spares the encoder a look
// at every frame beforehand. ../picture/README.md has what others cost.
var mezzanineCodec = ffmpeg.KwArgs{
	"c:v": "libx264", "preset": "ultrafast", "tune": "fastdecode", "g": "1", "qp": "22",
}

// Conform brings a take's picture upright to c.W × c.H in BT.709 on the guide frames
// c.Frames of rate. Source frame times go through the take's clock and every output
// frame shows the source frame nearest to it. It fails only by a bug in the graph, such
// as an input that was lost.
func Conform(c plan.Conform, src Source, rate shot.Rate, dst string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		return mezzanine(tagged(conformPicture(c, src, rate)), c.Frames.Len(), rate, dst)
	})
}

// ConformAll does what [Conform] does for pieces of one picture that follow each other
// without a gap, in one process that decodes each frame once. src is opened for the
// first. Every piece becomes the bytes that Conform makes of it. It fails as Conform does.
func ConformAll(pieces []plan.Conform, src Source, rate shot.Rate, dst []string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		all, first := pieces[0], pieces[0].Frames.From
		all.Frames.To = pieces[len(pieces)-1].Frames.To
		s := tagged(conformPicture(all, src, rate)).Split()
		// What ffmpeg tells of its progress is of its first output.
		outputs := []*ffmpeg.Stream{ffmpeg.Output([]*ffmpeg.Stream{s.Get("0")}, "-", ffmpeg.KwArgs{
			"frames:v": strconv.Itoa(all.Frames.Len()), "c:v": "wrapped_avframe", "f": "null"})}
		for i, c := range pieces {
			piece := filter(s.Get(strconv.Itoa(i+1)), "trim", fmt.Sprintf("start_frame=%d", c.Frames.From-first),
				fmt.Sprintf("end_frame=%d", c.Frames.To-first))
			piece = filter(piece, "setpts", "PTS-STARTPTS")
			outputs = append(outputs, mezzanine(piece, c.Frames.Len(), rate, dst[i]))
		}
		return ffmpeg.MergeOutputs(outputs...)
	})
}

// mezzanine encodes a conformed picture of so many frames.
func mezzanine(s *ffmpeg.Stream, frames int, rate shot.Rate, dst string) *ffmpeg.Stream {
	out := bt709(plain(ffmpeg.KwArgs{
		"frames:v": strconv.Itoa(frames), "f": "mp4", "threads": "1", "filter_complex_threads": "1",
		"video_track_timescale": timescale(rate), "profile:v": "high",
	}))
	for k, v := range mezzanineCodec {
		out[k] = v
	}
	return ffmpeg.Output([]*ffmpeg.Stream{s}, dst, out)
}

// conformPicture returns the picture of c, before it is encoded.
func conformPicture(c plan.Conform, src Source, rate shot.Rate) *ffmpeg.Stream {
	in := rawInput()
	// Whole seconds are whole numbers of ticks in every file; ffmpeg takes the
	// time off rounded to those.
	seek := max(0, math.Floor(c.Picture.File(rate.Seconds(c.Frames.From))-seekMargin))
	if src.Indexed {
		seek = src.Open
	}
	if seek > 0 {
		in["ss"] = number(seek)
		// Frames before that time are not thrown away: the last of them may be
		// the one that is shown first.
		in["noaccurate_seek"] = ""
	}
	if src.Threads > 0 {
		in["threads"] = strconv.Itoa(src.Threads)
	}
	if c.Draft {
		in["skip_loop_filter"] = "all"
	}
	if c.Keys {
		in["skip_frame"] = "nokey"
	}
	if src.Device != "" {
		in["hwaccel"] = src.Device
	}
	s := src.input(in)
	if src.Device != "" {
		// Devices give colour's two samples side by side; decoders give them apart.
		s = filter(s, "format", "pix_fmts="+c.Picture.PixFmt)
	}
	return upright(s, c, src.Zscale, choice{
		few: c.Picture.FPS >= 1.5*rate.FPS(),
		of:  func(s *ffmpeg.Stream) *ffmpeg.Stream { return onGuide(s, c, rate, seek) },
	})
}

// Still writes the first frame of c alone as a picture in sRGB's encoding of BT.709
// values, as a player shows it. It fails as [Conform] does.
func Still(c plan.Conform, src Source, rate shot.Rate, dst string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		s := conformPicture(c, src, rate)
		s = filter(s, "scale", "in_color_matrix=bt709", "in_range=tv", "out_range=pc",
			"flags=bicubic+accurate_rnd+full_chroma_int")
		s = filter(s, "format", "pix_fmts=rgb24")
		return ffmpeg.Output([]*ffmpeg.Stream{s}, dst, ffmpeg.KwArgs{"frames:v": "1", "c:v": "png", "f": "image2",
			"update": "1", "threads": "1"})
	})
}

// choice leaves those frames of a picture that are wanted.
type choice struct {
	few bool // at least a third of the frames is not
	of  func(*ffmpeg.Stream) *ffmpeg.Stream
}

// upright returns the picture in c's size, in BT.709, of whole frames and turned.
// All that goes by the size of a first frame comes behind the scaling that makes
// all frames alike; turning does as well, which ffmpeg would do in front of it.
// Frames are chosen as soon as all are alike, or small.
func upright(s *ffmpeg.Stream, c plan.Conform, zscale bool, chosen choice) *ffmpeg.Stream {
	p := c.Picture
	if w, h := p.Fields[0], p.Fields[1]; w > 0 {
		// Fields are lines of the picture as stored, and scaled each by itself;
		// frames that have the size already cost little.
		s = resizeAs(s, "a", layout.CeilEven(w), layout.CeilEven(h), "interl=1")
		s = filter(s, "bwdif", "mode=send_frame", "deint=interlaced")
	}
	if p.Rotate != nil && *p.Rotate%180 != 0 {
		c.W, c.H, c.Picture.W, c.Picture.H = c.H, c.W, p.H, p.W
	}
	return toBT709(s, c, zscale, chosen)
}

// turn turns a picture as p says. Colour has half the pixels, which lie at
// the left of a pair: it is given all of them meanwhile, or it would lie at
// another side afterwards, half a pixel off.
func turn(s *ffmpeg.Stream, p plan.Picture) *ffmpeg.Stream {
	turn := 0
	if p.Rotate != nil {
		turn = *p.Rotate
	}
	if turn == 0 && !p.Mirrored {
		return s
	}
	s = filter(s, "format", "pix_fmts=yuv444p")
	if p.Mirrored {
		s = filter(s, "hflip")
	}
	switch turn {
	case 90:
		s = filter(s, "transpose", "dir=clock")
	case 180:
		s = filter(filter(s, "hflip"), "vflip")
	case 270:
		s = filter(s, "transpose", "dir=cclock")
	}
	return filter(s, "scale", "flags=bicubic+accurate_rnd", "out_h_chr_pos=0", "out_v_chr_pos=128")
}

// rawInput returns the options for reading frames as they are stored, all in one
// graph whatever their size. ffmpeg would turn and mirror them rightly, but in
// front of the scaler that takes frames of every size, see [turned].
func rawInput() ffmpeg.KwArgs {
	return ffmpeg.KwArgs{"reinit_filter": "0", "noautorotate": "", "an": "", "sn": "", "dn": ""}
}

// onGuide puts every frame at its guide time, counted from the first frame
// wanted, and resamples to a constant rate: every output frame shows the source
// frame whose time is nearest. For that a source frame takes over half its own
// length early, at the first output frame from there on. The fine time base
// keeps files with coarse ticks from losing a fraction of a frame. A few
// missing frames at the very end, see [heldAtEnd], repeat the last one; the
// caller counts frames and refuses more.
func onGuide(s *ffmpeg.Stream, c plan.Conform, rate shot.Rate, seek float64) *ffmpeg.Stream {
	ratio := c.Picture.Clock.Drift.Ratio()
	shift := c.Picture.Clock.Guide(seek) - c.Picture.Lead() - rate.Seconds(c.Frames.From)
	s = filter(s, "settb", "AVTB")
	later := ""
	if parts := c.Picture.Parts; len(parts) > 0 {
		s = filter(s, "select", inParts(parts, seek))
		later = laterInParts(parts, seek, ratio)
	}
	s = filter(s, "setpts", fmt.Sprintf("floor((PTS*TB*%s%+.9f%s)/TB)",
		strconv.FormatFloat(ratio, 'f', 12, 64), shift, later))
	s = filter(s, "fps", "fps="+rate.String(), "start_time=0", "round=up")
	held := heldAtEnd(c.Picture.FPS, rate)
	if c.Keys {
		held = -1 // the last one to the end, which the output counts
	}
	return filter(s, "tpad", "stop_mode=clone", "stop="+strconv.Itoa(held))
}

// heldAtEnd returns how many output frames may repeat the last one of a picture of
// fps frames a second: one or two that claims of duration often include, and as
// many as one source frame lasts, because decoders do not know how long the last
// frame lasts and end it after the time that the stream's own header gives a
// frame. That time is a thirtieth of a second where phones in the dark write
// eight or nine frames a second.
func heldAtEnd(fps float64, rate shot.Rate) int {
	const usual, longest = 2, 2.0 // frames, seconds
	if fps <= 0 {
		return usual
	}
	return max(usual, 1+int(rate.FPS()*math.Min(1/fps, longest)+1e-9))
}
