package graph

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// Coding is how the picture of a finished film is encoded. The zero value is
// libx264; it is no part of a segment's description, so that the keys of films
// in H.264 do not change with what else there is.
type Coding struct {
	// Encoder is ffmpeg's name of the encoder; "" is libx264.
	Encoder string
	// Headers tells hardware of one kind from other: what the encoder writes at
	// the head of a stream, as a hash. "" for software.
	Headers string
}

// Encoder is one of ffmpeg's encoders of pictures.
type Encoder struct {
	Name  string // ffmpeg's
	Codec plan.Codec
	// Family is the kind of hardware it needs; "" for software.
	Family string

	args   ffmpeg.KwArgs
	upload [][]string // filters between a picture in yuv420p and the encoder, each with its options
}

// Software returns the encoder that runs on every machine.
func (e Encoder) Software() bool { return e.Family == "" }

// Encoders returns the encoders of a codec, those in software first, of hardware in
// the order in which they are to be tried.
func Encoders(codec plan.Codec) []Encoder {
	return slices.Collect(func(yield func(Encoder) bool) {
		for _, e := range encoders {
			if e.Codec == codec && !yield(e) {
				return
			}
		}
	})
}

// Families returns the kinds of hardware.
func Families() []string { return slices.Clone(families) }

var families = []string{"nvenc", "qsv", "videotoolbox", "amf", "vaapi"}

// Name returns ffmpeg's name of the encoder.
func (c Coding) Name() string { return cmp.Or(c.Encoder, "libx264") }

// Hardware reports whether hardware does it, which does not write the same bytes
// every time.
func (c Coding) Hardware() bool {
	e, err := c.of()
	return err == nil && !e.Software()
}

// of returns the encoder of a coding.
func (c Coding) of() (Encoder, error) {
	for _, e := range encoders {
		if e.Name == c.Name() {
			return e, nil
		}
	}
	return Encoder{}, fmt.Errorf("graph: no settings for the encoder %q", c.Encoder)
}

// softwareX265 pins what the bytes of x265 depend on: how many threads there
// are for a frame and how many frames are worked on at once. It also leaves
// out the note on its settings, which is no picture.
const softwareX265 = "open-gop=0:pools=2:frame-threads=2:info=0:log-level=error"

// encoders are all that are used. Their settings aim at what libx264 gives at
// crf 19; ../picture/README.md has the figures of those in software. Arguments of
// nvenc, qsv and vaapi are those that `ffmpeg -h encoder=NAME` of ffmpeg 5.1
// lists for H.264 and HEVC; amf, videotoolbox and everything for AV1 is from
// memory. No hardware was at hand to try any of them.
var encoders = []Encoder{
	{Name: "libx264", Codec: plan.H264, args: ffmpeg.KwArgs{
		"profile:v": "high", "preset": "medium", "crf": "19", "x264-params": "open-gop=0"}},
	{Name: "libx265", Codec: plan.HEVC, args: ffmpeg.KwArgs{
		"profile:v": "main", "preset": "medium", "crf": "19", "x265-params": softwareX265}},
	// The bytes of libsvtav1 are the same for any number of threads.
	{Name: "libsvtav1", Codec: plan.AV1, args: ffmpeg.KwArgs{"preset": "8", "crf": "22", "svtav1-params": "lp=2"}},

	{Name: "h264_nvenc", Codec: plan.H264, Family: "nvenc", args: nvenc("high", "19")},
	{Name: "hevc_nvenc", Codec: plan.HEVC, Family: "nvenc", args: nvenc("main", "21")},
	{Name: "av1_nvenc", Codec: plan.AV1, Family: "nvenc", args: nvenc("", "25")},
	{Name: "h264_qsv", Codec: plan.H264, Family: "qsv", args: qsv("high", "19"), upload: inNV12},
	{Name: "hevc_qsv", Codec: plan.HEVC, Family: "qsv", args: qsv("main", "21"), upload: inNV12},
	{Name: "av1_qsv", Codec: plan.AV1, Family: "qsv", args: qsv("main", "25"), upload: inNV12},
	{Name: "h264_videotoolbox", Codec: plan.H264, Family: "videotoolbox", args: ffmpeg.KwArgs{"profile:v": "high",
		"q:v": "70", "allow_sw": "0"}},
	{Name: "hevc_videotoolbox", Codec: plan.HEVC, Family: "videotoolbox", args: ffmpeg.KwArgs{"profile:v": "main",
		"q:v": "70", "allow_sw": "0"}},
	{Name: "h264_amf", Codec: plan.H264, Family: "amf", args: amf("high", "19"), upload: inNV12},
	{Name: "hevc_amf", Codec: plan.HEVC, Family: "amf", args: amf("main", "21"), upload: inNV12},
	{Name: "av1_amf", Codec: plan.AV1, Family: "amf", args: amf("", "100"), upload: inNV12},
	{Name: "h264_vaapi", Codec: plan.H264, Family: "vaapi", args: vaapi("high", "19"), upload: toVAAPI},
	{Name: "hevc_vaapi", Codec: plan.HEVC, Family: "vaapi", args: vaapi("main", "21"), upload: toVAAPI},
	{Name: "av1_vaapi", Codec: plan.AV1, Family: "vaapi", args: vaapi("main", "100"), upload: toVAAPI},
}

