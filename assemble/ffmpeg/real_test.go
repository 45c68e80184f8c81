package ffmpeg_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

func TestRealFind(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	if !tool.Version.AtLeast(5, 1) {
		t.Errorf("version %+v", tool.Version)
	}
	if err := tool.Require("aac", "pcm_f32le"); err != nil {
		t.Error(err)
	}
	if err := tool.Require("aac", "no_such_encoder"); err == nil ||
		!strings.Contains(err.Error(), "without no_such_encoder") {
		t.Errorf("got %v", err)
	}
	if !tool.Filter("scale") || tool.Filter("no_such_filter") {
		t.Error("the list of filters is wrong")
	}
}

// Progress comes on standard output when that is free, and on a third pipe
// when it is not; both must end at the output's length.
func TestRealProgress(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	for _, stdout := range []*bytes.Buffer{nil, {}} {
		var last ffmpeg.Progress
		c := ffmpeg.Command{
			Args:     []string{"-f", "lavfi", "-i", "sine=d=2:r=8000", "-f", "s16le"},
			Progress: func(p ffmpeg.Progress) { last = p },
		}
		if stdout != nil {
			c.Args, c.Stdout = append(c.Args, "pipe:1"), stdout
		} else {
			c.Args = append(c.Args, "file:"+filepath.Join(t.TempDir(), "x.raw"))
		}
		if err := tool.Run(context.Background(), c); err != nil {
			t.Fatal(err)
		}
		if !last.Last || last.Time != 2*time.Second {
			t.Errorf("the last report is %+v", last)
		}
		if stdout != nil && stdout.Len() != 2*8000*2 {
			t.Errorf("%d bytes of sound among the progress", stdout.Len())
		}
	}
}

// An interrupted ffmpeg closes its file and says so; Run still reports the
// cancelled context.
func TestRealCancel(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var log bytes.Buffer
	err := tool.Run(ctx, ffmpeg.Command{
		Args: []string{"-re", "-f", "lavfi", "-i", "sine=d=3600:r=8000", "-f", "wav", "-y",
			"file:" + filepath.Join(t.TempDir(), "x.wav")},
		Log: &log, Progress: func(ffmpeg.Progress) { cancel() },
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, the log says %s", err, log.String())
	}
}

// /dev/full takes nothing and says that the disk is full. A sound that fits
// into ffmpeg's buffer meets that only when the file is closed, where many
// releases still exit with 0.
func TestRealDiskFull(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip("no /dev/full here")
	}
	tool := ffmpegtest.Tool(t)
	for _, seconds := range []string{"0.01", "60"} {
		err := tool.Run(context.Background(), ffmpeg.Command{
			Args: []string{"-f", "lavfi", "-i", "anoisesrc=r=48000:d=" + seconds, "-f", "wav", "-y", "file:/dev/full"},
		})
		f, ok := errors.AsType[*fault.Fault](err)
		if !ok || f.Kind != fault.Failed || f.What != "the disk is full" {
			t.Errorf("%s s: got %v", seconds, err)
		}
	}
}
