package graph

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout/shot"
)

// AACFrame is the number of samples of a frame of AAC.
const AACFrame = 1024

// AAC encodes a finished master whole. It fails only by a bug in the graph.
func AAC(wav, dst string) (Command, error) { return encodeAAC(wav, ffmpeg.KwArgs{}, "mp4", dst) }

// AACPiece encodes a number of frames of a master of 48 kHz, from one of them on, 0
// for all that follow: bare frames, the first of which is the encoder's delay.
func AACPiece(wav string, from, frames int, dst string) (Command, error) {
	in := ffmpeg.KwArgs{}
	if from > 0 {
		in["ss"] = aacSeconds(from)
	}
	if frames > 0 {
		in["t"] = aacSeconds(frames)
	}
	return encodeAAC(wav, in, "adts", dst)
}

// aacSeconds returns the time of so many frames at 48 kHz.
func aacSeconds(frames int) string {
	return strconv.FormatFloat(float64(frames)*AACFrame/48000, 'f', 6, 64)
}

// encodeAAC encodes a master that is opened with some options.
func encodeAAC(wav string, in ffmpeg.KwArgs, format, dst string) (Command, error) {
	in["f"] = "wav"
	return build(1, func() *ffmpeg.Stream {
		return ffmpeg.Output([]*ffmpeg.Stream{ffmpeg.Input(wav, in).Get("0")}, dst, plain(ffmpeg.KwArgs{
			"c:a": "aac", "b:a": "256k", "f": format, "flags:a": "+bitexact",
		}))
	})
}

// Proxy encodes a voice of 48 kHz small, for pages that play many at once: bare frames
// of AAC, 96 kbit/s for each channel, every channel by itself and all bands up to 20 kHz
// as they are, so that levels stay what they were. The first frame is the encoder's delay.
func Proxy(wav string, channels int, dst string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		in := ffmpeg.Input(wav, ffmpeg.KwArgs{"f": "wav"}).Get("0")
		return ffmpeg.Output([]*ffmpeg.Stream{in}, dst, plain(ffmpeg.KwArgs{"c:a": "aac", "aac_coder": "fast",
			"b:a": fmt.Sprintf("%dk", 96*channels), "cutoff": "20000", "aac_ms": "0", "aac_is": "0", "aac_pns": "0",
			"f": "adts", "flags:a": "+bitexact"}))
	})
}

// WrapAAC puts bare frames of AAC, which hold a number of samples at 48 kHz behind the
// encoder's delay of a frame, into a file that says so, as an encoder's own file does.
// It fails when so many frames cannot hold so many samples.
func WrapAAC(bare string, frames int, samples int64, dst string) (Command, error) {
	last := samples - int64(frames-2)*AACFrame
	if frames < 2 || last < 1 || last > AACFrame {
		return Command{}, fmt.Errorf("graph: %d frames of AAC do not hold %d samples", frames, samples)
	}
	return build(1, func() *ffmpeg.Stream {
		at := fmt.Sprintf("(N-1)*%d", AACFrame)
		return ffmpeg.Output([]*ffmpeg.Stream{ffmpeg.Input(bare, ffmpeg.KwArgs{"f": "aac"}).Get("0")}, dst,
			plain(ffmpeg.KwArgs{"c": "copy", "f": "mp4", "flags:a": "+bitexact", "bsf:a": fmt.Sprintf(
				"setts=pts=%[1]s:dts=%[1]s:duration=if(eq(N\\,%[2]d)\\,%[3]d\\,%[4]d):time_base=1/48000", at,
				frames-1, last, AACFrame)}))
	})
}

// MP3 encodes the guide for players whose machine plays nothing else.
func MP3(wav, dst, title string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		in := ffmpeg.Input(wav, ffmpeg.KwArgs{"f": "wav"}).Get("0")
		args := plain(ffmpeg.KwArgs{"c:a": "libmp3lame", "b:a": "192k", "f": "mp3", "flags:a": "+bitexact"})
		args["metadata"] = "title=" + title
		return ffmpeg.Output([]*ffmpeg.Stream{in}, dst, args)
	})
}

