// Package build says what this program was made of: its version and commit, the
// system it runs on, and the modules, fonts and data in it with their licences.
//
// Version and commit are given by cmd/release.sh when it links the program. A
// program that was built otherwise says what the go command knows of it.
package build

import (
	"cmp"
	"runtime"
	"runtime/debug"
)

// Given to the linker: -X ripieno/assemble/build.version=1.2.0
var version, commit, day string

// Info is what a program says of itself.
type Info struct {
	Version string `json:"version"`           // "1.2.0"; "development" for what is no release
	Commit  string `json:"commit,omitempty"`  // of the source, "" when nobody knows
	Day     string `json:"day,omitempty"`     // of the commit, such as 2031-05-04
	Changed bool   `json:"changed,omitempty"` // the source had changes that are in no commit
	Go      string `json:"go"`
	System  string `json:"system"` // such as linux/amd64
}

// Read returns what this program is.
func Read() Info {
	i := Info{Version: cmp.Or(version, "development"), Commit: commit, Day: day, Go: runtime.Version(),
		System: runtime.GOOS + "/" + runtime.GOARCH}
	if commit != "" {
		return i
	}
	if b, ok := debug.ReadBuildInfo(); ok {
		for _, s := range b.Settings {
			switch s.Key {
			case "vcs.revision":
				i.Commit = s.Value
			case "vcs.time":
				i.Day = s.Value[:min(len(s.Value), len("2006-01-02"))]
			case "vcs.modified":
				i.Changed = s.Value == "true"
			}
		}
	}
	return i
}
