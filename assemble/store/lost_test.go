package store

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/fault"
)

// TestADeletedStoreIsNobodysFault: once the folder is gone, nothing is stored
// without the lock that went with it, and the error says that it is the store;
// the next run makes it anew.
func TestADeletedStoreIsNobodysFault(t *testing.T) {
	a, b := NewAction("conform").Arg("take", "oboe"), NewAction("conform").Arg("take", "horn")
	for name, put := range map[string]func(s *Store) error{
		"before": func(s *Store) error {
			if err := os.RemoveAll(s.Dir()); err != nil {
				return err
			}
			_, err := s.Put(t.Context(), b, writes("horn", nil))
			return err
		},
		"while something is made": func(s *Store) error {
			_, err := s.Put(t.Context(), b, func(tmp string) error {
				if err := os.RemoveAll(s.Dir()); err != nil {
					return err
				}
				return os.WriteFile(tmp, []byte("horn"), 0o666)
			})
			return err
		},
		"in the place of the output alone": func(s *Store) error {
			_, err := s.Put(t.Context(), b, func(tmp string) error {
				if err := os.RemoveAll(filepath.Dir(tmp)); err != nil {
					return err
				}
				return errors.New("the tool cannot write")
			})
			return err
		},
		"and made anew by another": func(s *Store) error {
			lock := filepath.Join(s.Dir(), lockName)
			if err := errors.Join(os.RemoveAll(s.Dir()), os.Mkdir(s.Dir(), 0o700),
				os.WriteFile(lock, nil, 0o600)); err != nil {
				return err
			}
			_, err := s.Put(t.Context(), b, writes("horn", nil))
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			if name == "before" || name == "and made anew by another" {
				skipOnWindows(t, "the lock file cannot be deleted while it is held")
			}
			dir := filepath.Join(t.TempDir(), "store")
			s := locked(t, dir)
			mustPut(t, s, a, "oboe")
			if err := s.Lost(); err != nil {
				t.Fatal(err)
			}
			var f *fault.Fault
			if err := put(s); !IsLost(err) || !errors.As(err, &f) || f.Kind != fault.Failed {
				t.Fatalf("got %v", err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			again := locked(t, dir)
			wantText(t, mustPut(t, again, b, "horn"), "horn")
			again.Close()
		})
	}
}

// TestAMissingInputIsTheStores: an output that somebody deleted while it was
// needed.
func TestAMissingInputIsTheStores(t *testing.T) {
	s := locked(t, t.TempDir())
	path := mustPut(t, s, NewAction("conform"), "oboe")
	if err := s.Lost(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := s.Lost(path); !IsLost(err) {
		t.Fatalf("got %v", err)
	}
}

// TestTheStoreIsForItsOwnerAlone: what was made of a recording is readable by
// nobody else, also in a folder that an earlier version made for all.
func TestTheStoreIsForItsOwnerAlone(t *testing.T) {
	skipOnWindows(t, "modes say nothing about who may read")
	dir := filepath.Join(t.TempDir(), "store")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil { // whatever the umask
		t.Fatal(err)
	}
	s := locked(t, dir)
	one := mustPut(t, s, NewAction("conform"), "oboe")
	many, err := s.Put(t.Context(), NewAction("sound").Files("sound.wav"), func(tmp string) error {
		return os.WriteFile(filepath.Join(tmp, "sound.wav"), []byte("sound"), 0o666)
	})
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]fs.FileMode{dir: 0o700, one: 0o600, filepath.Join(many, "sound.wav"): 0o600} {
		st, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := st.Mode().Perm(); got != want {
			t.Errorf("%s has mode %o, want %o", filepath.Base(path), got, want)
		}
	}
	// Also the words of entries and of what was seen, not the contents alone.
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	files := 0
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		st, err := d.Info()
		if err == nil && st.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %o", filepath.Base(path), st.Mode().Perm())
		}
		return err
	})
	if err != nil || files < 4 { // two contents, two entries
		t.Errorf("%d files, %v", files, err)
	}
	s = locked(t, dir)
	// What is delivered is an ordinary file again.
	out := filepath.Join(t.TempDir(), "film.mp4")
	if _, err := s.Deliver(context.Background(), NewAction("conform"), out); err != nil {
		t.Fatal(err)
	}
	plain := filepath.Join(t.TempDir(), "plain")
	if err := os.WriteFile(plain, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	got, err1 := os.Stat(out)
	want, err2 := os.Stat(plain)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	if got.Mode() != want.Mode() {
		t.Errorf("a delivered file has mode %v, others %v", got.Mode(), want.Mode())
	}
}