// SegmentList returns the text of a list of segments for Mux, with how many frames
// each has. Without their lengths the reader of the list would take each
// file's own word for where the next begins, which is off by a little at every
// join and by half a frame after forty. The lengths are differences of rounded
// times, so that nothing adds up. The names are our own and need no quoting;
// anything else is refused.
func SegmentList(names []string, frames []int, rate shot.Rate) (string, error) {
	if len(names) != len(frames) {
		return "", fmt.Errorf("graph: %d segments have %d lengths", len(names), len(frames))
	}
	micros := func(frame int) int64 { return int64(math.Round(1e6 * rate.Seconds(frame))) }
	var b strings.Builder
	b.WriteString("ffconcat version 1.0\n")
	at := 0
	for i, n := range names {
		if strings.ContainsAny(n, " '\"\\\n\r\t#") || n == "" {
			return "", fmt.Errorf("graph: segment name %q needs quoting", n)
		}
		length := micros(at+frames[i]) - micros(at)
		fmt.Fprintf(&b, "file %s\nduration %d.%06d\n", n, length/1e6, length%1e6)
		at += frames[i]
	}
	return b.String(), nil
}

// Mux joins segments and the sound without encoding either. Joining rounds times to
// microseconds; every one is put back on its frame. Chapters, when it is not "", is a
// file of ffmpeg's metadata that holds them. It fails only by a bug in the graph;
// whether the segments go together shows when it runs.
func Mux(list, sound, chapters, dst, title string, rate shot.Rate) (Command, error) {
	c, err := build(2, func() *ffmpeg.Stream {
		video := ffmpeg.Input(list, ffmpeg.KwArgs{"f": "concat", "safe": "0"}).Get("v")
		audio := ffmpeg.Input(sound, ffmpeg.KwArgs{"f": "mov"}).Get("a")
		fps, spf := fmt.Sprintf("%d/%d", rate.Num, rate.Den), fmt.Sprintf("%d/%d", rate.Den, rate.Num)
		args := plain(ffmpeg.KwArgs{
			"c": "copy", "f": "mp4", "movflags": "+faststart", "flags:a": "+bitexact",
			"bsf:v": fmt.Sprintf("setts=pts=round(PTS*TB*%[1]s)*%[2]s/TB:dts=round(DTS*TB*%[1]s)*%[2]s/TB:"+
				"duration=%[2]s/TB", fps, spf),
			"video_track_timescale": timescale(rate),
		})
		args["metadata"] = "title=" + title
		return ffmpeg.Output([]*ffmpeg.Stream{video, audio}, dst, args)
	})
	if err == nil && chapters != "" {
		c.chapters(chapters)
	}
	return c, err
}

// chapters adds an input that no stream comes from: a graph cannot hold it.
func (c *Command) chapters(path string) {
	last := 0 // behind the last input
	for i, a := range c.before {
		if a == "-i" {
			last = i + 2
		}
	}
	c.before = slices.Insert(slices.Clone(c.before), last, "-f", "ffmetadata", "-i", path)
	for i, a := range c.before {
		// Without any metadata the chapters would have no names; this file has
		// nothing else.
		if a == "-map_chapters" || a == "-map_metadata" {
			c.before[i+1] = "2"
		}
	}
}

// Frame takes one frame out of a finished film as a picture.
func Frame(film string, frame int, rate shot.Rate, dst string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		in := ffmpeg.KwArgs{}
		if frame > 0 {
			// Half a frame early is the frame itself, whatever the rounding.
			in["ss"] = number((float64(frame) - 0.5) * float64(rate.Den) / float64(rate.Num))
		}
		s := ffmpeg.Input(film, in).Get("v")
		s = filter(s, "scale", "in_color_matrix=bt709", "in_range=tv", "out_range=pc",
			"flags=bicubic+accurate_rnd+full_chroma_int")
		s = filter(s, "format", "pix_fmts=rgb24")
		return ffmpeg.Output([]*ffmpeg.Stream{s}, dst, ffmpeg.KwArgs{"frames:v": "1", "c:v": "png", "f": "image2",
			"update": "1", "threads": "1"})
	})
}
