package session

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
)

// tempName is how much longer the name is under which a file is written before
// it gets its own (see store.Publish), in bytes.
const tempName = 32

// OutFile returns the path of a file among the outputs, as [Session.Out] does, and finds
// out before any work is done that something else is in the file's place, or that the
// system takes no such name. The fault says what is there, or what is wrong with the
// folder or the name, and names --out.
func (s *Session) OutFile(name string) (string, error) { return OutFile(s.set.Out, name) }

// OutFile returns the path of a file in dir; see [Session.OutFile].
func OutFile(dir, name string) (string, error) {
	path, err := Out(dir, name)
	if err != nil {
		return "", err
	}
	st, err := os.Lstat(path)
	switch {
	case isTooLong(path):
		return "", tooLong(path)
	case errors.Is(err, fs.ErrNotExist):
		return path, nil
	case err != nil:
		return "", Unwritable(dir, err)
	}
	what := ""
	switch m := st.Mode(); {
	case m&fs.ModeSymlink != 0:
		what = "a link, and nothing is written through one"
	case m.IsDir():
		what = "a folder"
	case !m.IsRegular():
		what = "no ordinary file"
	default:
		return path, nil
	}
	return "", fault.New(fault.Failed, path, fmt.Sprintf("there is %s where this file is to be written", what),
		"move it away, or choose another folder with --out")
}

// isTooLong reports whether the system takes no file of that name, or none of
// the longer one under which it is written first. The name of a folder that is
// not there yet is tried in the nearest one that is: systems bound a name by the
// disk it is on, and a whole path by its length.
func isTooLong(path string) bool {
	names := []string{filepath.Base(path) + strings.Repeat("x", tempName)}
	dir := filepath.Dir(path)
	if _, err := os.Lstat(filepath.Join(dir, names[0])); errors.Is(err, syscall.ENAMETOOLONG) {
		return true
	}
	for parent := filepath.Dir(dir); parent != dir; dir, parent = parent, filepath.Dir(parent) {
		if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		names = append(names, filepath.Base(dir))
	}
	return slices.ContainsFunc(names, func(name string) bool {
		_, err := os.Lstat(filepath.Join(dir, name))
		return errors.Is(err, syscall.ENAMETOOLONG)
	})
}

// tooLong returns the fault of an output whose name or folder's name is too long.
func tooLong(path string) error {
	return fault.New(fault.Failed, path, "the name is too long for this disk",
		"give the deliverable or take a shorter name, or choose another folder with --out")
}

// OutFiles checks the places of several files. It returns the fault of the first that
// cannot be written.
func (s *Session) OutFiles(names ...string) error {
	for _, n := range names {
		if _, err := s.OutFile(n); err != nil {
			return err
		}
	}
	return nil
}

// manifestLock is the lock, in the store's folder, under which a manifest is read and
// written anew, so that of two changes at the same time none is lost. It is another
// one than that of a run: a manifest can be changed while a film is made.
const manifestLock = "manifest.lock"

// ChangeManifest reads the manifest, has change make a new text of it and writes that
// whole, under a lock that every change takes. A text that somebody else has written
// meanwhile, who takes no lock, is not overwritten: change is asked again with it.
func ChangeManifest(ctx context.Context, man *production.Production,
	change func(data []byte) ([]byte, error)) error {
	release, err := store.Guard(ctx, filepath.Join(man.Dir, StoreFolder, manifestLock))
	if err != nil {
		return err
	}
	defer release()
	for {
		data, err := os.ReadFile(man.Path)
		if err != nil {
			return fault.New(fault.Manifest, man.Path, "the manifest cannot be read", "").Because(err)
		}
		next, err := change(data)
		if err != nil {
			return err
		}
		switch err := rewriteManifest(ctx, man.Path, data, next); {
		case !errors.Is(err, errChanged):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		}
	}
}

// errChanged says that a manifest is not what it was when it was read.
var errChanged = errors.New("the manifest was changed meanwhile")

// rewriteManifest writes a manifest that was read as old anew where it really lies,
// when it is a link, and with the permissions it had. The same bytes are not written.
func rewriteManifest(ctx context.Context, path string, old, data []byte) error {
	if string(old) == string(data) {
		return nil
	}
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return fault.New(fault.Manifest, path, "the manifest cannot be found", "").Because(err)
	}
	st, err := os.Stat(real)
	if err != nil {
		return fault.New(fault.Manifest, path, "the manifest cannot be inspected", "").Because(err)
	}
	return store.Publish(ctx, real, func(tmp string) error {
		err := errors.Join(os.WriteFile(tmp, data, 0o600), os.Chmod(tmp, st.Mode().Perm()))
		if err != nil {
			return err
		}
		if now, err := os.ReadFile(real); err == nil && string(now) != string(old) {
			return errChanged
		}
		return nil
	})
}
