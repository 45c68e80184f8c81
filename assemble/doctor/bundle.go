package doctor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/store"
)

// BundleHead is the first line of a bundle. A file that begins with it may be
// written over by the next.
const BundleHead = "ripieno doctor: a text for asking help"

// WriteBundle writes a text for asking help to a file, with what was found and the
// manifest in the report's folder; but not over a file of the user's.
func (r *Report) WriteBundle(ctx context.Context, path string) error {
	// Opening a pipe would wait for whoever writes into it.
	if st, err := os.Stat(path); err == nil && !st.Mode().IsRegular() {
		return fault.New(fault.Failed, path, "this is not an ordinary file", "choose another with --bundle")
	}
	old, err := os.ReadFile(path)
	if err == nil && !strings.HasPrefix(string(old), BundleHead) || err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fault.New(fault.Failed, path, "there is a file of that name already", "choose another with --bundle")
	}
	redacted := ""
	if data, err := os.ReadFile(filepath.Join(r.Folder, manifest.FileName)); err == nil {
		redacted = manifest.Redact(data)
	}
	text, err := r.text(redacted)
	if err != nil {
		return err
	}
	r.Bundle = path
	return store.Publish(ctx, path, func(tmp string) error { return os.WriteFile(tmp, []byte(text), 0o666) })
}

// text returns a text to show to somebody who helps. It has what was found, and the
// manifest as [manifest.Redact] returned it ("" for none); the names of the user, the
// machine and their folders are replaced.
func (r Report) text(redacted string) (string, error) {
	found, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\nRead it before you send it. Names, texts and folders were replaced; numbers "+
		"were not.\n\n", BundleHead)
	b.Write(found)
	if redacted == "" {
		redacted = "(there is none)\n"
	}
	fmt.Fprintf(&b, "\n\nproduction.yaml, redacted:\n\n%s", redacted)
	return private().hide(b.String()), nil
}

// secrets are texts that are replaced, longer ones first.
type secrets []struct{ text, instead string }

// private returns what tells whose machine this is.
func private() secrets {
	var all secrets
	add := func(text, instead string) {
		if len(text) >= 3 && text != "root" {
			all = append(all, struct{ text, instead string }{text, instead})
		}
	}
	if dir, err := os.Getwd(); err == nil && len(filepath.SplitList(dir)) > 0 && filepath.Dir(dir) != dir {
		add(dir, "(here)")
	}
	if home, err := os.UserHomeDir(); err == nil && filepath.Dir(home) != home {
		add(home, "~")
	}
	if u, err := user.Current(); err == nil {
		// Windows says DOMAIN\name.
		name := u.Username[strings.LastIndexByte(u.Username, '\\')+1:]
		add(u.Username, "(user)")
		add(name, "(user)")
		add(u.Name, "(user)")
	}
	if host, err := os.Hostname(); err == nil {
		add(host, "(machine)")
	}
	return all
}

// hide replaces every secret, whatever its capitals and however its path is written,
// where it is no part of a longer word.
func (s secrets) hide(text string) string {
	for _, x := range s {
		for _, form := range []string{x.text, filepath.ToSlash(x.text), strings.ReplaceAll(x.text, `\`, `\\`)} {
			text = regexp.MustCompile(`(?i)(^|[^\pL\pN])`+regexp.QuoteMeta(form)+`($|[^\pL\pN])`).
				ReplaceAllString(text, "${1}"+x.instead+"${2}")
		}
	}
	return text
}
