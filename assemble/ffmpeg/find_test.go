package ffmpeg

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// program puts an empty program into a folder.
func program(t *testing.T, dir, name string) string {
	t.Helper()
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, nil, 0o777); err != nil {
		t.Fatal(err)
	}
	return path
}

// ffmpeg is found beside the program, then on the path, then where winget puts it;
// a folder of the path that the program itself lies in does not go before the path.
func TestWhereFFmpegIsFound(t *testing.T) {
	dir := t.TempDir()
	beside, local := filepath.Join(dir, "ripieno"), filepath.Join(dir, "AppData")
	none := func(string) (string, error) { return "", exec.ErrNotFound }
	onPath := func(name string) (string, error) { return filepath.Join("path", name), nil }
	env := func(name string) string { return map[string]string{"LOCALAPPDATA": local}[name] }
	windows := places{system: "windows", beside: []string{beside}, path: none, env: env}

	if got, err := windows.locate("", "ffmpeg"); err == nil {
		t.Fatalf("found where there is none: %s", got)
	}
	packages := filepath.Join(local, "Microsoft", "WinGet", "Packages",
		"Gyan.FFmpeg_Microsoft.Winget.Source_8wekyb3d8bbwe")
	older := program(t, filepath.Join(packages, "ffmpeg-7.1-full_build", "bin"), "ffmpeg.exe")
	newer := program(t, filepath.Join(packages, "ffmpeg-8.0-full_build", "bin"), "ffmpeg.exe")
	if got, err := windows.locate("", "ffmpeg"); got != newer || err != nil {
		t.Errorf("in winget's packages %s, %v; want %s and not %s", got, err, newer, older)
	}
	link := program(t, filepath.Join(local, "Microsoft", "WinGet", "Links"), "ffmpeg.exe")
	if got, err := windows.locate("ffmpeg", "ffmpeg"); got != link || err != nil {
		t.Errorf("among winget's links %s, %v", got, err)
	}
	windows.path = onPath
	if got, _ := windows.locate("", "ffmpeg"); got != filepath.Join("path", "ffmpeg") {
		t.Errorf("the path is asked before winget's folder: %s", got)
	}
	own := program(t, beside, "ffmpeg.exe")
	if got, _ := windows.locate("", "ffmpeg"); got != own {
		t.Errorf("beside the program: %s", got)
	}
	windows.dirs = []string{beside + string(filepath.Separator)}
	if got, _ := windows.locate("", "ffmpeg"); got != filepath.Join("path", "ffmpeg") {
		t.Errorf("the path decides about its own folders: %s", got)
	}
	windows.dirs, windows.path = nil, none
	if got, err := windows.locate(`D:\tools\ffmpeg.exe`, "ffmpeg"); err == nil {
		t.Errorf("what was named is not looked for elsewhere: %s", got)
	}
}

// A file that may not be run is no program.
func TestAFileIsNoProgram(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("every file may be run here")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "ffmpeg"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if got := (places{system: "linux"}).file([]string{dir}, "ffmpeg"); got != "" {
		t.Errorf("found %s", got)
	}
}
