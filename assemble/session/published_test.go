package session

import (
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/store"
)

// stems is the record of a mix.
var stems = Folder{"out/stems", isSound}

// A list names stems by their bytes; lines that could lead anywhere else are
// none of ours.
func TestListOfStems(t *testing.T) {
	list := []Written{{store.ID{1, 2}, "takes/oboe.wav"}, {store.ID{3}, "sections/low strings.wav"}}
	got := stems.parse(stems.format(list))
	if len(got) != 2 || got[0] != list[0] || got[1] != list[1] {
		t.Errorf("%v became %v", list, got)
	}
	hash := store.ID{9}.String()
	for _, file := range []string{
		"takes/../../a.wav", "/takes/a.wav", "takes/a.txt", "a.wav", "takes/", "takes/b/a.wav", "sections/..",
		"takes\\a.wav", "../takes/a.wav", "other/a.wav", "takes/a.wav ", "takes/a\rb.wav",
	} {
		if got := stems.parse(hash + "  " + file + "\n"); got != nil {
			t.Errorf("%q was taken for a stem: %v", file, got)
		}
		if got := stems.format([]Written{{store.ID{9}, file}}); got != "" {
			t.Errorf("%q was listed", file)
		}
	}
	for _, text := range []string{"", "\n", "takes/a.wav\n", hash, hash + " takes/a.wav\n",
		hash[:60] + "  takes/a.wav\n"} {
		if got := stems.parse(text); got != nil {
			t.Errorf("%q was read as %v", text, got)
		}
	}
}

// Whatever a list says, no file outside the two folders of stems is named.
func FuzzListOfStems(f *testing.F) {
	hash := store.ID{7}.String()
	for _, seed := range []string{"", hash + "  takes/a.wav\n", hash + "  takes/../a.wav",
		hash + "  sections//b.wav\n\n", hash + "  /etc/a.wav"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		list := stems.parse(text)
		for _, s := range list {
			dir := filepath.Dir(filepath.Join("out/stems", filepath.FromSlash(s.File)))
			if dir != filepath.FromSlash("out/stems/takes") && dir != filepath.FromSlash("out/stems/sections") ||
				!strings.HasSuffix(s.File, ".wav") {
				t.Errorf("%q leads to %q", s.File, dir)
			}
		}
		if again := stems.parse(stems.format(list)); len(again) != len(list) {
			t.Errorf("%d stems became %d", len(list), len(again))
		}
	})
}

// isSound reports whether a file can be one of a mix, for the tests.
func isSound(file string) bool {
	folder, name, ok := strings.Cut(file, "/")
	return ok && !strings.Contains(name, "/") && strings.HasSuffix(name, ".wav") && (folder == "takes" ||
		folder == "sections")
}
