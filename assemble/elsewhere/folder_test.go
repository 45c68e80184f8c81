package elsewhere

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// TestFoldersOfKilledProcessesGo: what a killed process left is removed when the next
// begins, and nothing else is.
func TestFoldersOfKilledProcessesGo(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	const nobody = 1<<31 - 1 // above what any system gives
	folder := func(name string) string {
		dir := filepath.Join(os.TempDir(), name)
		if err := os.MkdirAll(filepath.Join(dir, "w", "files"), 0o700); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	mine := folderPrefix + plainName(host) + "."
	dead := folder(mine + strconv.Itoa(nobody) + ".x")
	stay := []string{
		folder(mine + strconv.Itoa(os.Getppid()) + ".x"),
		folder(mine + "notanumber.x"), folder(mine + strconv.Itoa(nobody)),
		folder(folderPrefix + "elsewhere." + strconv.Itoa(nobody) + ".x"), folder("takes"),
	}
	dir, err := workFolder()
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("%v, %v", info, err)
	}
	if _, err := os.Stat(dead); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s is still there (%v)", dead, err)
	}
	for _, s := range stay {
		if _, err := os.Stat(s); err != nil {
			t.Error(err)
		}
	}
	if again, err := workFolder(); err != nil || again == dir {
		t.Errorf("%s, %v", again, err)
	}
	if _, err := os.Stat(dir); err != nil {
		t.Errorf("the folder of a process that lives: %v", err)
	}
}
