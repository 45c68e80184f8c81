package graph

import (
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// Small is how a film is made small enough to be sent inside a page.
type Small struct {
	Canvas       layout.Canvas
	Rate         shot.Rate // of the film
	Video, Sound int       // most bits a second of each
	Mono         bool
}

// Shrink encodes a finished film of ours anew, so that it never takes more bits than
// said: a decoder that everybody has, a key frame every second to jump to.
func Shrink(film string, s Small, dst string) (Command, error) {
	return build(1, func() *ffmpeg.Stream {
		in := ffmpeg.Input(film, ffmpeg.KwArgs{})
		v := filter(in.Get("v"), "scale", "w="+strconv.Itoa(s.Canvas.W), "h="+strconv.Itoa(s.Canvas.H),
			"flags=bicubic+accurate_rnd+full_chroma_int")
		v = filter(filter(v, "format", "yuv420p"), "setsar", "sar=1")
		channels := "2"
		if s.Mono {
			channels = "1"
		}
		args := bt709(plain(ffmpeg.KwArgs{
			"c:v": "libx264", "preset": "veryfast", "crf": "28", "profile:v": "main",
			"threads": encoderThreads(s.Canvas),
			"maxrate": strconv.Itoa(s.Video), "bufsize": strconv.Itoa(2 * s.Video),
			"g": strconv.Itoa(max(1, s.Rate.Frame(1))), "video_track_timescale": timescale(s.Rate),
			"filter_complex_threads": "1", "c:a": "aac", "b:a": strconv.Itoa(s.Sound), "ac": channels,
			"flags:a": "+bitexact", "f": "mp4", "movflags": "+faststart",
		}))
		return ffmpeg.Output([]*ffmpeg.Stream{v, in.Get("a")}, dst, args)
	})
}
