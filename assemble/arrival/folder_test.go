package arrival

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/production"
)

// put writes a file of a folder with so many bytes, at a moment that differs from
// size to size, as a file that is being copied has it.
func put(t *testing.T, dir, name string, size int) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	when := time.Date(2031, 6, 12, 0, 0, size, 0, time.UTC)
	err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, make([]byte, size), 0o666),
		os.Chtimes(path, when, when))
	if err != nil {
		t.Fatal(err)
	}
}

// round is a production of four takes of which one is in.
func round(dir string) *production.Production {
	return &production.Production{Dir: dir, Path: filepath.Join(dir, "production.yaml"),
		Logo: &production.Asset{Path: "art/logo.mp4"},
		Takes: []production.Take{
			{Name: "oboe", Player: "Mara Voss", Part: "Oboe", Video: &production.File{Path: "intake/mara.mov"}},
			{Name: "horn-1", Player: "Ilse Brandt", Part: "Horn 1", Expected: true},
			{Name: "horn-2", Player: "Otto Larch", Part: "Horn 2", Expected: true},
			{Name: "viola", Player: "Davít Sørel", Part: "Viola", Audio: &production.File{Path: "intake/viola.wav"}},
		}}
}

// What counts as a recording goes by its ending, in any capitals; hidden files and
// folders, the outputs wherever they are, and what is no file are passed over.
func TestWalk(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.mp4", "intake/deep/b.WAV", "intake/c.Opus", "intake/.part.mp4",
		".ripieno/ab/d.wav",
		"out/final.mp4", "elsewhere/rough.mp4", "notes.txt", "score.musicxml", "no-ending", "out.mp4"} {
		put(t, dir, name, 1)
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.mov"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("a.mp4", filepath.Join(dir, "link.mp4")); err != nil {
		t.Fatal(err)
	}
	var got []string
	err := Walk(dir, filepath.Join(dir, "elsewhere"), func(rel string, info fs.FileInfo) {
		if info.Size() != 1 {
			t.Errorf("%s: %d bytes", rel, info.Size())
		}
		got = append(got, filepath.ToSlash(rel))
	})
	if want := []string{"a.mp4", "intake/c.Opus", "intake/deep/b.WAV", "out.mp4"}; err != nil ||
		!slices.Equal(got, want) {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
	if err := Walk(filepath.Join(dir, "gone"), "",
		func(string, fs.FileInfo) { t.Error("something is there") }); err != nil {
		t.Errorf("a folder that went away meanwhile: %v", err)
	}
}

// A production is another one when its manifest, a take or an asset is; that a
// take comes or goes counts, and what the manifest does not name does not.
func TestFingerprint(t *testing.T) {
	dir := t.TempDir()
	man := round(dir)
	if _, err := Fingerprint(man); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("without a manifest: %v", err)
	}
	put(t, dir, "production.yaml", 10)
	put(t, dir, "intake/mara.mov", 20)
	last, seen := "", map[string]bool{}
	for _, c := range []struct {
		what    string
		do      func()
		another bool
	}{
		{"the first time", func() {}, true},
		{"nothing", func() {}, false},
		{"a file that nobody names", func() { put(t, dir, "intake/other.mov", 5) }, false},
		{"a longer take", func() { put(t, dir, "intake/mara.mov", 21) }, true},
		{"a take that came", func() { put(t, dir, "intake/viola.wav", 30) }, true},
		{"a logo", func() { put(t, dir, "art/logo.mp4", 4) }, true},
		{"a take that went", func() { os.Remove(filepath.Join(dir, "intake", "viola.wav")) }, true},
		{"another manifest", func() { os.WriteFile(man.Path, []byte("version: 1"), 0o666) }, true},
	} {
		c.do()
		got, err := Fingerprint(man)
		if err != nil {
			t.Fatal(err)
		}
		if another := got != last; another != c.another || another && seen[got] {
			t.Errorf("%s: another fingerprint %v, want %v", c.what, another, c.another)
		}
		last, seen[got] = got, true
	}
}

// step is one look at a folder that is watched.
type step struct {
	what     string
	do       func()
	complete []string
	growing  bool
}

// A file is complete when it was found twice as it is, and told once; growing,
// empty and named ones are not, and one that went and came begins anew.
func TestCompleteFiles(t *testing.T) {
	dir := t.TempDir()
	d := &Folder{Out: filepath.Join(dir, "out"), Settled: 2}
	put(t, dir, "intake/mara.mov", 9) // named by the manifest
	late := filepath.Join(dir, "intake", "late.mp4")
	for _, s := range []step{
		{"nothing", func() {}, nil, false},
		{"it appears, empty", func() { put(t, dir, "intake/late.mp4", 0) }, nil, false},
		{"it grows", func() { put(t, dir, "intake/late.mp4", 5) }, nil, true},
		{"it grows on", func() { put(t, dir, "intake/late.mp4", 6) }, nil, true},
		{"it rests", func() {}, []string{"intake/late.mp4"}, false},
		{"it rests on", func() {}, nil, false},
		{"another comes", func() { put(t, dir, "a.wav", 3) }, nil, true},
		{"both rest", func() {}, []string{"a.wav"}, false},
		{"a new version", func() { put(t, dir, "intake/late.mp4", 7) }, nil, true},
		{"which rests", func() {}, []string{"intake/late.mp4"}, false},
		{"it is gone", func() { os.Remove(late) }, nil, false},
		{"and the same again", func() { put(t, dir, "intake/late.mp4", 7) }, nil, true},
		{"which rests, too", func() {}, []string{"intake/late.mp4"}, false},
		{"everything may be told again", func() {
			if !d.Again() {
				t.Error("there is nothing to tell again")
			}
		}, []string{"a.wav", "intake/late.mp4"}, false},
		{"what is made is no arrival", func() { put(t, dir, "out/stems/takes/x.wav", 4) }, nil, false},
	} {
		s.do()
		if err := d.Scan(round(dir)); err != nil {
			t.Fatal(err)
		}
		list, growing := d.Complete()
		for i := range list {
			list[i] = filepath.ToSlash(list[i])
		}
		if !slices.Equal(list, s.complete) || growing != s.growing {
			t.Errorf("%s: %q, growing %v; want %q, %v", s.what, list, growing, s.complete, s.growing)
		}
	}
}

