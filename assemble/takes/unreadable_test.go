package takes

import (
	"context"
	"io/fs"
	"syscall"
	"testing"

	"ripieno/assemble/fault"
)

// TestUnreadableInWords: what the system says of a file is told without the
// names of its calls.
func TestUnreadableInWords(t *testing.T) {
	system := func(err error) error { return &fs.PathError{Op: "open", Path: "/x/intake/a.mov", Err: err} }
	for _, c := range []struct {
		err  error
		want string
	}{
		{system(syscall.EACCES), "intake/a.mov: the file may not be read"},
		{system(syscall.EIO), "intake/a.mov: the file cannot be read: input/output error"},
		{system(syscall.ENOENT), "intake/a.mov: the file was taken away while it was looked at"},
		{fault.New(fault.Media, "intake/a.mov", "the file changed", ""), "intake/a.mov: the file changed"},
	} {
		got := explainUnreadable("intake/a.mov", c.err)
		if got.Error() != c.want || fault.KindOf(got) != fault.Media {
			t.Errorf("got %v (%v), want %s", got, fault.KindOf(got), c.want)
		}
	}
	if err := explainUnreadable("a", context.Canceled); err != context.Canceled {
		t.Errorf("a cancelled run says %v", err)
	}
}
