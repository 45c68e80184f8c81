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
		return "", fault.New(fault.Media, showPath(path), "the file cannot be found", "").Because(pathless{err, full})
	}
	if rel, err := filepath.Rel(root, abs); err != nil || !filepath.IsLocal(rel) {
		return refuse("the file lies outside the production's folder", "copy it into the folder of production.yaml")
	}
	st, err := os.Stat(abs)
	switch {
	case err != nil:
		return "", fault.New(fault.Media, showPath(path), "the file cannot be inspected", "").
			Because(pathless{err, abs})
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

// missingHint proposes a file whose name differs in case, in the ending, in how its
// accents or its folders are written, or in one letter, which is how most names are
// mistyped.
func missingHint(root, full string) string {
	if rel, err := filepath.Rel(root, full); err == nil {
		if near := nearPath(root, strings.Split(strings.ReplaceAll(filepath.ToSlash(rel), `\`, "/"), "/")); near != "" {
			return fmt.Sprintf("did you mean %q?", near)
		}
	}
	return "copy it there, correct the name, or mark the take expected: true until it comes"
}

// nearPath returns the file that a path with these parts probably means, with slashes;
// "" for none. Folders are told by nothing but case and accents.
func nearPath(root string, parts []string) string {
	at := root
	for i, part := range parts {
		entries, err := os.ReadDir(at)
		if err != nil {
			return ""
		}
		last := i == len(parts)-1
		found := ""
		for _, alike := range []func(a, b string) bool{
			func(a, b string) bool { return a == b },
			strings.EqualFold,
			func(a, b string) bool { return plainName(a) == plainName(b) },
			func(a, b string) bool { return last && plainName(stem(a)) == plainName(stem(b)) },
			func(a, b string) bool { return last && isSlip(plainName(stem(a)), plainName(stem(b))) },
		} {
			for _, e := range entries {
				if found == "" && e.IsDir() != last && (e.IsDir() || e.Type().IsRegular()) && alike(e.Name(), part) {
					found = e.Name()
				}
			}
		}
		if found == "" {
			return ""
		}
		at = filepath.Join(at, found)
	}
	rel, err := filepath.Rel(root, at)
	if err != nil || !filepath.IsLocal(rel) {
		return ""
	}
	return filepath.ToSlash(rel)
}

// stem returns a file's name without its ending.
func stem(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }

// accents writes letters as people do who cannot type their accents.
var accents = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "a\u0308", "ae", "o\u0308", "oe",
	"u\u0308", "ue", "é", "e", "è", "e", "ê", "e", "ë", "e", "á", "a", "à", "a", "â", "a", "å", "a", "í", "i", "î", "i",
	"ï", "i", "ó", "o", "ò", "o", "ô", "o", "ú", "u", "ù", "u", "û", "u", "ç", "c", "ñ", "n", "ø", "o", "\u0301", "",
	"\u0300", "", "\u0302", "", "\u0327", "", "\u0303", "")

// plainName returns a name in small letters, without accents and what stands between
// words.
func plainName(name string) string {
	return strings.NewReplacer(" ", "", "_", "", "-", "").Replace(accents.Replace(strings.ToLower(name)))
}

// isSlip reports whether two names of five letters or more differ in one letter or in
// two that are swapped. Numbers are no slips of each other.
func isSlip(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	if len(x) < 5 || len(y)-len(x) > 1 {
		return false
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	digit := func(r []rune) bool { return i < len(r) && r[i] >= '0' && r[i] <= '9' }
	if digit(x) || digit(y) {
		return false
	}
	if len(x) < len(y) {
		return string(x[i:]) == string(y[i+1:])
	}
	return i+1 <= len(x) && string(x[min(i+1, len(x)):]) == string(y[min(i+1, len(y)):]) ||
		i+2 <= len(x) && x[i] == y[i+1] && x[i+1] == y[i] && string(x[i+2:]) == string(y[i+2:])
}
