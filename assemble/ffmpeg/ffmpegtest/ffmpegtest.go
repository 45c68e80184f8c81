// Package ffmpegtest gives tests the real ffmpeg and files made by it.
//
// A test that needs ffmpeg is skipped where there is none, unless the
// environment variable CI is set: there a missing ffmpeg is a failure, so that
// nobody mistakes a run without it for a passing one.
package ffmpegtest

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest/light"
)

// find asks once for all tests of a package.
var find = sync.OnceValues(func() (*ffmpeg.Tool, error) {
	lighten()
	return ffmpeg.Find(context.Background())
})

// lighten puts an ffmpeg that starts quickly at the front of the search path, for
// this process and those it starts; see [light]. Benchmarks measure the installed
// one. Where there is none that starts quickly nothing changes.
func lighten() {
	if f := flag.Lookup("test.bench"); f != nil && f.Value.String() != "" {
		os.Setenv(light.Variable, light.Whole)
	}
	cache, err := os.UserCacheDir()
	if err != nil || os.Getenv(light.Variable) == light.Whole {
		return
	}
	dirs := filepath.SplitList(os.Getenv("PATH"))
	own := ffmpeg.Options{FFmpeg: program(dirs, "ffmpeg"), FFprobe: program(dirs, "ffprobe")}
	dir, err := light.Folder(filepath.Join(cache, "ripieno-tests"), own.FFmpeg, own.FFprobe, try)
	if err == nil {
		os.Setenv("PATH", dir+string(os.PathListSeparator)+os.Getenv("PATH"))
		whole = own
	}
}

// whole are the programs as they are installed, empty when tests use no others.
var whole ffmpeg.Options

// findWhole asks the installed programs once for all tests of a package.
var findWhole = sync.OnceValues(func() (*ffmpeg.Tool, error) {
	if tool, err := find(); err != nil || whole.FFmpeg == "" {
		return tool, err
	}
	return whole.Find(context.Background())
})

// program returns the first file of a name in folders, "" for none.
func program(dirs []string, name string) string {
	for _, dir := range dirs {
		path := filepath.Join(dir, name)
		if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0 {
			return path
		}
	}
	return ""
}

// try makes and reads a film of a few frames with programs that were just made.
func try(program, probe string) error {
	ctx := context.Background()
	tool, err := ffmpeg.Options{FFmpeg: program, FFprobe: probe}.Find(ctx)
	if err != nil {
		return err
	}
	film := program + ".mkv"
	defer os.Remove(film)
	if err := tool.Run(ctx, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", "testsrc2=s=64x48:r=10:d=1",
		"-f", "lavfi", "-i", "sine=d=1", "-c:v", "libx264", "-c:a", "aac", "-y", "file:" + film}}); err != nil {
		return err
	}
	return tool.Run(ctx, ffmpeg.Command{Args: []string{"-i", "file:" + film, "-f", "null", "-"}})
}

// Tool returns the ffmpeg on the search path, with stand-ins for the libraries that no
// test needs.
func Tool(t testing.TB) *ffmpeg.Tool {
	t.Helper()
	return required(t, find)
}

// Whole returns the ffmpeg that is installed, as it is: for tests of what it refuses,
// where a stand-in that ends the process would look like a refusal, and of what a
// start costs.
func Whole(t testing.TB) *ffmpeg.Tool {
	t.Helper()
	return required(t, findWhole)
}

// required returns what find finds and ends the test where there is none.
func required(t testing.TB, find func() (*ffmpeg.Tool, error)) *ffmpeg.Tool {
	t.Helper()
	tool, err := find()
	switch {
	case err == nil:
		return tool
	case os.Getenv("CI") != "":
		t.Fatal(err)
	default:
		t.Skip(err)
	}
	return nil
}

// Make runs ffmpeg with args and a last argument for the file name in a fresh
// folder, and returns the file's absolute path. Encoders run on one thread, so
// that the bytes are the same on every computer with the same ffmpeg.
func Make(t testing.TB, name string, args ...string) string {
	t.Helper()
	return MakeAll(t, nil, Output{name, args})[0]
}

// Output is one file that MakeAll makes.
type Output struct {
	Name string // unique within the call
	Args []string
}

// MakeAll makes several files in one run of ffmpeg, which mostly costs its
// start, from the same inputs. The paths are in the order of the outputs.
func MakeAll(t testing.TB, inputs []string, outputs ...Output) []string {
	t.Helper()
	dir := t.TempDir()
	args := append([]string{"-y"}, inputs...)
	var paths []string
	for _, o := range outputs {
		path := filepath.Join(dir, o.Name)
		args = append(append(args, o.Args...), "-threads", "1", "file:"+path)
		paths = append(paths, path)
	}
	if err := Tool(t).Run(context.Background(), ffmpeg.Command{Args: args}); err != nil {
		t.Fatalf("making %s: %v", outputs[0].Name, err)
	}
	return paths
}

// remembering is a shell script in the place of one of the programs: what it is
// asked at the beginning of every run it asks the program once and then knows.
const remembering = `#!/bin/sh
case "$*" in
-version) answer=version ;;
"-hide_banner -encoders") answer=encoders ;;
"-hide_banner -filters") answer=filters ;;
*) exec '%[1]s' "$@" ;;
esac
if ! [ -f "$0.$answer" ]; then
	'%[1]s' "$@" >"$0.$answer.$$" || exit
	mv "$0.$answer.$$" "$0.$answer"
fi
exec cat "$0.$answer"
`

// Remember writes ffmpeg and ffprobe into a folder, for the search path of tests
// that start the program many times: being asked what they are and can do takes
// a third of a second of a processor each time. Everything else is done by the
// real programs. Where there is no shell the folder stays empty.
func Remember(tool *ffmpeg.Tool, dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	for name, program := range map[string]string{"ffmpeg": tool.FFmpeg, "ffprobe": tool.FFprobe} {
		if err := os.WriteFile(filepath.Join(dir, name), fmt.Appendf(nil, remembering, program), 0o755); err != nil {
			return err
		}
	}
	return nil
}
