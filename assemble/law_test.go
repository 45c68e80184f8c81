package assemble_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// owners lists, for each dependency that shapes the house, the only packages
// that may import it outside their tests.
var owners = map[string][]string{
	"os/exec":                           {"ripieno/assemble/ffmpeg"},
	"github.com/u2takey/ffmpeg-go":      {"ripieno/assemble/graph"},
	"github.com/spf13/cobra":            {"ripieno/assemble/cli"},
	"github.com/spf13/pflag":            {"ripieno/assemble/cli"},
	"github.com/spf13/viper":            {"ripieno/assemble/cli"},
	"go.yaml.in/yaml/v3":                {"ripieno/assemble/manifest"},
	"github.com/schollz/progressbar/v3": {"ripieno/assemble/progress"},
	"github.com/chromedp/chromedp":      nil, // tests only
}

// pure rooms may use each other within one tree only, and nothing that starts
// processes or reaches a network.
var pure = []string{"ripieno/layout", "ripieno/mix"}

// pureInside are pure packages among the rooms that are not: they may not
// touch files or processes either.
var pureInside = []string{"ripieno/assemble/graph", "ripieno/assemble/interchange", "ripieno/assemble/plan"}

type listed struct {
	ImportPath   string
	Imports      []string
	TestImports  []string
	XTestImports []string
}

func TestImportLaw(t *testing.T) {
	for _, p := range list(t) {
		for _, imp := range p.Imports {
			if who, owned := owners[imp]; owned && !slices.Contains(who, p.ImportPath) {
				t.Errorf("%s imports %s, which belongs to %v", p.ImportPath, imp, who)
			}
			if imp == "os" && slices.Contains(pureInside, p.ImportPath) {
				t.Errorf("%s is pure and imports os", p.ImportPath)
			}
		}
		checkLayer(t, p)
	}
}

func checkLayer(t *testing.T, p listed) {
	t.Helper()
	all := slices.Concat(p.Imports, p.TestImports, p.XTestImports)
	for _, imp := range all {
		ours := imp == "ripieno" || strings.HasPrefix(imp, "ripieno/")
		for _, tree := range pure {
			if !within(p.ImportPath, tree) {
				continue
			}
			if ours && !within(imp, tree) {
				t.Errorf("%s imports %s: %s imports nothing of ours outside itself", p.ImportPath, imp, tree)
			}
			if imp == "os/exec" || imp == "net" || strings.HasPrefix(imp, "net/") {
				t.Errorf("%s imports %s: it computes, and starts and reaches nothing", p.ImportPath, imp)
			}
		}
		if ours && within(p.ImportPath, "ripieno/cmd") && imp != "ripieno/assemble/cli" {
			t.Errorf("%s imports %s: cmd imports only assemble/cli", p.ImportPath, imp)
		}
		if ours && within(imp, "ripieno/cmd") {
			t.Errorf("%s imports %s: nothing imports cmd", p.ImportPath, imp)
		}
		if imp == "ripieno/assemble/cli" && !within(p.ImportPath, "ripieno/cmd") && !within(p.ImportPath, imp) {
			t.Errorf("%s imports %s: only cmd does", p.ImportPath, imp)
		}
	}
}

func within(path, tree string) bool { return path == tree || strings.HasPrefix(path, tree+"/") }

// list asks the go tool for every package of the module, tests included.
func list(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,TestImports,XTestImports", "ripieno/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p listed
		switch err := dec.Decode(&p); {
		case errors.Is(err, io.EOF):
			if len(all) < 15 {
				t.Fatalf("go list found only %d packages", len(all))
			}
			return all
		case err != nil:
			t.Fatal(err)
		}
		all = append(all, p)
	}
}
