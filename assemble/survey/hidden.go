package survey

import (
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/takes"
)

// hiddenWords replaces, in a text about any take, the files and names that are
// hidden; nil when none is. It catches names in evidence and findings that other
// rooms have written before anybody asked who is hidden.
func hiddenWords(man *production.Production) *strings.Replacer {
	var pairs [][2]string
	for i := range man.Takes {
		t := takes.Take{Take: &man.Takes[i]}
		if !t.HideName || t.IsWithheld() {
			continue
		}
		for _, f := range []struct {
			role takes.Role
			file *production.File
		}{{takes.Video, t.Take.Video}, {takes.Audio, t.Take.Audio}} {
			if f.file != nil {
				called := t.PublicFile(f.role, f.file.Path)
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

// hide takes hidden files and names out of what a page says of a take. It must know
// every field that can hold a name: a new one has to be added here. The test of what
// no output may say (canary_test.go in assemble) finds one that was forgotten.
func hide(t *report.Reviewed, words *strings.Replacer) {
	if words == nil {
		return
	}
	for i, f := range t.Files {
		t.Files[i] = words.Replace(f)
	}
	for i := range t.Findings {
		f := &t.Findings[i]
		f.File, f.What = words.Replace(f.File), words.Replace(f.What)
		f.Ask, f.Request = words.Replace(f.Ask), words.Replace(f.Request)
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
