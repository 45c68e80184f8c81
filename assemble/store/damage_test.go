package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestDamage flips, cuts, grows and removes; every case must be a miss with a
// reason, and the next Put must heal it.
func TestDamage(t *testing.T) {
	flip := func(path string) error { // same size, one bit
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		b[len(b)/2] ^= 1
		return os.WriteFile(path, b, 0o666)
	}
	for _, tt := range []struct {
		name string
		harm func(s *Store, id ID, path string) error
		want string
	}{
		{"output flipped", func(_ *Store, _ ID, p string) error { return flip(p) }, "is not what was stored"},
		{"output flipped and its time put back", func(_ *Store, _ ID, p string) error {
			st, err := os.Stat(p)
			return errors.Join(err, flip(p), os.Chtimes(p, st.ModTime(), st.ModTime()))
		}, "is not what was stored"},
		{"output cut", func(_ *Store, _ ID, p string) error { return os.Truncate(p, 3) }, "has 3 bytes instead of 13"},
		{"output empty", func(_ *Store, _ ID, p string) error { return os.Truncate(p, 0) },
			"has 0 bytes instead of 13"},
		{"output gone", func(_ *Store, _ ID, p string) error { return os.Remove(p) }, "cannot be used"},
		{"output replaced by a link", func(_ *Store, _ ID, p string) error {
			return errors.Join(os.Rename(p, p+".moved"), os.Symlink(p+".moved", p))
		}, "not a regular file"},
		{"index flipped", func(s *Store, id ID, _ string) error { return flip(s.indexPath(id)) }, "its index"},
		{"index cut", func(s *Store, id ID, _ string) error { return os.Truncate(s.indexPath(id), 100) }, "cut short"},
		{"index empty", func(s *Store, id ID, _ string) error { return os.Truncate(s.indexPath(id), 0) }, "cut short"},
		{"index gone", func(s *Store, id ID, _ string) error { return os.Remove(s.indexPath(id)) }, NotMade.Reason},
		{"index of another", func(s *Store, id ID, _ string) error {
			other := NewAction("conform").Arg("take", "horn-2").Ext(".mkv")
			if _, err := s.Put(context.Background(), other, writes("the other one", nil)); err != nil {
				return err
			}
			b, err := os.ReadFile(s.indexPath(other.ID()))
			return errors.Join(err, os.WriteFile(s.indexPath(id), b, 0o666))
		}, "describes something else"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if strings.HasSuffix(tt.name, "a link") {
				skipOnWindows(t, noLinks)
			}
			s := locked(t, filepath.Join(t.TempDir(), "store"))
			a := NewAction("conform").Arg("take", "oboe-1").Ext(".mkv")
			path := mustPut(t, s, a, "thirteen byte")
			if err := tt.harm(s, a.ID(), path); err != nil {
				t.Fatal(err)
			}
			if _, why := s.Get(t.Context(), a); why == nil || !strings.Contains(why.Error(), tt.want) {
				t.Fatalf("Get: %v, want a miss with %q", why, tt.want)
			}
			wantText(t, mustPut(t, s, a, "thirteen byte"), "thirteen byte")
			if _, why := s.Get(t.Context(), a); why != nil {
				t.Errorf("not healed: %s", why)
			}
		})
	}
}

// TestMovedStoreIsBelieved copies a store as a backup tool does: all times and
// inodes differ, the bytes do not. They are compared once and then trusted.
func TestMovedStoreIsBelieved(t *testing.T) {
	from := locked(t, t.TempDir())
	a := NewAction("conform").Ext(".mkv")
	mustPut(t, from, a, "picture")
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(from.Dir())); err != nil {
		t.Fatal(err)
	}
	to := locked(t, dir)
	if _, why := to.Get(t.Context(), a); why != nil {
		t.Fatal(why)
	}
	e, err := to.load(a.ID())
	if err != nil {
		t.Fatal(err)
	}
	if now, err := markOf(to.outputPath(a.ID(), ".mkv", nil)); err != nil || now != e.Files[0].Mark {
		t.Errorf("marks were not brought up to date: %+v, %+v, %v", e.Files[0].Mark, now, err)
	}
}

// TestRacyEntryIsCompared: an output that was changed in the tick in which it
// was stored looks untouched. Such an entry says so, and is compared with its
// hash until a use finds it settled.
func TestRacyEntryIsCompared(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("conform")
	path := mustPut(t, s, a, "picture")
	rewrite := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		e, err := s.load(a.ID())
		if err != nil {
			t.Fatal(err)
		}
		if e.Files[0].Mark, err = markOf(path); err != nil {
			t.Fatal(err)
		}
		e.Racy = true
		data, err := encodeEntry(e)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(s.indexPath(a.ID()), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	rewrite("picturf")
	if _, why := s.Get(t.Context(), a); why == nil || why.Error() != "its output is not what was stored" {
		t.Errorf("changed: %v", why)
	}
	rewrite("picture")
	if _, why := s.Get(t.Context(), a); why != nil {
		t.Errorf("unchanged: %s", why)
	}
	if e, err := s.load(a.ID()); err != nil || e.Racy {
		t.Errorf("not settled: %+v, %v", e, err)
	}
}

// TestCoarseFileClock: on a file system whose clock hardly moves an entry stays
// marked as racy, after a bounded wait.
func TestCoarseFileClock(t *testing.T) {
	pauses := 0
	s := locked(t, t.TempDir(), func(sys *system) {
		sys.pause = func(time.Duration) { pauses++ }
	})
	a := NewAction("conform")
	mustPut(t, s, a, "picture")
	e, err := s.load(a.ID())
	if err != nil {
		t.Fatal(err)
	}
	temp := filepath.Join(t.TempDir(), "now")
	e.Files[0].Mark.Ctime = time.Now().Add(time.Hour).UnixNano() // later than any file can be now
	pauses = 0
	racy, err := s.racy(e, temp)
	if err != nil || !racy || pauses < 4 || pauses > 20 {
		t.Errorf("racy %v after %d pauses, %v", racy, pauses, err)
	}
}
