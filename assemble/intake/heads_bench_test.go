package intake

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/layout/face"
)

// BenchmarkFaces searches a minute of a take for faces, and says how long that is
// against decoding its picture in one thread, which conforming it takes at least.
// The picture is full of small things, which costs more than a room does.
func BenchmarkFaces(b *testing.B) {
	for _, size := range []string{"640x360", "1280x720", "1920x1080"} {
		b.Run(size, func(b *testing.B) {
			tool := ffmpegtest.Tool(b)
			path := ffmpegtest.Make(b, "take.mp4", strings.Fields(fmt.Sprintf(
				"-f lavfi -i testsrc2=s=%s:r=30:d=60,noise=alls=8:allf=t -c:v libx264 -preset veryfast -g 60 -pix_fmt yuv420p", size))...)
			info, err := media.Probe(b.Context(), tool, path)
			if err != nil {
				b.Fatal(err)
			}
			var pictures face.Pictures
			see := func(g media.Gray) error { return pictures.Add(g.W, g.H, g.Pix) }
			if _, err := media.SampleGray(b.Context(), tool, info, media.Sampling{Width: lookWidth, Every: lookEvery}, see); err != nil {
				b.Fatal(err)
			}
			start := time.Now()
			err = tool.Run(b.Context(), ffmpeg.Command{Args: []string{"-threads", "1", "-i", "file:" + path, "-map", "0:v", "-f", "null", "-"}})
			if err != nil {
				b.Fatal(err)
			}
			decoding := time.Since(start)
			for b.Loop() {
				if _, err := pictures.Faces(true); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/decoding.Seconds(), "of-decoding")
		})
	}
}
