package assemble_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// once lists what has one home each: a line of code that looks like it elsewhere is the
// same idea written a second time.
var once = []struct {
	what, use string
	looks     *regexp.Regexp
	home      []string // folders, or files, in which it may stand
}{
	{"a clock's ratio", "audio.PPM.Ratio or audio.Clock", regexp.MustCompile(`\b1(\.0)? ?\+ ?[\w.()]+ ?\* ?1e-6`),
		// The demo writes the formula out for people.
		[]string{"mix/audio", "assemble/demo/truth.go"}},
	{"a median", "robust, or layout/median in layout", regexp.MustCompile(`\[len\(\w+\) ?/ ?2\]`),
		[]string{"mix/robust", "layout/median"}},
	{"rounding to even", "layout.CeilEven, FloorEven, NearEven", regexp.MustCompile(`&\^=? ?1\b|/ ?2 ?\* ?2\b`),
		// Half as many samples twice; an invented player drawn on rasters of its own; a stand-in
		// for ffmpeg, which must not err as we do.
		[]string{"layout/even.go", "mix/audio/splice.go", "assemble/demo/figure", "assemble/ffmpeg/ffmpegtest"}},
}

// TestWhatStandsOnce holds that nothing of [once] is written by hand beside its home.
func TestWhatStandsOnce(t *testing.T) {
	found := make([]bool, len(once)) // in its home, or the pattern finds nothing any more
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		at := strings.TrimPrefix(filepath.ToSlash(path), "../")
		for n, line := range strings.Split(string(data), "\n") {
			code, _, _ := strings.Cut(line, "//")
			for i, x := range once {
				if !x.looks.MatchString(code) {
					continue
				}
				if slices.ContainsFunc(x.home, func(h string) bool { return within(at, h) }) {
					found[i] = true
					continue
				}
				t.Errorf("%s:%d: %s by hand; use %s", at, n+1, x.what, x.use)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range once {
		if !found[i] {
			t.Errorf("%s is not even found in %v", x.what, x.home)
		}
		for _, line := range map[string][]string{
			"a clock's ratio":  {"at := 1 + t.ppm*1e-6", "(1+slow.ppm*1e-6)"},
			"a median":         {"return v[len(v)/2]"},
			"rounding to even": {"return n &^ 1", "(n+1)/2*2", "n &^= 1"},
		}[x.what] {
			if !x.looks.MatchString(line) {
				t.Errorf("%s is not seen in %q", x.what, line)
			}
		}
	}
}