// A person is told the same of a file once, and again when it is another file.
func TestNewsAreToldOnce(t *testing.T) {
	dir := t.TempDir()
	d := &Folder{Settled: 1}
	if d.Again() {
		t.Error("an unknown folder has files")
	}
	scan := func() {
		t.Helper()
		if err := d.Scan(round(dir)); err != nil {
			t.Fatal(err)
		}
	}
	put(t, dir, "x.mp4", 2)
	scan()
	for _, c := range []struct {
		path, text string
		news       bool
	}{
		{"x.mp4", "whose is it?", true}, {"x.mp4", "whose is it?", false}, {"x.mp4", "the horn's", true},
		{"x.mp4", "whose is it?", true}, {"unknown.mp4", "whose is it?", false},
	} {
		if got := d.IsNews(c.path, c.text); got != c.news {
			t.Errorf("%s of %s is news: %v", c.text, c.path, got)
		}
	}
	put(t, dir, "x.mp4", 3)
	scan()
	if !d.IsNews("x.mp4", "whose is it?") {
		t.Error("of a new version nothing is told")
	}
}

// Whose a file is goes by its name. A take that has one already is not given
// another of the same kind; one that waits for a second device is.
func TestMatch(t *testing.T) {
	man := round("/p")
	for _, c := range []struct {
		file    string
		picture bool
		take    string
		why     string // a part of it
	}{
		{"intake/horn-2.mov", true, "horn-2", ""},
		{"intake/Ilse Horn I.mp4", true, "horn-1", ""},
		{"otto.wav", false, "horn-2", ""},
		{"DAVIT sorel.mp4", true, "viola", ""}, // has a sound, and no picture yet
		{"viola-take3.wav", false, "viola", `take "viola" already has an audio file`},
		{"oboe.mov", true, "oboe", `take "oboe" already has a video`},
		{"oboe.wav", false, "oboe", ""},
		{"mara-davit.mov", true, "", `it could be of any of ["oboe" "viola"]`},
		{"horn.mov", true, "", "no take, player or part is called like that"}, // neither the first nor the second
		{"IMG_0042.MOV", true, "", `takes still to come: ["horn-1" "horn-2"]`},
	} {
		take, why, hint := Match(man, c.file, c.picture)
		if take != c.take || (why == "") != (c.why == "") || !strings.Contains(why, c.why) ||
			(hint == "") != (why == "") {
			t.Errorf("%s: %q, %q, %q; want %q, %q", c.file, take, why, hint, c.take, c.why)
		}
	}
}

// A recording that was laid among the outputs is told: by its kind, or by its name where
// films and sounds of that kind are written too. Outputs of now and before, what the
// manifest names, letters, hidden files and what lies deeper are not.
func TestAstray(t *testing.T) {
	dir := t.TempDir()
	man := round(dir)
	man.Deliver = []production.Deliverable{{Name: "final"}, {Name: "Viola Solo"}}
	man.Takes[0].Video.Path = "out/mara.mov"
	for _, name := range []string{
		"x.mov", "x.M4A", "Ilse Brandt.MP4", "horn-2.wav", "mara.mov", "final.mp4", "older.mp4",
		"viola solo.mp4", "rough.mp4", "rough-horn-1.mp4", "master.wav", "guide.wav", "guide-viola.wav",
		"guide-viola.mp4", "guide.mp3", "guide-viola.mp3", "older.mp3", "IMG_1.mp4", "img-1.mp3",
		"Vid 20310612.wav", "PXL_20310612_180000.mp4", "WhatsApp Video 2031-06-12.mp4", "20310612_180000.mp4",
		"2031-06-12 18-00.mp4", "Aufnahme 3.wav", "MOV001.MP4", "images.mp4", "video.mp4", "2031.mp4",
		"video-final.mp4", "recital.wav", "goldberg1.mp4", "Mara.mp3", "letter.txt", ".x.mov",
		"stems/viola.wav"} {
		put(t, dir, "out/"+name, 1)
	}
	want := []string{"out/2031-06-12 18-00.mp4", "out/20310612_180000.mp4", "out/Aufnahme 3.wav", "out/IMG_1.mp4",
		"out/Ilse Brandt.MP4", "out/MOV001.MP4", "out/Mara.mp3", "out/PXL_20310612_180000.mp4", "out/Vid 20310612.wav",
		"out/WhatsApp Video 2031-06-12.mp4", "out/horn-2.wav", "out/img-1.mp3", "out/x.M4A", "out/x.mov"}
	if got := Astray(man, ""); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	other := t.TempDir()
	put(t, other, "x.mov", 1)
	if got := Astray(man, other); !slices.Equal(got, []string{filepath.ToSlash(filepath.Join(other, "x.mov"))}) {
		t.Errorf("in a folder elsewhere: %q", got)
	}
	notes := AstrayNotes(man, "")
	if len(notes) != len(want) || notes[0] != want[0]+" is left out: it lies among the outputs; "+AstrayHint {
		t.Errorf("%q", notes)
	}
	if got := Astray(man, filepath.Join(dir, "gone")); got != nil {
		t.Errorf("without outputs: %q", got)
	}
}