var (
	inNV12  = [][]string{{"format", "pix_fmts=nv12"}}
	toVAAPI = [][]string{{"format", "pix_fmts=nv12"}, {"hwupload"}}
)

// withProfile adds a profile where there is a choice of them.
func withProfile(args ffmpeg.KwArgs, profile string) ffmpeg.KwArgs {
	if profile != "" {
		args["profile:v"] = profile
	}
	return args
}

// nvenc returns the settings of NVIDIA's encoders for constant quality.
func nvenc(profile, quality string) ffmpeg.KwArgs {
	return withProfile(ffmpeg.KwArgs{"preset": "p5", "tune": "hq", "rc": "vbr", "cq": quality, "b:v": "0"}, profile)
}

// qsv returns the settings of Intel's encoders for constant quality.
func qsv(profile, quality string) ffmpeg.KwArgs {
	return withProfile(ffmpeg.KwArgs{"preset": "medium", "global_quality": quality}, profile)
}

// amf returns the settings of AMD's encoders for constant quantisers.
func amf(profile, quality string) ffmpeg.KwArgs {
	return withProfile(ffmpeg.KwArgs{"quality": "quality", "rc": "cqp", "qp_i": quality, "qp_p": quality}, profile)
}

// vaapi opens the first device that there is.
func vaapi(profile, quality string) ffmpeg.KwArgs {
	return withProfile(ffmpeg.KwArgs{"init_hw_device": "vaapi", "rc_mode": "CQP", "global_quality": quality}, profile)
}

// output encodes s, which is in yuv420p, as a closed run of frames of BT.709.
func (e Encoder) output(s *ffmpeg.Stream, canvas layout.Canvas, rate shot.Rate, frames int, dst string) *ffmpeg.Stream {
	args := bt709(plain(ffmpeg.KwArgs{
		"c:v": e.Name, "g": strconv.Itoa(2 * rate.Frame(1)), "frames:v": strconv.Itoa(frames), "r": rate.String(),
		"f":                     "mp4",
		"video_track_timescale": timescale(rate), "filter_complex_threads": "1",
	}))
	if e.Name == "libx264" {
		args["threads"] = encoderThreads(canvas)
	} else {
		// What a decoder is told in advance holds for a whole film, so it must not
		// depend on what a segment shows: cards say nothing of the shape of their
		// pixels, and takes alone where their colour samples lie. Of H.264 joining
		// repeats it in every segment, and its bytes stay what they were.
		s = filter(s, "setsar", "sar=1")
		args["chroma_sample_location"] = "left"
	}
	s = tagged(s)
	for _, f := range e.upload {
		s = filter(s, f[0], f[1:]...)
	}
	if e.Codec == plan.HEVC {
		args["tag:v"] = "hvc1" // some players know no other
	}
	maps.Copy(args, e.args)
	return ffmpeg.Output([]*ffmpeg.Stream{s}, dst, args)
}

// Try encodes a few frames of a moving test picture as a film of that canvas would be:
// an encoder that ffmpeg lists need not work on the machine at hand, nor with pictures
// of that size. It fails for an encoder without settings.
func Try(c Coding, canvas layout.Canvas, rate shot.Rate, frames int, dst string) (Command, error) {
	e, err := c.of()
	if err != nil {
		return Command{}, err
	}
	return build(1, func() *ffmpeg.Stream {
		s := ffmpeg.Input(fmt.Sprintf("testsrc2=size=%dx%d:rate=%s", canvas.W, canvas.H, rate),
			ffmpeg.KwArgs{"f": "lavfi"})
		return e.output(filter(s, "format", "pix_fmts=yuv420p"), canvas, rate, frames, dst)
	})
}

// encoderThreads returns how many threads x264 gets for a canvas. Its bytes depend on
// them, so neither the machine nor what else runs has a say. Segments are what
// runs in parallel: while they keep the cores busy, one thread each costs a
// twentieth less than two. Of a picture so large that memory lets no second
// segment run beside the first, two work on one.
func encoderThreads(c layout.Canvas) string {
	if c.W*c.H > 1920*1088 {
		return "2"
	}
	return "1"
}
