package assemble

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// fixtures are folders with which several tests begin. Each is made by the first
// test that asks for it, and every test gets a copy of its own: tests damage,
// delete and replace what they are given.
var fixtures = struct {
	sync.Mutex
	root string // "" until one is made
	made map[string]*fixture
}{made: map[string]*fixture{}}

type fixture struct {
	sync.Mutex
	dir string // "" until it is made
}

// TestMain removes the fixtures when all tests have ended.
func TestMain(m *testing.M) {
	code := m.Run()
	if fixtures.root != "" {
		os.RemoveAll(fixtures.root)
	}
	os.Exit(code)
}

// fixtureOf copies the fixture of a name into dir. The first test makes it, in a
// folder that is empty.
func fixtureOf(t testing.TB, name, dir string, fill func(dir string)) {
	t.Helper()
	f := fixtureNamed(t, name)
	f.Lock()
	defer f.Unlock()
	if f.dir == "" {
		made := filepath.Join(fixtures.root, fmt.Sprintf("%x", sha256.Sum256([]byte(name))))
		if err := os.RemoveAll(made); err != nil { // what a test that failed has left
			t.Fatal(err)
		}
		if err := os.Mkdir(made, 0o777); err != nil {
			t.Fatal(err)
		}
		fill(made)
		f.dir = made
	}
	if err := copyFolder(dir, f.dir); err != nil {
		t.Fatal(err)
	}
}

// fixtureNamed returns the fixture of a name, made or not.
func fixtureNamed(t testing.TB, name string) *fixture {
	t.Helper()
	fixtures.Lock()
	defer fixtures.Unlock()
	if fixtures.root == "" {
		root, err := os.MkdirTemp("", "ripieno-fixtures-")
		if err != nil {
			t.Fatal(err)
		}
		fixtures.root = root
	}
	f := fixtures.made[name]
	if f == nil {
		f = &fixture{}
		fixtures.made[name] = f
	}
	return f
}

// copyFolder copies files with their permissions and times into a folder that
// may have others.
func copyFolder(to, from string) error {
	return filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		target := filepath.Join(to, rel)
		if d.IsDir() {
			return os.MkdirAll(target, 0o777)
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if err := os.WriteFile(target, data, info.Mode().Perm()); err != nil {
			return err
		}
		return os.Chtimes(target, info.ModTime(), info.ModTime())
	})
}
