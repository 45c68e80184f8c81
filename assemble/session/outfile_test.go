package session

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// TestManifestsAreRewrittenWhereTheyAre: a pin keeps the link, the permissions
// and, when nothing changes, the file.
func TestManifestsAreRewrittenWhereTheyAre(t *testing.T) {
	dir := t.TempDir()
	real, link := filepath.Join(dir, "round.yaml"), filepath.Join(dir, "production.yaml")
	err := errors.Join(os.WriteFile(real, []byte("version: 1\n"), 0o600), os.Chmod(real, 0o640),
		os.Symlink("round.yaml", link))
	if err != nil {
		t.Fatal(err)
	}
	before, err := os.Stat(real)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"version: 1\n", "version: 1\nseats: 3\n"} {
		if err := ChangeManifest(t.Context(), &production.Production{Path: link, Dir: dir},
			func([]byte) ([]byte, error) { return []byte(text), nil }); err != nil {
			t.Fatal(err)
		}
		data, err1 := os.ReadFile(real)
		to, err2 := os.Readlink(link)
		after, err3 := os.Stat(real)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		if string(data) != text || to != "round.yaml" || after.Mode() != before.Mode() {
			t.Errorf("%q: there is %q with mode %v behind a link to %s", text, data, after.Mode(), to)
		}
		if same := os.SameFile(before, after); same != (text == "version: 1\n") {
			t.Errorf("%q: written anew: %v", text, !same)
		}
	}
}

// TestOutputsAreLookedAtFirst: a name that no disk takes is told before any work.
func TestOutputsAreLookedAtFirst(t *testing.T) {
	p := New(Settings{Out: filepath.Join(t.TempDir(), "out")}, nil, nil)
	if _, err := p.OutFile("final.mp4"); err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{230, 300} { // the name it is written under first is longer
		_, err := p.OutFile(strings.Repeat("a", n) + ".mp4")
		if err == nil || !strings.Contains(err.Error(), "too long for this disk") || fault.KindOf(err) != fault.Failed {
			t.Errorf("%d letters: %v", n, err)
		}
	}
	for _, name := range []string{strings.Repeat("c", 300) + "/a.wav", "c/" + strings.Repeat("a", 230) + ".wav",
		strings.Repeat("c/", 2100) + "a.wav"} { // in folders that are not there yet
		if _, err := p.OutFile(name); err == nil || !strings.Contains(err.Error(), "too long for this disk") {
			t.Errorf("%.20s: %v", name, err)
		}
	}
	if _, err := p.OutFile("stems/takes/" + strings.Repeat("a", 200) + ".wav"); err != nil {
		t.Error(err)
	}
	long := filepath.Join(t.TempDir(), strings.Repeat("b", 300))
	if _, err := Out(long, "final.mp4"); err == nil || !strings.Contains(err.Error(), "too long for this disk") {
		t.Errorf("a folder: %v", err)
	}
}

// TestNoChangeOfAManifestIsLost: many change it at the same time, and somebody who
// takes no lock writes between the reading and the writing.
func TestNoChangeOfAManifestIsLost(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "production.yaml")
	if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	man := &production.Production{Path: path, Dir: dir}
	const writers, times = 4, 5
	var group errgroup.Group
	for range writers {
		group.Go(func() error {
			for range times {
				err := ChangeManifest(t.Context(), man, func(data []byte) ([]byte, error) {
					return append(data, '.'), nil
				})
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	asked := 0
	err := ChangeManifest(t.Context(), man, func(data []byte) ([]byte, error) {
		if asked++; asked == 1 { // an editor
			if err := os.WriteFile(path, append(data, "by hand"...), 0o600); err != nil {
				return nil, err
			}
		}
		return append(data, '!'), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if want := "x" + strings.Repeat(".", writers*times) + "by hand!"; err != nil || string(data) != want || asked != 2 {
		t.Errorf("asked %d times, got %q, want %q; %v", asked, data, want, err)
	}
}
