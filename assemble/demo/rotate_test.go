package demo

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/demo/figure"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
)

// The formula in the filter and the one in Go give the same times, through all
// of their parts.
func TestUnevenTimes(t *testing.T) {
	var out bytes.Buffer
	err := ffmpegtest.Tool(t).Run(context.Background(), ffmpeg.Command{Stdout: &out, Args: []string{
		"-f", "lavfi", "-i", "color=s=16x16:r=30", "-frames:v", "800", "-vf", "settb=1/90000,setpts=" + unevenTime,
		"-fps_mode", "passthrough", "-enc_time_base", "1:90000", "-c:v", "rawvideo", "-f", "framecrc", "pipe:1"}})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for line := range strings.Lines(out.String()) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var stream, dts, pts int
		if _, err := fmt.Sscanf(line, "%d, %d, %d,", &stream, &dts, &pts); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if pts != unevenTicks(n) {
			t.Fatalf("frame %d is at %d ticks, want %d", n, pts, unevenTicks(n))
		}
		n++
	}
	if n != 800 {
		t.Errorf("%d frames", n)
	}
	for k := range 2000 {
		if d := unevenTicks(k+1) - unevenTicks(k); d < 2500 || d > 7500 {
			t.Fatalf("frame %d lasts %d ticks", k, d)
		}
	}
}

func TestRotation(t *testing.T) {
	v := figure.View{W: 320, H: 180}
	for _, turn := range []int{0, 90, 180, 270} {
		v.Turn = turn
		dir := t.TempDir()
		path := filepath.Join(dir, "x.mp4")
		err := ffmpegtest.Tool(t).Run(context.Background(), ffmpeg.Command{
			Args: []string{"-f", "lavfi", "-i", "anullsrc=r=48000:cl=mono", "-f", "lavfi", "-i", "color=s=320x180:r=10",
				"-t", "0.3", "-c:v", "libx264", "-c:a", "aac", "-y", "file:" + path}})
		if err != nil {
			t.Fatal(err)
		}
		if err := setRotation(path, v); err != nil {
			t.Fatal(err)
		}
		info, err := media.Probe(context.Background(), ffmpegtest.Tool(t), path)
		if err != nil {
			t.Fatal(err)
		}
		if info.Video.Rotation != turn || info.Video.W != 320 {
			t.Errorf("turned by %d: the file says %d, %d wide", turn, info.Video.Rotation, info.Video.W)
		}
	}
	for name, data := range map[string]string{
		"empty": "", "no index": "\x00\x00\x00\x08free", "too long": "\x00\x00\x00\xffmoov",
		"no track":     "\x00\x00\x00\x10moov\x00\x00\x00\x08free",
		"short header": "\x00\x00\x00\x1cmoov\x00\x00\x00\x14trak\x00\x00\x00\x0ctkhd\x00\x00\x00\x00",
		"64 bits":      "\x00\x00\x00\x01moov\x00\x00\x00\x00\x00\x00\x00\x10", "size 3": "\x00\x00\x00\x03moov",
	} {
		path := filepath.Join(t.TempDir(), "x.mp4")
		if err := os.WriteFile(path, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := setRotation(path, v); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func FuzzRotation(f *testing.F) {
	f.Add([]byte("\x00\x00\x00\x1cmoov\x00\x00\x00\x14trak\x00\x00\x00\x0ctkhd\x00\x00\x00\x00"))
	f.Add([]byte("\x00\x00\x00\x01moov\x7f\xff\xff\xff\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := bytes.NewReader(data)
		for from := int64(0); ; {
			b, err := boxIn(r, from, int64(len(data)), "trak")
			if err != nil {
				return
			}
			if b.from < from+8 || b.to < b.from || b.to > int64(len(data)) {
				t.Fatalf("a box from %d to %d after %d in %d bytes", b.from, b.to, from, len(data))
			}
			from = b.to
		}
	})
}
