//go:build unix

package media

import (
	"os"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// A thinned decoding that breaks off inside its first frame leaves nothing of it
// to the plain one that follows.
func TestRealSampleBeginsAnew(t *testing.T) {
	tool := *ffmpegtest.Tool(t)
	info := probe(t, ffmpegtest.Make(t, "a.mp4",
		args("-f lavfi -i testsrc2=s=160x90:r=25:d=4 -c:v libx264 -preset ultrafast -pix_fmt yuv420p -g 25")...))
	var want, got keep
	if _, err := SampleGray(ctx, &tool, info, Sampling{Width: 32, OneIn: 2}, want.take); err != nil {
		t.Fatal(err)
	}
	// The second process of the thinned path is the one that reads a pipe.
	script := "#!/bin/sh\ncase \"$*\" in *pipe:0*) printf 'a few bytes'; exit 1;; esac\nexec \"" + tool.FFmpeg +
		"\" \"$@\"\n"
	tool.FFmpeg = write(t, "ffmpeg", []byte(script))
	if err := os.Chmod(tool.FFmpeg, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := SampleGray(ctx, &tool, info, Sampling{Width: 32, OneIn: 2}, got.take); err != nil {
		t.Fatal(err)
	}
	if len(want.frames) != 2 || len(got.frames) != 2 {
		t.Fatalf("%d and %d frames of four key frames", len(want.frames), len(got.frames))
	}
	for i, g := range got.frames {
		for j, v := range g.Pix {
			if d := int(v) - int(want.frames[i].Pix[j]); d < -1 || d > 1 {
				t.Fatalf("frame %d is %d grey values off at byte %d", i, d, j)
			}
		}
	}
}
