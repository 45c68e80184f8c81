package light_test

import (
	"bytes"
	"crypto/sha256"
	"debug/elf"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/ffmpeg/ffmpegtest/light"
)

// both returns the light programs and the installed ones.
func both(t *testing.T) (quick, whole *ffmpeg.Tool) {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("only the libraries of Linux are known")
	}
	quick = ffmpegtest.Tool(t)
	script, err := os.ReadFile(quick.FFmpeg)
	if err != nil || !bytes.HasPrefix(script, []byte("#!/bin/sh\n")) {
		t.Skip("this ffmpeg is used as it is")
	}
	path := func(script []byte) string {
		_, rest, _ := strings.Cut(string(script), "exec '")
		path, _, _ := strings.Cut(rest, "'")
		return path
	}
	probe, err := os.ReadFile(quick.FFprobe)
	if err != nil {
		t.Fatal(err)
	}
	whole, err = ffmpeg.Options{FFmpeg: path(script), FFprobe: path(probe)}.Find(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return quick, whole
}

// TestSamePrograms compares what both say of themselves, and the bytes that they
// make with the encoders and filters that films and their tests need.
func TestSamePrograms(t *testing.T) {
	t.Parallel()
	quick, whole := both(t)
	made := func(tool *ffmpeg.Tool, args ...string) string {
		t.Helper()
		var out bytes.Buffer
		if err := tool.Run(t.Context(), ffmpeg.Command{Args: args, Stdout: &out}); err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%x %d", sha256.Sum256(out.Bytes()), out.Len())
	}
	for _, question := range []string{"-encoders", "-decoders", "-demuxers", "-filters"} {
		if made(quick, question) != made(whole, question) {
			t.Errorf("%s is answered otherwise", question)
		}
	}
	names := []string{}
	outputs := func(dir string) (args []string) {
		args = strings.Fields("-f lavfi -i testsrc2=s=64x48:r=10:d=0.5 -f lavfi -i sine=d=0.5:r=48000 -y")
		for i, c := range []string{
			"-map 0 -c:v libx264", "-map 0 -c:v libx265 -x265-params pools=none:frame-threads=1",
			"-map 0 -c:v libvpx-vp9", "-map 0 -c:v prores", "-map 0 -c:v ffv1", "-map 0 -c:v mjpeg",
			"-map 0 -c:v mpeg4",
			"-map 1 -c:a aac", "-map 1 -c:a libmp3lame", "-map 1 -c:a libopus", "-map 1 -c:a flac",
			"-map 1 -af loudnorm -c:a pcm_s24le",
			"-map 0 -vf format=gbrp,zscale=tin=bt709:t=linear,tonemap=hable,scale=32:24:flags=area -c:v ffv1",
		} {
			args = append(append(args, strings.Fields(c)...),
				strings.Fields("-threads 1 -fflags +bitexact -flags:v +bitexact -flags:a +bitexact")...)
			name := fmt.Sprint(i, ".mkv")
			args, names = append(args, "file:"+filepath.Join(dir, name)), append(names, c)
		}
		return args
	}
	one, other := t.TempDir(), t.TempDir()
	made(quick, outputs(one)...)
	names = names[:0]
	made(whole, outputs(other)...)
	for i, c := range names {
		a, err := os.ReadFile(filepath.Join(one, fmt.Sprint(i, ".mkv")))
		b, err2 := os.ReadFile(filepath.Join(other, fmt.Sprint(i, ".mkv")))
		if err != nil || err2 != nil || len(a) < 500 || !bytes.Equal(a, b) {
			t.Errorf("%s makes other bytes, %d and %d of them: %v %v", c, len(a), len(b), err, err2)
		}
	}
}

// TestWhatIsNotKeptEndsTheProcess asks for a picture of a vector drawing, whose library
// a stand-in replaces, and for the same of the whole program by the same script.
func TestWhatIsNotKeptEndsTheProcess(t *testing.T) {
	quick, _ := both(t)
	drawing := filepath.Join(t.TempDir(), "drawing.svg")
	if err := os.WriteFile(drawing, []byte(`<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="16" height="16"><rect width="16" height="16"/></svg>`), 0o666); err != nil {
		t.Fatal(err)
	}
	look := func() error {
		return quick.Run(t.Context(), ffmpeg.Command{Args: []string{"-i", "file:" + drawing, "-f", "null", "-"}})
	}
	if err := look(); err == nil || !strings.Contains(err.Error(), "illegal instruction") {
		t.Errorf("a drawing was read with a stand-in: %v", err)
	}
	t.Setenv(light.Variable, light.Whole)
	if err := look(); err != nil {
		t.Errorf("the whole program: %v", err)
	}
}

// TestFewerLibraries counts what the programs still look for.
func TestFewerLibraries(t *testing.T) {
	quick, whole := both(t)
	dir := filepath.Dir(quick.FFmpeg)
	standIns, err := filepath.Glob(filepath.Join(dir, "*.so*"))
	if err != nil || len(standIns) < 20 {
		t.Errorf("%d stand-ins: %v", len(standIns), err)
	}
	for _, path := range standIns {
		f, err := elf.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		needs, err := f.ImportedLibraries()
		if err == nil && len(needs) > 0 {
			t.Errorf("%s needs %v", path, needs)
		}
		f.Close()
	}
	if quick.Version.Text != whole.Version.Text || !quick.Encoder("libx264") {
		t.Errorf("version %s, installed %s", quick.Version.Text, whole.Version.Text)
	}
}

// TestNoFolder names what no stand-ins are made for.
func TestNoFolder(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only the libraries of Linux are known")
	}
	dir := t.TempDir()
	script := filepath.Join(dir, "ffmpeg")
	if err := os.WriteFile(script, []byte("#!/bin/sh\n"+strings.Repeat("# a script\n", 20)), 0o777); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ program, want string }{
		{filepath.Join(dir, "missing"), "no such file"},
		{script, "bad magic number"},
	} {
		_, err := light.Folder(dir, c.program, c.program, nil)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.program, err)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, "making-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("%v are left: %v", left, err)
	}
}

// TestATrialThatFails keeps nothing, so that the next run tries again.
func TestATrialThatFails(t *testing.T) {
	_, whole := both(t)
	dir := t.TempDir()
	refused := fmt.Errorf("refused")
	if _, err := light.Folder(dir, whole.FFmpeg, whole.FFprobe,
		func(_, _ string) error { return refused }); err == nil {
		t.Error("a folder that does not work is given")
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("%v are left: %v", left, err)
	}
}
