//go:build unix

package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// checkSets are the sets of [BenchmarkCheck] by the value of RIPIENO_BENCH. The
// full one is fifty takes of two minutes.
var checkSets = map[string]benchSet{
	"":     {takes: 3, w: 1920, h: 1080, seconds: 20, canvas: "1920x1080"},
	"long": {takes: 3, w: 1920, h: 1080, seconds: 120, canvas: "1920x1080"},
	"full": {takes: 50, w: 1920, h: 1080, seconds: 120, canvas: "1920x1080"},
}

// makeLong makes the takes out of one of twenty seconds, copied one after the
// other: encoding hours of pictures is not what is measured. A title makes each
// file another one.
func (s benchSet) makeLong(b *testing.B, tool *ffmpeg.Tool, dir string) {
	b.Helper()
	const piece = 20
	short := s
	short.seconds = piece - 2
	short.makeTake(b, tool, dir, 0)
	source := filepath.Join(dir, "intake", "take00.mp4")
	for k := s.takes - 1; k >= 0; k-- {
		to := filepath.Join(dir, fmt.Sprintf("intake/take%02d.mp4", k))
		tmp := filepath.Join(dir, "next.mp4")
		args := []string{"-stream_loop", fmt.Sprint(s.seconds/piece - 1), "-i", source, "-map", "0", "-c", "copy",
			"-metadata", fmt.Sprintf("title=%d", k), tmp}
		if err := tool.Run(b.Context(), ffmpeg.Command{Args: args}); err != nil {
			b.Fatal(err)
		}
		if err := os.Rename(tmp, to); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCheck measures what the check costs against decoding the sound of
// all takes and one frame in thirty of their pictures with plain ffmpeg, in the
// same minutes on the same machine. It reports the ratio of processor time, and
// how many tasks a second check runs. Use -benchtime 1x.
func BenchmarkCheck(b *testing.B) {
	tool, err := ffmpeg.Find(b.Context())
	if err != nil {
		b.Skip(err)
	}
	s, known := checkSets[os.Getenv("RIPIENO_BENCH")]
	if !known {
		b.Skip("no such set")
	}
	dir := b.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		b.Fatal(err)
	}
	s.makeLong(b, tool, dir)
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(s.manifest(s.takes, 0, true)),
		0o666); err != nil {
		b.Fatal(err)
	}
	var plain, ours spent
	again := 0
	for b.Loop() {
		cost := measure(b, func() {
			for k := range s.takes {
				path := filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k))
				for _, args := range [][]string{
					{"-i", path, "-map", "0:a", "-f", "null", "-"},
					// a key frame in thirty
					{"-skip_frame", "nokey", "-i", path, "-map", "0:v", "-fps_mode", "passthrough", "-f", "null", "-"},
				} {
					if err := tool.Run(b.Context(), ffmpeg.Command{Args: args}); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
		plain.cpu, plain.wall = plain.cpu+cost.cpu, plain.wall+cost.wall
		if err := os.RemoveAll(filepath.Join(dir, ".ripieno")); err != nil {
			b.Fatal(err)
		}
		for pass := range 2 {
			p, err := Open(b.Context(), Settings{Dir: dir, Report: progress.New(nil, progress.Quiet)})
			if err != nil {
				b.Fatal(err)
			}
			var r CheckResult
			cost := measure(b, func() {
				if r, err = p.Check(b.Context()); err != nil {
					b.Fatal(err)
				}
			})
			p.Close()
			if pass == 0 {
				ours.cpu, ours.wall = ours.cpu+cost.cpu, ours.wall+cost.wall
			} else {
				again += r.Tasks.Run
			}
		}
	}
	n := float64(b.N)
	b.Logf("%d takes of %d s: decoding %.2f s of processor time (%.2f s by the clock), check %.2f (%.2f)",
		s.takes, s.seconds, plain.cpu/n, plain.wall/n, ours.cpu/n, ours.wall/n)
	b.ReportMetric(ours.cpu/plain.cpu, "×decoding")
	b.ReportMetric(float64(again)/n, "tasks-again")
}
