package ffmpeg

import (
	"os/exec"
	"runtime"
	"strings"
)

// installer is a package manager and how it brings ffmpeg.
type installer struct {
	system  string // runtime.GOOS
	program string
	// plain installs ffmpeg where there is none; full a build with all parts, from
	// a package source that somebody has to set up first, when it names one.
	plain, full, source string
}

// installers in the order in which they are looked for. Commands of dnf, zypper,
// apk and pacman are from memory; those of brew and winget from their packages'
// descriptions. None but apt-get was run.
var installers = []installer{
	{"linux", "apt-get", "sudo apt-get install ffmpeg", "sudo apt-get install ffmpeg", ""},
	{"linux", "dnf", "sudo dnf install ffmpeg-free",
		"sudo dnf swap ffmpeg-free ffmpeg --allowerasing", "RPM Fusion"},
	{"linux", "zypper", "sudo zypper install ffmpeg",
		"sudo zypper install --allow-vendor-change ffmpeg", "Packman"},
	{"linux", "pacman", "sudo pacman -S ffmpeg", "sudo pacman -S ffmpeg", ""},
	{"linux", "apk", "sudo apk add ffmpeg", "sudo apk add ffmpeg", ""},
	{"darwin", "brew", "brew install ffmpeg", "brew install ffmpeg-full", ""},
	{"windows", "winget", "winget install --id Gyan.FFmpeg", "winget install --id Gyan.FFmpeg", ""},
}

// Install returns by which command ffmpeg is installed on this system, or by which
// of several where its package manager is not known: "with `apt-get …`".
func Install() string {
	return pick(runtime.GOOS, isThere, func(i installer) string { return i.plain })
}

// FullBuild is [Install] for an ffmpeg with everything that this program can use.
func FullBuild() string {
	return pick(runtime.GOOS, isThere, full)
}

// full returns the command for a full build and where it comes from.
func full(i installer) string {
	if i.source != "" {
		return i.full + " # from " + i.source
	}
	return i.full
}

// isThere reports whether a program is on the search path.
func isThere(program string) bool {
	_, err := exec.LookPath(program)
	return err == nil
}

// pick returns what a system's first package manager is told.
func pick(system string, there func(string) bool, what func(installer) string) string {
	var all []string
	for _, i := range installers {
		if i.system == system && there(i.program) {
			return "with `" + what(i) + "`"
		}
		if c := what(i); i.system == system {
			all = append(all, c)
		}
	}
	if all == nil {
		return "with the system's package manager"
	}
	return "with one of: " + strings.Join(all, "; ")
}
