package picture

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/layout/shot"
)

// TestPiecesTogetherAreThemselves: pieces that one process makes have the bytes that each has
// alone, with frames that refer across key frames, uneven frames, fields, ten bits, another
// rate, and where the last frame is held.
func TestPiecesTogetherAreThemselves(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	h264 := "-c:v libx264 -preset fast -bf 3 -g 30 -pix_fmt yuv420p "
	for _, c := range []struct {
		name, args string
		rate       shot.Rate
	}{
		{"plain.mp4", h264, shot.Rate{Num: 30, Den: 1}},
		{"open.mp4", h264 + "-x264-params open-gop=1", shot.Rate{Num: 25, Den: 1}},
		{"uneven.mp4", h264 + "-vf select='not(eq(mod(n,7),3))' -fps_mode vfr", shot.Rate{Num: 30, Den: 1}},
		{"ntsc.mov", h264 + "-r 30000/1001", shot.Rate{Num: 30000, Den: 1001}},
		{"fields.mov", h264 + "-vf tinterlace=interleave_top,fieldorder=tff -flags +ildct+ilme -x264-params tff=1 " +
			"-r 30", shot.Rate{Num: 30, Den: 1}},
		{"hlg.mp4", "-c:v libx265 -preset ultrafast -x265-params log-level=none:keyint=31:bframes=3:pools=1:" +
			"frame-threads=1 -pix_fmt yuv420p10le -color_trc arib-std-b67 -color_primaries bt2020 -colorspace " +
			"bt2020nc", shot.Rate{Num: 50, Den: 1}},
	} {
		path := filepath.Join(dir, c.name)
		lavfi := []string{"-f", "lavfi", "-i", "testsrc2=size=160x96:rate=30:duration=5,noise=alls=20:allf=t:all_seed=3"}
		run(t, tool, ffmpeg.Command{Args: append(append(lavfi, strings.Fields(c.args)...), path)})
		info, err := media.Probe(t.Context(), tool, path)
		if err != nil {
			t.Fatal(c.name, err)
		}
		v := info.Video
		take := plan.Conform{W: 80, H: 48, Picture: patterned(path, v)}
		// The last one ends where the last frame is held.
		edges := []int{0, c.rate.Frame(1.3), c.rate.Frame(2.9), c.rate.Frame(3.1), c.rate.Frame(v.Start + 4.78)}
		var pieces []plan.Conform
		var dst []string
		sources := make([]graph.Source, len(edges)-1)
		for i := range sources {
			piece := take
			piece.Frames = plan.Span{From: edges[i], To: edges[i+1]}
			sources[i] = reading.Source(tool, piece.Picture)
			openAt(t.Context(), &sources[i], piece, c.rate)
			pieces, dst = append(pieces, piece), append(dst, filepath.Join(dir, fmt.Sprint(c.name, i, ".mp4")))
		}
		made := func(cmd graph.Command, err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
			runGraph(t, tool, cmd, dst[0])
		}
		var alone [][]byte
		for i, piece := range pieces {
			made(graph.Conform(piece, sources[i], c.rate, dst[i]))
			b, err := os.ReadFile(dst[i])
			if err != nil {
				t.Fatal(err)
			}
			if n, err := media.CountFrames(dst[i]); err != nil || n != piece.Frames.Len() {
				t.Errorf("%s: piece %d has %d of %d frames, %v", c.name, i, n, piece.Frames.Len(), err)
			}
			alone = append(alone, b)
			os.Remove(dst[i])
		}
		made(graph.ConformAll(pieces, sources[0], c.rate, dst))
		for i := range pieces {
			if b, err := os.ReadFile(dst[i]); err != nil || !bytes.Equal(b, alone[i]) {
				t.Errorf("%s: piece %d has other bytes than alone (%d, %d; %v)", c.name, i, len(b), len(alone[i]), err)
			}
		}
	}
}
