// Package ffmpegtest gives tests the real ffmpeg and files made by it.
//
// A test that needs ffmpeg is skipped where there is none, unless the
// environment variable CI is set: there a missing ffmpeg is a failure, so that
// nobody mistakes a run without it for a passing one.
package ffmpegtest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// find asks once for all tests of a package.
var find = sync.OnceValues(func() (*ffmpeg.Tool, error) { return ffmpeg.Find(context.Background()) })

// Tool returns the ffmpeg on the search path.
func Tool(t testing.TB) *ffmpeg.Tool {
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
