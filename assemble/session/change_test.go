package session

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
)

// A change that fails, or that nobody waits for any more, leaves the manifest as it
// is and the lock free.
func TestChangesThatFail(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "production.yaml")
	man := &production.Production{Path: path, Dir: dir}
	same := func(data []byte) ([]byte, error) { return data, nil }
	if err := ChangeManifest(t.Context(), man, same); !isFault(err, fault.Manifest, path, "cannot be read", "") ||
		!errors.Is(err, os.ErrNotExist) {
		t.Errorf("without a manifest: %v", err)
	}
	if err := os.WriteFile(path, []byte("version: 1\r\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	no := errors.New("no such take")
	if err := ChangeManifest(t.Context(), man, func([]byte) ([]byte, error) { return []byte("half"), no }); err != no {
		t.Errorf("a change that fails: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	err := ChangeManifest(ctx, man, func(data []byte) ([]byte, error) {
		cancel()
		return append(data, '#'), nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled while it was made: %v", err)
	}
	if err := ChangeManifest(ctx, man, same); err != nil && !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before: %v", err)
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != "version: 1\r\n" {
		t.Errorf("the manifest is %q, %v", data, err)
	}
	held, err := store.Guard(t.Context(), filepath.Join(dir, StoreFolder, manifestLock))
	if err != nil {
		t.Fatal(err)
	}
	short, done := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer done()
	asked := false
	err = ChangeManifest(short, man, func(data []byte) ([]byte, error) { asked = true; return data, nil })
	if !errors.Is(err, context.DeadlineExceeded) || asked {
		t.Errorf("while somebody else has it: asked %v, %v", asked, err)
	}
	held()
	if err := ChangeManifest(t.Context(), man, func(data []byte) ([]byte, error) {
		return append(data, '#'),
			nil
	}); err != nil {
		t.Errorf("afterwards: %v", err)
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != "version: 1\r\n#" {
		t.Errorf("the manifest is %q, %v", data, err)
	}
}

// Somebody who writes without end is given up on when the run ends, and what they
// wrote stays.
func TestAManifestThatNeverRests(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "production.yaml")
	if err := os.WriteFile(path, []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	asked := 0
	err := ChangeManifest(ctx, &production.Production{Path: path, Dir: dir}, func(data []byte) ([]byte, error) {
		if asked++; asked == 4 {
			cancel()
		}
		return append(data, "mine"...), os.WriteFile(path, append(data, 'y'), 0o644)
	})
	data, err2 := os.ReadFile(path)
	if !errors.Is(err, context.Canceled) || err2 != nil || asked != 4 || string(data) != "xyyyy" {
		t.Errorf("asked %d times, %q, %v, %v", asked, data, err, err2)
	}
}

// A manifest behind a link that leads nowhere is told by the name people know.
func TestALinkedManifestThatIsGone(t *testing.T) {
	dir := t.TempDir()
	real, link := filepath.Join(dir, "real.yaml"), filepath.Join(dir, "production.yaml")
	if err := errors.Join(os.WriteFile(real, []byte("x"), 0o644), os.Symlink("real.yaml", link)); err != nil {
		t.Fatal(err)
	}
	err := ChangeManifest(t.Context(), &production.Production{Path: link, Dir: dir}, func(data []byte) ([]byte, error) {
		return append(data, 'y'), os.Remove(real)
	})
	if !isFault(err, fault.Manifest, link, "the manifest cannot be found", "") {
		t.Errorf("%v", err)
	}
}
