package ffmpeg

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// recordedReleases are those in the folder testdata/answers: what Debian's builds
// print, of Debian 11 (4.3), 12 (5.1), 13 (7.1) and of its development branch of
// November 2026 (9.0), a static build for any Linux (6.1), and two of npm's packages: the
// ffprobe of one of 2021, between 4.4 and 5.0 (@ffprobe-installer/linux-x64 5.0.0), and
// the libraries of 8.1 within another (node-av 5.2.4), which is no program: its lists were
// read through them and are written here as ffmpeg prints such.
var recordedReleases = []string{"4.3", "5.0-dev", "5.1", "6.1", "7.1", "8.1", "9.0"}

// answered returns the tool that recorded answers describe.
func answered(t *testing.T, release string, without ...string) *Tool {
	t.Helper()
	read := func(name string) string {
		data, err := os.ReadFile(filepath.Join("testdata", "answers", release, name+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	tool := &Tool{FFmpeg: "/there/ffmpeg", Version: ParseVersion(read("version")),
		encoders: parseList(read("encoders")),
		filters:  parseList(read("filters"))}
	for _, name := range without {
		if !tool.encoders[name] && !tool.filters[name] {
			t.Fatalf("%s has no %s to be without", release, name)
		}
		delete(tool.encoders, name)
		delete(tool.filters, name)
	}
	return tool
}

// What each build lacks, and whether a film can be made with it. Builds that were cut
// down are Debian's 9.0 without parts.
func TestWhatBuildsLack(t *testing.T) {
	for _, c := range []struct {
		build, release string
		without        []string
		lacks          []string
		refused        string // part of the fault; "" for none
	}{
		{"Debian 11", "4.3", nil, []string{"libsvtav1", "zscale"}, ""},
		{"static, after 4.4", "5.0-dev", nil, []string{"libsvtav1"}, ""},
		{"Debian 12", "5.1", nil, nil, ""},
		{"static", "6.1", nil, []string{"libsvtav1"}, ""},
		{"Debian 13", "7.1", nil, nil, ""},
		{"in a package of npm", "8.1", nil, nil, ""},
		{"lean", "8.1", []string{"zscale", "libx265", "libsvtav1", "libopus"},
			[]string{"libsvtav1", "libx265", "zscale"}, ""},
		{"Debian unstable", "9.0", nil, nil, ""},
		{"without the GPL", "9.0", []string{"libx264", "libx265"}, []string{"libx264", "libx265"},
			"/there/ffmpeg: this ffmpeg 9.0.2-4 was built without libx264"},
		{"lean", "9.0", []string{"zscale", "libx265", "libsvtav1", "libopus"},
			[]string{"libsvtav1", "libx265", "zscale"}, ""},
		{"lean", "5.0-dev", []string{"zscale", "libx265", "libopus"}, []string{"libsvtav1", "libx265", "zscale"}, ""},
		{"cut down", "9.0", []string{"xstack", "aac"}, []string{"aac", "xstack"}, "without aac and xstack"},
	} {
		tool := answered(t, c.release, c.without...)
		var lacks []string
		for _, p := range tool.Missing() {
			lacks = append(lacks, p.Name)
		}
		slices.Sort(lacks)
		if !slices.Equal(lacks, c.lacks) {
			t.Errorf("%s lacks %q, want %q", c.build, lacks, c.lacks)
		}
		switch err := tool.RequireAll(); {
		case err == nil && c.refused != "":
			t.Errorf("%s is taken", c.build)
		case err != nil && (c.refused == "" || !strings.Contains(err.Error(), c.refused)):
			t.Errorf("%s: %v, want %q", c.build, err, c.refused)
		}
	}
}

// Options are spelled as the release at hand knows them. The first lines of
// releases that are not recorded are from memory.
func TestOptionsAreSpelledForTheRelease(t *testing.T) {
	written := []string{"-fps_mode", "passthrough", "-filter_complex_script", "g", "-bsf:v",
		"setts=pts=1:dts=2:duration=3"}
	for _, c := range []struct {
		version string
		want    string
	}{
		{"4.4.2-0ubuntu0.22.04.1", "-vsync passthrough -filter_complex_script g -bsf:v setts=pts=1:dts=2"},
		{"5.0.1", "-vsync passthrough -filter_complex_script g -bsf:v setts=pts=1:dts=2"},
		{"5.1.9-0+deb12u1", "-fps_mode passthrough -filter_complex_script g -bsf:v setts=pts=1:dts=2:duration=3"},
		{"6.1.1-3ubuntu5", "-fps_mode passthrough -filter_complex_script g -bsf:v setts=pts=1:dts=2:duration=3"},
		{"7.1.5-0+deb13u1", "-fps_mode passthrough -/filter_complex g -bsf:v setts=pts=1:dts=2:duration=3"},
		{"n8.0", "-fps_mode passthrough -/filter_complex g -bsf:v setts=pts=1:dts=2:duration=3"},
		{"9.0.2-4", "-fps_mode passthrough -/filter_complex g -bsf:v setts=pts=1:dts=2:duration=3"},
	} {
		tool := &Tool{Version: ParseVersion("ffmpeg version " + c.version + " Copyright")}
		if got := strings.Join(tool.spell(written), " "); got != c.want {
			t.Errorf("%s: %q, want %q", c.version, got, c.want)
		}
	}
	if written[0] != "-fps_mode" || written[2] != "-filter_complex_script" ||
		!strings.Contains(written[5], "duration") {
		t.Errorf("the caller's arguments were changed: %q", written)
	}
}

// What ffprobe is asked for of a stream's rotation is asked of older ones in their words.
// Those that were at hand took both or refused the newer ones: see sideData.
func TestEntriesAreSpelledForTheRelease(t *testing.T) {
	args := []string{"-show_entries", "stream=index:stream_side_data=rotation,displaymatrix:format=duration", "x"}
	old := &Tool{Version: ParseVersion("ffmpeg version 4.4.2 Copyright")}
	if got := strings.Join(old.spellEntries(args), " "); got !=
		"-show_entries stream=index:stream_side_data_list:format=duration x" {
		t.Errorf("4.4 is asked %q", got)
	}
	now := &Tool{Version: ParseVersion("ffmpeg version 5.1.9 Copyright")}
	if got := now.spellEntries(args); !slices.Equal(got, args) {
		t.Errorf("5.1 is asked %q", got)
	}
}

// Every filter that the rooms put into a graph is in the table of what builds may
// lack, or nobody would know in advance that it is missing.
func TestTheTableHasEveryFilter(t *testing.T) {
	known := map[string]bool{}
	for _, p := range Parts() {
		known[p.Name] = p.Filter
	}
	seen := map[string]bool{}
	paths, err := filepath.Glob("../graph/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) < 2 {
				return true
			}
			switch fun := call.Fun.(type) {
			case *ast.Ident:
				if fun.Name != "filter" {
					return true
				}
			case *ast.SelectorExpr:
				if fun.Sel.Name != "Filter" {
					return true
				}
			}
			if lit, ok := call.Args[1].(*ast.BasicLit); ok && lit.Kind == token.STRING {
				name, _ := strconv.Unquote(lit.Value)
				if seen[name] = true; !known[name] {
					t.Errorf("%s uses the filter %s, which is not in the table", filepath.Base(path), name)
				}
			}
			return true
		})
	}
	if len(seen) < 20 {
		t.Errorf("only %d filters are seen: does this test still see them?", len(seen))
	}
}

// Each system is told one command of its own.
func TestOneCommandMends(t *testing.T) {
	only := func(names ...string) func(string) bool {
		return func(program string) bool { return slices.Contains(names, program) }
	}
	for _, c := range []struct {
		system string
		there  []string
		want   string
	}{
		{"linux", []string{"apt-get", "brew"}, "with `sudo apt-get install ffmpeg`"},
		{"linux", []string{"dnf"}, "with `sudo dnf swap ffmpeg-free ffmpeg --allowerasing # from RPM Fusion`"},
		{"darwin", []string{"brew"}, "with `brew install ffmpeg-full`"},
		{"windows", []string{"winget"}, "with `winget install --id Gyan.FFmpeg`"},
		{"windows", nil, "with one of: winget install --id Gyan.FFmpeg"},
		{"plan9", nil, "with the system's package manager"},
	} {
		if got := pick(c.system, only(c.there...), full); got != c.want {
			t.Errorf("%s with %v: %q, want %q", c.system, c.there, got, c.want)
		}
	}
}
