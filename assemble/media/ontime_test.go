package media

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// click is a sound of two seconds with one click at 1 s exactly.
const click = "aevalsrc=if(eq(n\\,%d)\\,1\\,0)+0.0001*sin(n):s=%d:d=2"

// Whatever the container does with priming, edit lists and start times, the
// decoded click must be where the picture's clock has it: 1 s after the first
// picture, or 1.5 s when the sound was attached half a second late.
func TestRealDecodeIsOnTime(t *testing.T) {
	for _, rate := range []int{48000, 44100} {
		files := []string{"a.m4a", "a.mp4", "late.mp4", "late.mkv"}
		if rate == 48000 {
			files = append(files, "a.wav", "a.flac", "a.mov", "a.mkv", "a.ts", "late.mov", "late.ts", "a.mp3",
				"late.webm")
		}
		wav := ffmpegtest.Make(t, "click.wav", args("-f lavfi -i", fmt.Sprintf(click, rate, rate), "-c:a pcm_s24le")...)
		made := ffmpegtest.MakeAll(t, args("-i", wav, "-f lavfi -i", picture),
			ffmpegtest.Output{Name: "a.m4a", Args: args("-map 0 -c:a aac -b:a 192k")},
			ffmpegtest.Output{Name: "v.mp4", Args: args("-map 1 -c:v libx264 -preset ultrafast -pix_fmt yuv420p")})
		var outputs []ffmpegtest.Output
		for _, f := range files {
			a := "-map 2:v -map 1:a -c copy"
			switch {
			case f == "late.webm":
				a = "-map 2:v -map 4:a -c:v libvpx -deadline realtime -c:a libopus -b:a 192k"
			case strings.HasPrefix(f, "late"):
				a = "-map 2:v -map 3:a -c copy"
			case f == "a.m4a":
				a = "-map 1:a -c copy"
			case f == "a.wav" || f == "a.flac" || f == "a.mp3":
				a = "-map 0:a -b:a 192k"
			}
			outputs = append(outputs, ffmpegtest.Output{Name: f, Args: args(a)})
		}
		paths := ffmpegtest.MakeAll(t, args("-i", wav, "-i", made[0], "-i", made[1], "-itsoffset 0.5 -i", made[0],
			"-itsoffset 0.5 -i", wav), outputs...)
		for n, f := range files {
			info := probe(t, paths[n])
			b, d := decode(t, info)
			top := 0
			for i, v := range b[0] {
				if math.Abs(v) > math.Abs(b[0][top]) {
					top = i
				}
			}
			want := 1.0
			if strings.HasPrefix(f, "late") {
				want = 1.5
			}
			if info.Video != nil {
				want += info.Video.Start // the codec's priming may come before the picture
			}
			// A codec smears a click by a sample or two. Matroska counts
			// milliseconds, and MP4 does for the start of a late stream.
			tolerance := 3.0 / float64(rate)
			switch {
			case f == "late.webm":
				tolerance = 8e-3 // ffmpeg 5.1 takes the delay of Opus, 6.5 ms, off twice when writing
			case strings.HasPrefix(f, "late") || f == "a.mkv":
				tolerance = 1e-3
			}
			if got := float64(top) / float64(rate); math.Abs(got-want) > tolerance {
				t.Errorf("%d Hz %s: the click is at %.6f s, want %.6f (%+v, %+v)", rate, f, got, want, info, info.Audio)
			}
			if d.Truncated || d.Damaged > 0 || len(d.Notes) > 0 {
				t.Errorf("%d Hz %s: %+v", rate, f, d)
			}
		}
	}
}

// Channels come out as they are: the sides of an antiphase recording must not
// meet, three channels stay three.
func TestRealDecodeKeepsChannels(t *testing.T) {
	antiphase, three := []float64{1, -1}, []float64{1, 0, 0.5}
	eight := []float64{1, .5, .25, 0, -1, -.5, -.25, .125}
	cases := []struct {
		file, layout, codec string
		gains               []float64
	}{
		{"two.wav", "stereo", "pcm_s16le", antiphase}, {"two.mkv", "stereo", "pcm_s16le", antiphase},
		{"three.wav", "3c", "pcm_s16le", three}, {"eight.wav", "7.1", "pcm_s16le", eight}, {"eight.flac", "7.1",
			"flac", eight},
	}
	var outputs []ffmpegtest.Output
	for _, c := range cases {
		pan := "pan=" + c.layout
		for i, g := range c.gains {
			pan += fmt.Sprintf("|c%d=%g*c0", i, g)
		}
		outputs = append(outputs, ffmpegtest.Output{Name: c.file, Args: args("-map 0 -af", pan, "-c:a", c.codec)})
	}
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i sine=r=48000:d=0.3"), outputs...)
	for n, c := range cases {
		b, d := decode(t, probe(t, paths[n]))
		if d.Channels != len(c.gains) {
			t.Errorf("%s: %d channels", c.file, d.Channels)
			continue
		}
		for i, g := range c.gains {
			for k := range b[i] {
				if math.Abs(b[i][k]-g*b[0][k]) > 1.01/32768 {
					t.Fatalf("%s: channel %d sample %d is %g of %g", c.file, i, k, b[i][k], b[0][k])
				}
			}
		}
	}
}
