package media

import (
	"path/filepath"
	"strings"
)

// pathless is an error about the file at an absolute path that names the file alone:
// ffprobe and the system repeat the whole path, which says where somebody keeps their
// files and is told to others with the message.
type pathless struct {
	err  error
	path string
}

// Error returns what the error says, with the file's name for its path.
func (p pathless) Error() string {
	text := p.err.Error()
	if !filepath.IsAbs(p.path) {
		return text
	}
	name := filepath.Base(p.path)
	return strings.NewReplacer("file:"+p.path, name, p.path, name).Replace(text)
}

// Unwrap returns the error itself.
func (p pathless) Unwrap() error { return p.err }
