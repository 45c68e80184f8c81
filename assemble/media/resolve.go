package media

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"ripieno/assemble/fault"
)

// address matches what ffmpeg would take for a protocol: http://…, concat:…,
// subfile,,start,…:…
var address = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.,-]+:`)

// Resolve turns a path as written in the manifest into the absolute path of a
// regular file inside dir, with all symbolic links followed. Anything else is
// a fault of kind Media: an address, "-", a file outside dir, a folder, a
// device, a missing file.
func Resolve(dir, path string) (string, error) {
	refuse := func(what, hint string) (string, error) {
		return "", fault.New(fault.Media, showPath(path), what, hint)
	}
	if path == "" {
		return refuse("the file name is empty", "give the path of a file in the production's folder")
	}
	if strings.ContainsRune(path, 0) {
		return refuse("the file name contains a zero byte", "rename the file")
	}
	root, err := filepath.EvalSymlinks(dir)
	if err == nil {
		root, err = filepath.Abs(root)
	}
	if err != nil {
		return "", fmt.Errorf("resolving the production's folder: %w", err)
	}
	full := path
	if !filepath.IsAbs(full) {
		full = filepath.Join(root, path)
	}
	abs, err := filepath.EvalSymlinks(full)
	switch {
	case errors.Is(err, fs.ErrNotExist) && (path == "-" || address.MatchString(path)):
		// A file of such a name would be found and used: the name alone
		// is harmless behind "file:".
		return refuse("this is an address, not a file",
			"copy the recording into the production's folder and name it here")
	case errors.Is(err, fs.ErrNotExist):
		return refuse("the file does not exist", missingHint(root, full))
	case errors.Is(err, fs.ErrPermission):
		return refuse("the file may not be read", "change its permissions")
	case err != nil:
		return "", fault.New(fault.Media, showPath(path), "the file cannot be found", "").Because(err)
	}
	if rel, err := filepath.Rel(root, abs); err != nil || !filepath.IsLocal(rel) {
		return refuse("the file lies outside the production's folder", "copy it into the folder of production.yaml")
	}
	st, err := os.Stat(abs)
	switch {
	case err != nil:
		return "", fault.New(fault.Media, showPath(path), "the file cannot be inspected", "").Because(err)
	case st.IsDir():
		return refuse("this is a folder, not a file",
			"name the recording inside it; a project folder of a music program must be exported first")
	case !st.Mode().IsRegular():
		return refuse("this is not a regular file", "copy the recording itself into the production's folder")
	}
	return abs, nil
}

// showPath returns a path fit for a message: as it is, or quoted when it holds
// characters that a terminal would act on.
func showPath(path string) string {
	quoted := fmt.Sprintf("%q", path)
	if quoted == `"`+path+`"` {
		return path
	}
	return quoted
}

// missingHint proposes a file of the same folder whose name differs only in
// case or in the ending, which is how most names are mistyped.
func missingHint(root, full string) string {
	const usual = "copy it there, correct the name, or mark the take expected: true until it comes"
	entries, err := os.ReadDir(filepath.Dir(full))
	if err != nil {
		return usual
	}
	want := filepath.Base(full)
	stem := func(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }
	for _, same := range []func(a, b string) bool{
		strings.EqualFold,
		func(a, b string) bool { return strings.EqualFold(stem(a), stem(b)) },
	} {
		for _, e := range entries {
			if e.Type().IsRegular() && same(e.Name(), want) {
				near := filepath.Join(filepath.Dir(full), e.Name())
				if rel, err := filepath.Rel(root, near); err == nil && filepath.IsLocal(rel) {
					return fmt.Sprintf("did you mean %q?", filepath.ToSlash(rel))
				}
			}
		}
	}
	return usual
}
