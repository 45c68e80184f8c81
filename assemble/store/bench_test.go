package store

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkGet is the price of one unchanged output in a warm run.
func BenchmarkGet(b *testing.B) {
	s := locked(b, b.TempDir())
	a := NewAction("conform").Arg("size", geometry{960, 540, 0}).Input("take", HashBytes([]byte("take"))).Ext(".mkv")
	mustPut(b, s, a, "picture")
	for b.Loop() {
		if _, why := s.Get(b.Context(), a); why != nil {
			b.Fatal(why)
		}
	}
}

// BenchmarkPut is the price of storing, next to that of making; most of it is
// waiting for the disk.
func BenchmarkPut(b *testing.B) {
	s := locked(b, b.TempDir(), func(sys *system) { sys.sync = syncPath })
	i := 0
	for b.Loop() {
		i++
		mustPut(b, s, NewAction("conform").Arg("i", i), "picture")
	}
}

func BenchmarkActionID(b *testing.B) {
	a := NewAction("film")
	for i := range 200 {
		a = a.Arg("tile", geometry{i, i, 0}).Input("take", HashBytes([]byte{byte(i)}))
	}
	for b.Loop() {
		_ = a.ID()
	}
}

// BenchmarkHashFile reads; BenchmarkHashFileRemembered looks.
func BenchmarkHashFile(b *testing.B) {
	path := filepath.Join(b.TempDir(), "take")
	const size = 64 << 20
	if err := os.WriteFile(path, make([]byte, size), 0o666); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(size)
	for b.Loop() {
		if _, err := hashPath(b.Context(), path); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHashFileRemembered(b *testing.B) {
	c := newClock()
	s := locked(b, b.TempDir(), func(sys *system) { sys.now = c.now })
	path := filepath.Join(b.TempDir(), "take")
	if err := os.WriteFile(path, []byte("take"), 0o666); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		id, err := s.HashFile(b.Context(), path)
		if err != nil || id != ID(sha256.Sum256([]byte("take"))) {
			b.Fatal(id, err)
		}
	}
}

// BenchmarkLockFull is what opening a store of 1000 entries costs.
func BenchmarkLockFull(b *testing.B) {
	s := locked(b, b.TempDir())
	for i := range 1000 {
		mustPut(b, s, NewAction("conform").Arg("i", i), "picture")
	}
	s.Close()
	for b.Loop() {
		s, err := Open(s.Dir())
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Lock(b.Context()); err != nil {
			b.Fatal(err)
		}
		s.Close()
	}
}
