package media

import (
	"errors"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// TestCausesNameNoFolder: what ffprobe, ffmpeg and the system say of a file is shown
// without the folder in which it lies, and is still the same error.
func TestCausesNameNoFolder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "intake", "oboe.mp4")
	exit := &ffmpeg.ExitError{Code: 1, Tail: []string{"[error] file:" + path + ": Nobody Knows This"}}
	broken := &fs.PathError{Op: "read", Path: path, Err: errors.New("input/output error")}
	for name, err := range map[string]error{
		"probe":  probeFault(t.Context(), path, exit),
		"decode": decodeFault(t.Context(), path, exit),
		"open":   openFault(path, broken),
	} {
		f, ok := errors.AsType[*fault.Fault](err)
		if !ok || f.Cause == nil {
			t.Errorf("%s: %v has no cause", name, err)
			continue
		}
		if said := f.Cause.Error(); strings.Contains(said, filepath.Dir(path)) || !strings.Contains(said, "oboe.mp4:") {
			t.Errorf("%s: %s", name, said)
		}
		if !errors.Is(err, exit) && !errors.Is(err, broken) {
			t.Errorf("%s: the error itself is lost", name)
		}
	}
}
