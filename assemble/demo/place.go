package demo

import (
	"bytes"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
)

// Unfinished files are called so, beside the place of the finished one.
const (
	partPrefix = ".ripieno-demo-"
	truthFile  = "truth.yaml"
)

// part returns a name for the unfinished file of final, another one at every call:
// two runs in one folder must never write into one file.
func part(final string) string {
	tag := strconv.FormatUint(uint64(rand.Uint32()), 36)
	return filepath.Join(filepath.Dir(final), partPrefix+tag+"-"+filepath.Base(final))
}

// claim makes dir the folder of the demo that truth belongs to, and returns it
// as an absolute path. truth.yaml is the first file written, and so the sign
// that the folder is ours.
func claim(dir string, truth []byte) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", cannotWrite(dir, err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", cannotWrite(dir, err)
	}
	strangers := 0
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), partPrefix) {
			strangers++
		}
	}
	there, err := os.ReadFile(filepath.Join(dir, truthFile))
	switch {
	case strangers == 0:
		if err := putText(dir, truthFile, string(truth)); err != nil {
			return "", err
		}
	case errors.Is(err, fs.ErrNotExist):
		return "", fault.New(fault.Manifest, dir, "the folder is not empty",
			"name a new folder for the demo; nothing was written")
	case err != nil:
		return "", cannotWrite(dir, err)
	case !bytes.Equal(there, truth):
		return "", fault.New(fault.Manifest, dir, "the folder holds a demo with another truth.yaml",
			"name a new folder for the demo; nothing was written")
	}
	if err := os.MkdirAll(filepath.Join(dir, "intake"), 0o777); err != nil {
		return "", cannotWrite(dir, err)
	}
	return dir, sweep(dir)
}

// sweep removes what a killed run left unfinished.
func sweep(dir string) error {
	for _, folder := range []string{dir, filepath.Join(dir, "intake")} {
		left, err := filepath.Glob(filepath.Join(escape(folder), partPrefix+"*"))
		if err != nil {
			return err
		}
		for _, path := range left {
			if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return cannotWrite(path, err)
			}
		}
	}
	return nil
}

// escape makes a folder name mean itself in a glob.
func escape(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}

// putText writes a small file unless it is there already.
func putText(dir, name, text string) error {
	final := filepath.Join(dir, name)
	if exists(final) {
		return nil
	}
	tmp := part(final)
	defer quiet(tmp)
	if err := os.WriteFile(tmp, []byte(text), 0o666); err != nil {
		return cannotWrite(final, err)
	}
	return commit(tmp, final)
}

// quiet removes an unfinished file, if it is still there: when all went well
// it has its final name by now.
func quiet(tmp string) { _ = os.Remove(tmp) }

// exists reports whether anything has that name, also something that cannot be read.
func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// commit gives a finished file its name, after it is safely on the disk.
func commit(tmp, final string) error {
	if err := syncFile(tmp); err != nil {
		return cannotWrite(final, err)
	}
	if err := os.Rename(tmp, final); err != nil {
		return cannotWrite(final, err)
	}
	// The folder's own entry; not all systems can sync a folder, and the file
	// is whole either way.
	_ = syncFile(filepath.Dir(final))
	return nil
}

// syncFile puts a file or folder safely on the disk.
func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// cannotWrite returns the fault for a demo that the disk refuses.
func cannotWrite(path string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err // the path is named already
	}
	return fault.New(fault.Failed, path, "cannot write the demo here",
		"name a folder on a disk with 200 MB free that you may write to").Because(err)
}
