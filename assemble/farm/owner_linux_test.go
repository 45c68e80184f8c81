package farm

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// TestWhatRootChangesIsTheServers: a server that runs as somebody else reads what root has
// written anew, here and by its own user alone.
func TestWhatRootChangesIsTheServers(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("files are given away by root alone")
	}
	const server = 64999
	o := OutsideOptions{Dir: t.TempDir(), Address: "hub.example:4222"}
	if err := os.Chown(o.Dir, server, server); err != nil {
		t.Fatal(err)
	}
	for _, guest := range []string{"", "anna"} {
		o.Invite = guest
		if _, err := Configure(o); err != nil {
			t.Fatal(err)
		}
		files, err := filepath.Glob(filepath.Join(o.Dir, "*"))
		if err != nil || len(files) != 5 {
			t.Fatalf("%v, %v", files, err)
		}
		for _, path := range files {
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			if s, ok := info.Sys().(*syscall.Stat_t); !ok || s.Uid != server || s.Gid != server || info.Mode().Perm() != 0o600 {
				t.Errorf("%s belongs to %d:%d, %v", path, s.Uid, s.Gid, info.Mode())
			}
		}
	}
}
