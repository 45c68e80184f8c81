package media

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"ripieno/assemble/fault"
)

// RenamedHint begins the hint at a file whose content lies under another name now.
const RenamedHint = "the recording that had this name is"

// Unusable returns the fault of a file beside the takes (what: a font, a
// picture, a room) that is not what the manifest takes it for. hint says what it
// should be.
func Unusable(what, hint, path string, mark fault.Mark, err error) *fault.Fault {
	why := err.Error()
	var f *fault.Fault
	if errors.As(err, &f) {
		why = f.What
		// Another name is a help when it is a file of the same sort.
		if strings.HasPrefix(f.Hint, "did you mean") && strings.HasSuffix(strings.ToLower(f.Hint),
			strings.ToLower(filepath.Ext(path))+`"?`) {
			hint = f.Hint
		}
		if strings.HasPrefix(f.Hint, RenamedHint) {
			hint = f.Hint
		}
	}
	return fault.At(fault.Media, mark, fmt.Sprintf("the %s %q cannot be used: %s", what, path, why), hint)
}
