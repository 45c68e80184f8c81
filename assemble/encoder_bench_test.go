package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// BenchmarkCodecs encodes one moving picture with grain, as a phone filmed it and
// scaled as a take is, with every encoder in software, and tells what that costs
// and what is left of it: the figures by which crf was chosen.
func BenchmarkCodecs(b *testing.B) {
	const w, h, frames = 960, 540, 120
	tool := findTool(b)
	dir := b.TempDir()
	take, overlay := filepath.Join(dir, "take.mp4"), filepath.Join(dir, "nothing.png")
	grainy(b, tool, take, 1280, 720, frames)
	run(b, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("color=black:s=%dx%d,format=rgba,colorchannelmixer=aa=0", w, h), "-frames:v", "1", overlay}})
	whole := layout.Rect{W: 1280, H: 720}
	for _, codec := range []plan.Codec{plan.H264, plan.HEVC, plan.AV1} {
		e := graph.Encoders(codec)[0]
		if !tool.Encoder(e.Name) {
			continue
		}
		b.Run(e.Name, func(b *testing.B) {
			var cpu time.Duration
			timed, err := ffmpeg.Options{Ended: func(u ffmpeg.Usage) { cpu += u.CPU }}.Find(b.Context())
			if err != nil {
				b.Fatal(err)
			}
			out := filepath.Join(dir, e.Name+".mp4")
			cpu = 0
			for range b.N {
				cmd, err := graph.Compose(graph.Segment{
					Canvas: layout.Canvas{W: w, H: h}, Rate: shot.Rate{Num: 30, Den: 1}, Frames: frames,
					Scene: graph.Scene{Overlay: overlay,
						Pieces: []graph.Piece{{Path: take, Count: frames, Crop: whole, W: whole.W, H: whole.H,
							Hole: layout.Rect{W: w, H: h}}}},
				}, graph.Coding{Encoder: e.Name}, out)
				if err != nil {
					b.Fatal(err)
				}
				runGraph(b, timed, cmd, out)
			}
			st, err := os.Stat(out)
			if err != nil {
				b.Fatal(err)
			}
			direct := fmt.Sprintf("scale=%d:%d:flags=bicubic+accurate_rnd,", w, h)
			b.ReportMetric(float64(st.Size())/1000/(frames/30.0), "kB/s")
			b.ReportMetric(likeness(b, tool, "psnr", out, take, "", direct), "dB")
			b.ReportMetric(likeness(b, tool, "ssim", out, take, "", direct), "SSIM")
			b.ReportMetric(cpu.Seconds()*1000/float64(frames*b.N), "cpu-ms/frame")
		})
	}
}
