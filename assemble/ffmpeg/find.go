package ffmpeg

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"

	"ripieno/assemble/fault"
)

// places is where programs are looked for that were not named.
type places struct {
	system string                       // runtime.GOOS
	beside []string                     // folders of this program: as it was called, and where links lead
	path   func(string) (string, error) // the search path
	dirs   []string                     // the folders of the search path
	env    func(string) string
}

// here returns the places of this machine.
func here() places {
	p := places{system: runtime.GOOS, path: exec.LookPath, dirs: filepath.SplitList(os.Getenv("PATH")), env: os.Getenv}
	if self, err := os.Executable(); err == nil {
		p.beside = append(p.beside, filepath.Dir(self))
		if real, err := filepath.EvalSymlinks(self); err == nil && filepath.Dir(real) != p.beside[0] {
			p.beside = append(p.beside, filepath.Dir(real))
		}
	}
	return p
}

// locate finds name, or standard when name is empty or standard itself: beside this
// program, on the search path, then where the system's package manager puts
// what is on the search path of newer terminals only.
func (p places) locate(name, standard string) (string, error) {
	if name == "" {
		name = standard
	}
	if name == standard {
		if found := p.file(p.ownFolders(), standard); found != "" {
			return found, nil
		}
	}
	path, err := p.path(name)
	if err == nil {
		return path, nil
	}
	if name == standard {
		if found := p.file(p.installed(standard), standard); found != "" {
			return found, nil
		}
	}
	switch {
	case errors.Is(err, exec.ErrDot):
		// A program lying in the current folder by chance is not run.
		return "", fault.New(fault.FFmpeg, "", fmt.Sprintf("%s was found only in the current folder", standard),
			"give its whole path").Because(err)
	case name != standard:
		return "", fault.New(fault.FFmpeg, "", fmt.Sprintf("%s was not found at %q", standard, name), installHint())
	}
	return "", fault.New(fault.FFmpeg, "", standard+" was not found", installHint())
}

// ownFolders returns the folders beside this program in which somebody has put
// ffmpeg on purpose. A folder that is on the search path is none: the path's order
// decides there.
func (p places) ownFolders() []string {
	return slices.DeleteFunc(slices.Clone(p.beside), func(dir string) bool {
		return slices.ContainsFunc(p.dirs, func(d string) bool { return filepath.Clean(d) == dir })
	})
}

// installed returns the folders of package managers. Terminals that were open
// while winget ran do not have its folder on their path, and programs that are
// started from the desktop of a Mac do not have Homebrew's; its full build is on
// nobody's. Of several versions the last by name is taken.
func (p places) installed(standard string) []string {
	var dirs []string
	switch p.system {
	case "windows":
		for _, root := range []string{p.env("LOCALAPPDATA"), p.env("ProgramFiles")} {
			if root == "" {
				continue
			}
			winget := filepath.Join(root, "Microsoft", "WinGet")
			if root == p.env("ProgramFiles") {
				winget = filepath.Join(root, "WinGet")
			}
			dirs = append(dirs, filepath.Join(winget, "Links"))
			packages, _ := filepath.Glob(filepath.Join(winget, "Packages", "*FFmpeg*", "*", "bin"))
			slices.Reverse(packages)
			dirs = append(dirs, packages...)
		}
	case "darwin":
		for _, root := range []string{"/opt/homebrew", "/usr/local"} {
			dirs = append(dirs, filepath.Join(root, "opt", "ffmpeg-full", "bin"), filepath.Join(root, "bin"))
		}
	}
	return dirs
}

// file returns the path of a program in the first folder that has it, "" for none.
func (p places) file(dirs []string, name string) string {
	if p.system == "windows" {
		name += ".exe"
	}
	for _, dir := range dirs {
		path := filepath.Join(dir, name)
		if st, err := os.Stat(path); err == nil && st.Mode().IsRegular() &&
			(p.system == "windows" || st.Mode()&0o111 != 0) {
			return path
		}
	}
	return ""
}

// installHint returns how to get ffmpeg here.
func installHint() string { return "install it " + Install() }
