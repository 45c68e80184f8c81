package assemble

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/report"
)

// What is made may be passed on, so nothing of a take that is withheld, and no
// name that its player wants hidden, stands in any file. What is printed on the
// terminal of the person who does the work names everybody: they have to act.

// publicTake is how what is made calls the take of a tile: not at all when it is
// withheld.
func publicTake(t plan.Tile) string {
	if t.Absent == plan.Withheld {
		return ""
	}
	return t.Take
}

// publicFile is how what is made calls a file of a take: by its path or, where
// the player's name is hidden, by what it is, for people name files after
// themselves.
func publicFile(t manifest.Take, role, path string) string {
	if !t.HideName {
		return path
	}
	if role == roleAudio {
		return "sound of " + t.Name
	}
	return "video of " + t.Name
}

// mayBeNamed reports whether a take has no name that has to be kept out of path.
func mayBeNamed(t manifest.Take, path string) bool { return !t.HideName || !t.TellsName(path) }

// countWithheld counts the takes of which nothing may be made.
func (p *Production) countWithheld() int {
	n := 0
	for _, t := range p.man.Takes {
		if t.IsWithheld() {
			n++
		}
	}
	return n
}

// hiddenWords replaces, in a text about any take, the files and names that are
// hidden; nil when none is.
func (p *Production) hiddenWords() *strings.Replacer {
	var pairs [][2]string
	for _, t := range p.man.Takes {
		if !t.HideName || t.IsWithheld() {
			continue
		}
		for _, f := range []struct {
			role string
			file *manifest.File
		}{{roleVideo, t.Video}, {roleAudio, t.Audio}} {
			if f.file != nil {
				called := publicFile(t, f.role, f.file.Path)
				pairs = append(pairs, [2]string{f.file.Path, called}, [2]string{filepath.Base(f.file.Path), called})
			}
		}
		if t.Player != "" {
			pairs = append(pairs, [2]string{t.Player, t.Name})
		}
	}
	if pairs == nil {
		return nil
	}
	// The longest first: of two that begin alike the first is taken.
	slices.SortStableFunc(pairs, func(a, b [2]string) int { return len(b[0]) - len(a[0]) })
	var flat []string
	for _, pair := range pairs {
		flat = append(flat, pair[0], pair[1])
	}
	return strings.NewReplacer(flat...)
}

// hide takes hidden files and names out of what a page says of a take.
func hide(t *report.Reviewed, words *strings.Replacer) {
	if words == nil {
		return
	}
	for i, f := range t.Files {
		t.Files[i] = words.Replace(f)
	}
	for i := range t.Findings {
		f := &t.Findings[i]
		f.File, f.What, f.Ask = words.Replace(f.File), words.Replace(f.What), words.Replace(f.Ask)
	}
	for i := range t.Places {
		l := &t.Places[i]
		l.File, l.Reason = words.Replace(l.File), words.Replace(l.Reason)
		l.Evidence = slices.Clone(l.Evidence)
		for k, e := range l.Evidence {
			l.Evidence[k] = words.Replace(e)
		}
	}
	for i := range t.Levels {
		t.Levels[i].File = words.Replace(t.Levels[i].File)
	}
}

// hiddenNameFault says that a hand-over cannot refer to a file, because that has the name
// of somebody who does not want to be named.
func hiddenNameFault(t manifest.Take, f *manifest.File) Bad {
	return bad(t.Name, kindRelease, fault.At(fault.Decision, f.Mark,
		fmt.Sprintf("%s names the player of take %q, whose name is not to be shown, so the hand-over does not refer to it; "+
			"the stem stands for its sound", f.Path, t.Name),
		"rename the file and write the new name here"))
}
