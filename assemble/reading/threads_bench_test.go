package reading

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/layout/shot"
)

// BenchmarkThreads conforms one undamaged take alone with one decoding thread, as
// takes are, and with more: what the constant number costs where takes are fewer
// than the cores. cpu-s is the processor's time of all threads. See this tree's
// ../media/README.md for what it gave.
func BenchmarkThreads(b *testing.B) {
	tool := ffmpegtest.Tool(b)
	dir := b.TempDir()
	for _, size := range []struct {
		name, codec string
		w, h        int
	}{{"720p", "libx264", 1280, 720}, {"1080p", "libx264", 1920, 1080}, {"2160p", "libx264", 3840, 2160}} {
		const seconds, fps = 4, 30
		path := filepath.Join(dir, size.name+".mp4")
		source := fmt.Sprintf("testsrc2=s=%dx%d:r=%d:d=%d,noise=alls=12:allf=t:all_seed=3", size.w, size.h, fps, seconds)
		if err := tool.Run(b.Context(), ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", source, "-c:v", size.codec, "-preset", "veryfast",
			"-b:v", fmt.Sprint(8 * size.w * size.h), "-g", "30", "-bf", "2", "-pix_fmt", "yuv420p", "-y", path}}); err != nil {
			b.Fatal(err)
		}
		pic := plan.Picture{Path: path, W: size.w, H: size.h, FPS: fps, Matrix: "bt709", PixFmt: "yuv420p"}
		c := plan.Conform{W: 640, H: 360, Picture: pic, Frames: plan.Span{To: seconds * fps}}
		for _, n := range []int{1, 2, 4, 8} {
			b.Run(fmt.Sprintf("%s/%d", size.name, n), func(b *testing.B) {
				var used time.Duration
				counting, err := ffmpeg.Options{Ended: func(u ffmpeg.Usage) { used += u.CPU }}.Find(b.Context())
				if err != nil {
					b.Fatal(err)
				}
				used = 0
				for b.Loop() {
					src := Source(counting, pic)
					src.Threads = n
					out := filepath.Join(dir, "out.mp4")
					cmd, err := graph.Conform(c, src, shot.Rate{Num: fps, Den: 1}, "file:"+out)
					if err != nil {
						b.Fatal(err)
					}
					os.Remove(out)
					if err := Take(b.Context(), counting, cmd, pic, Job{Tmp: out}); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(used.Seconds()/float64(b.N), "cpu-s/op")
			})
		}
	}
}
