package manifest

import (
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strings"
)

// path reads a file name relative to the production's folder. Whether it is
// there, and stays in the folder through links, is seen when it is opened.
// Backslashes between folders, as Windows writes them, are read as slashes on every
// system, and the person is told what to write.
func (m mapping) path(key, example string) string {
	s := m.textUpTo(key, example, maxPath, false)
	if s == "" {
		return ""
	}
	if what, hint := pathFault(s); what != "" {
		if inner := insideOf(m.dir, s); inner != "" {
			hint = fmt.Sprintf("write %s, which is the same file seen from the production's folder", inner)
		}
		m.at(m.vals[key], hint, "%s", what)
		return ""
	}
	// The form is checked again with slashes: `..\takes` is fine as a name and leads
	// out as a path.
	slashed, ok := m.withSlashes(s)
	if !ok {
		return s
	}
	if what, hint := pathFault(slashed); what != "" {
		m.at(m.vals[key], hint, "%s", what)
		return ""
	}
	m.advise(m.vals[key], "%q is read as %s; write it so, which is right on every system", clip(s), clip(slashed))
	return slashed
}

// withSlashes returns a path with slashes between its folders, and false when it has
// no others. Elsewhere than on Windows a backslash may be part of a file's name: a
// file that is called so is left what it is.
func (m mapping) withSlashes(s string) (string, bool) {
	if !strings.Contains(s, `\`) {
		return s, false
	}
	if runtime.GOOS != "windows" {
		if _, err := os.Lstat(filepath.Join(m.dir, filepath.FromSlash(s))); err == nil {
			return s, false
		}
	}
	return strings.ReplaceAll(s, `\`, "/"), true
}

// insideOf returns the part of a whole path that comes after the folder dir, "" when
// the path does not lead through a folder of that name. The path may have been
// written on another machine, so its beginning says nothing.
func insideOf(dir, s string) string {
	if !strings.HasPrefix(s, "/") && !driveForm(s) {
		return ""
	}
	parts := strings.FieldsFunc(s, func(r rune) bool { return r == '/' || r == '\\' })
	// The last folder of that name counts: a production may lie in a folder that is
	// called like it. The last part is the file.
	for i := len(parts) - 2; i >= 0; i-- {
		if strings.EqualFold(parts[i], filepath.Base(dir)) {
			return strings.Join(parts[i+1:], "/")
		}
	}
	return ""
}

// pathFault returns what is wrong with the form of a path, "" for nothing. It looks
// at the text alone and touches no disk, so it says the same on every system; a path
// from Windows is refused on Linux too.
func pathFault(s string) (what, hint string) {
	const move = "put the file into the production's folder and write its name from there"
	switch clean := path.Clean(s); {
	case strings.Contains(s, "://"):
		return fmt.Sprintf("%q is an address, not a file", clip(s)), "download it, " + move
	case s == "-":
		return `"-" is not a file name`, move
	case strings.HasPrefix(s, "/") || strings.HasPrefix(s, `\\`) || driveForm(s):
		return fmt.Sprintf("%q is an absolute path", clip(s)), move
	case clean == ".." || strings.HasPrefix(clean, "../"):
		return fmt.Sprintf("%q is outside the production's folder", clip(s)), move
	case clean == "." || strings.HasSuffix(s, "/"):
		return fmt.Sprintf("%q is a folder", clip(s)), "write the name of the file in it"
	}
	return "", ""
}

// driveForm reports whether a path begins with a drive letter, as in C:\takes.
func driveForm(s string) bool {
	// |0x20 makes an ASCII letter small.
	return len(s) >= 3 && s[1] == ':' && (s[2] == '\\' || s[2] == '/') && (s[0]|0x20 >= 'a' && s[0]|0x20 <= 'z')
}

// OpenInside opens an ordinary file in dir or below it, for reading, and returns its
// size in bytes. Links are followed but may not lead out of dir: what a manifest names
// may come from somebody else. One that is not there is [fs.ErrNotExist]; a folder, a pipe
// or a device is refused before it is opened, since opening a pipe would wait for ever.
func OpenInside(dir, name string) (f *os.File, size int64, err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, 0, err
	}
	defer root.Close() //nolint:errcheck // nothing was written
	info, err := root.Stat(name)
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, errors.New("not an ordinary file")
	}
	f, err = root.Open(name)
	return f, info.Size(), err
}
