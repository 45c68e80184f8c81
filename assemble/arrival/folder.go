// Package arrival finds recordings in a production's folder that the manifest
// does not name yet, waits until they are complete, and says whose they are. It
// opens no recording and writes nothing.
package arrival

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// extensions are the endings of files that count as recordings. What a file
// really is decides its content; this only keeps letters and scores out.
var extensions = []string{
	".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi",
	".wav", ".m4a", ".mp3", ".aac", ".flac", ".ogg", ".opus", ".aif", ".aiff",
}

// Walk visits what looks like a recording in a folder and below it, without hidden files
// and the outputs. It fails where a folder cannot be read; one that goes away meanwhile
// is passed over.
func Walk(dir, out string, visit func(rel string, info fs.FileInfo)) error {
	return walk(dir, out, extensions, visit)
}

// scores are the endings of files that count as scores; .xml can be anything.
var scores = []string{".mid", ".midi", ".musicxml", ".mxl"}

// Scores returns what looks like a score in a folder and below it, with slashes. It
// fails as [Walk] does.
func Scores(dir, out string) ([]string, error) {
	var all []string
	err := walk(dir, out, scores, func(rel string, _ fs.FileInfo) { all = append(all, filepath.ToSlash(rel)) })
	return all, err
}

// walk visits the ordinary files with one of these endings.
func walk(dir, out string, endings []string, visit func(rel string, info fs.FileInfo)) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // renamed meanwhile
		} else if err != nil {
			return err
		}
		hidden := strings.HasPrefix(d.Name(), ".") && path != dir
		if d.IsDir() {
			if hidden || path == filepath.Join(dir, session.OutFolder) || path == out || isMade(path) {
				return fs.SkipDir
			}
			return nil
		}
		if hidden || !slices.Contains(endings, strings.ToLower(filepath.Ext(path))) {
			return nil
		}
		info, err := d.Info()
		if err != nil || !info.Mode().IsRegular() {
			return nil // gone, or nothing that can be opened as a take
		}
		rel, err := filepath.Rel(dir, path)
		if err == nil {
			visit(rel, info)
		}
		return err
	})
}

// isMade reports whether a folder holds the outputs of a production below: its guide is
// no score, its film no take.
func isMade(path string) bool {
	if filepath.Base(path) != session.OutFolder {
		return false
	}
	_, err := os.Stat(filepath.Join(filepath.Dir(path), manifest.FileName))
	return err == nil
}

// namedFiles returns every recording and every other file that the manifest names, but for
// scores.
func namedFiles(man *production.Production) []string {
	var all []string
	for _, t := range man.Takes {
		for _, f := range []*production.File{t.Video, t.Audio} {
			if f != nil {
				all = append(all, filepath.FromSlash(f.Path))
			}
		}
	}
	if man.Beats != nil {
		all = append(all, filepath.FromSlash(man.Beats.File))
	}
	if c := man.Guide.Conductor; c != nil {
		all = append(all, filepath.FromSlash(c.Video.Path))
	}
	for _, a := range man.Assets() {
		all = append(all, filepath.FromSlash(a.Path))
	}
	return all
}

// Fingerprint returns what a production is made of: the manifest's bytes and the sizes
// and times of the files it names. It fails when the manifest cannot be read; a named
// file that is not there counts as such.
func Fingerprint(man *production.Production) (string, error) {
	data, err := os.ReadFile(man.Path)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.Write(data)
	for _, f := range namedFiles(man) {
		if info, err := os.Stat(filepath.Join(man.Dir, f)); err == nil {
			fmt.Fprintf(&b, "\x00%s %d %d", f, info.Size(), info.ModTime().UnixNano())
		}
	}
	return b.String(), nil
}

// Folder is a production's folder while it is watched.
type Folder struct {
	// Out is the folder of outputs, in which nothing arrives.
	Out string
	// Settled is how many scans in a row must find a file unchanged before it
	// counts as complete.
	Settled int

	files map[string]*file // by path relative to the folder
}

// file is what is known of one file.
type file struct {
	size    int64
	mtime   time.Time
	settled int  // scans in a row that found it like this
	done    bool // dealt with until it or the manifest changes
	told    string
}

// Scan notes the recordings that the manifest does not name. It fails as [Walk] does;
// what was not seen by then counts as gone.
func (d *Folder) Scan(man *production.Production) error {
	named := map[string]bool{}
	for _, f := range namedFiles(man) {
		named[filepath.Clean(f)] = true
	}
	if d.files == nil {
		d.files = map[string]*file{}
	}
	seen := map[string]bool{}
	err := Walk(man.Dir, d.Out, func(rel string, info fs.FileInfo) {
		if named[rel] || info.Size() == 0 {
			return
		}
		seen[rel] = true
		f := d.files[rel]
		if f == nil || f.size != info.Size() || !f.mtime.Equal(info.ModTime()) {
			d.files[rel] = &file{size: info.Size(), mtime: info.ModTime(), settled: 1}
			return
		}
		f.settled++
	})
	maps.DeleteFunc(d.files, func(rel string, _ *file) bool { return !seen[rel] })
	return err
}

// Complete returns the files that stopped growing since it was called last, in
// the order of their paths. growing reports whether others may still.
func (d *Folder) Complete() (list []string, growing bool) {
	for _, path := range slices.Sorted(maps.Keys(d.files)) {
		switch f := d.files[path]; {
		case f.done:
		case f.settled < d.Settled:
			growing = true
		default:
			f.done = true
			list = append(list, path)
		}
	}
	return list, growing
}

// Again makes [Folder.Complete] return all complete files once more: there may
// be a place for them now. It reports whether there are any.
func (d *Folder) Again() bool {
	for _, f := range d.files {
		f.done = false
	}
	return len(d.files) > 0
}

// IsNews reports whether text was not the last that was told of a file, and
// remembers it.
func (d *Folder) IsNews(path, text string) bool {
	f := d.files[path]
	if f == nil || f.told == text {
		return false
	}
	f.told = text
	return true
}

// Match returns the take whose file this is by its name; picture tells that the
// file has one. Where a person has to decide, why says so and hint what to do:
// take is "" when several or none could be meant, and the take when that has such
// a file already.
func Match(man *production.Production, path string, picture bool) (take, why, hint string) {
	found := manifest.TakesFor(man, path)
	hint = "write the file into the manifest where it belongs, or give it the take's name"
	switch len(found) {
	case 0:
		var waiting []string
		for _, t := range man.Takes {
			if t.Expected {
				waiting = append(waiting, t.Name)
			}
		}
		return "", fmt.Sprintf("no take, player or part is called like that; takes still to come: %q", waiting), hint
	case 1:
	default:
		return "", fmt.Sprintf("it could be of any of %q", found), hint
	}
	for _, t := range man.Takes {
		role, has := production.Audio, t.Audio != nil
		if picture {
			role, has = production.Video, t.Video != nil
		}
		if t.Name == found[0] && has {
			return t.Name, fmt.Sprintf("take %q already has %s", t.Name, role.Phrase()),
				"if this is a better one, write its name in place of the other's"
		}
	}
	return found[0], "", ""
}
