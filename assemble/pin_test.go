package assemble

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
)

// TestPinKeepsWhatWasMeasured: sync --pin writes what was measured into the
// manifest, leaves what the person wrote alone, and from then on the manifest's
// word stands. A second pin changes nothing.
func TestPinKeepsWhatWasMeasured(t *testing.T) {
	t.Parallel()
	p := openRetakes(t, `  - {name: by-hand, guide: again, audio: {file: intake/again.wav, offset: 7.3}}   # by hand
  - {name: by-ear, guide: again, audio: {file: intake/again.wav}}   # by ear
`)
	playAgain(t, p)
	path := filepath.Join(p.Manifest().Dir, manifest.FileName)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Sync(t.Context(), SyncOptions{Pin: true})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	measured := placedNamed(t, r, "by-ear")
	if !measured.Sure || r.Pinned < 1 {
		t.Fatalf("%d pinned, by-ear is %+v", r.Pinned, measured)
	}
	after, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, kept := range []string{"offset: 7.3}}   # by hand", "# by ear"} {
		if !strings.Contains(string(after), kept) {
			t.Errorf("%q is gone:\n%s", kept, after)
		}
	}
	if string(after) == string(before) || len(after) < len(before) {
		t.Errorf("nothing was written:\n%s", after)
	}
	dir := p.Manifest().Dir
	p.Close()
	p = openWith(t, Settings{Dir: dir})
	r, err = p.Sync(t.Context(), SyncOptions{Pin: true})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	pinned := placedNamed(t, r, "by-ear")
	if r.Pinned != 0 || pinned.Method != "offset given" || math.Abs(pinned.Offset-measured.Offset) > 1e-9 {
		t.Errorf("again %d pinned; by-ear is %+v, was measured as %v", r.Pinned, pinned, measured.Offset)
	}
	again, err := os.ReadFile(path)
	if err != nil || string(again) != string(after) {
		t.Errorf("a second pin changed the manifest (%v)", err)
	}
}

func placedNamed(t *testing.T, r SyncResult, name string) Placed {
	t.Helper()
	for _, pl := range r.Takes {
		if pl.Name == name {
			return pl
		}
	}
	t.Fatalf("no take %q in %+v", name, r.Takes)
	return Placed{}
}
