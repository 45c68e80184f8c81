package assemble_test

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// owners lists, for each dependency that shapes the house, the only packages
// that may import it outside their tests.
var owners = map[string][]string{
	"os/exec": {"ripieno/assemble/ffmpeg", "ripieno/assemble/desk/browser",
		"ripieno/assemble/guide/speech", "ripieno/assemble/farm/farmtest"},
	"net":                                      {"ripieno/assemble/desk", "ripieno/assemble/farm"},
	"github.com/nats-io/nats.go":               {"ripieno/assemble/farm"},
	"github.com/nats-io/nats.go/jetstream":     {"ripieno/assemble/farm"},
	"github.com/nats-io/nats-server/v2/server": {"ripieno/assemble/farm"},
	"github.com/nats-io/nkeys":                 {"ripieno/assemble/farm"},
	"net/http":                                 {"ripieno/assemble/desk"},
	"encoding/gob":                             {"ripieno/assemble/store"},
	"github.com/u2takey/ffmpeg-go":             {"ripieno/assemble/graph"},
	"github.com/spf13/cobra":                   {"ripieno/assemble/cli"},
	"github.com/spf13/cobra/doc":               {"ripieno/assemble/cli/pages"},
	"github.com/spf13/pflag":                   {"ripieno/assemble/cli"},
	"github.com/spf13/viper":                   {"ripieno/assemble/cli"},
	"go.yaml.in/yaml/v3":                       {"ripieno/assemble/manifest"},
	"github.com/schollz/progressbar/v3":        {"ripieno/assemble/progress"},
	"github.com/chromedp/chromedp":             {"ripieno/assemble/report/pagetest"},
	"github.com/esimov/pigo/core":              {"ripieno/layout/face"},
	"github.com/go-fonts/stix/stix2textmedium": {"ripieno/layout/card"},
}

// opaque are dependencies whose own dependencies are their owner's affair: the
// builder of arguments brings a client of a cloud along, and nothing of ours
// asks it for more than arguments.
var opaque = []string{"github.com/u2takey/ffmpeg-go"}

// trees of packages that import nothing of ours outside themselves.
var trees = []string{"ripieno/layout", "ripieno/mix"}

// pure packages start no process, reach no network and do not know how a
// manifest is read, whatever they import.
var pure = []string{
	"ripieno/assemble/production", "ripieno/assemble/plan", "ripieno/assemble/graph", "ripieno/assemble/interchange",
	"ripieno/assemble/subtitle", "ripieno/assemble/fault", "ripieno/assemble/intake/limit", "ripieno/assemble/order",
	"ripieno/assemble/remark", "ripieno/assemble/strict",
}

// beyond is what pure packages do not reach; the manifest's reader, which does
// not reach the others either, is beyond them as well.
var beyond = []string{"os/exec", "net", "net/http", reader}

// reader is the package that reads and writes production.yaml.
const reader = "ripieno/assemble/manifest"

// fileless packages do not even open files themselves.
var fileless = []string{
	"ripieno/assemble/production", "ripieno/assemble/graph", "ripieno/assemble/interchange", "ripieno/assemble/plan",
	"ripieno/assemble/intake/limit", "ripieno/assemble/remark", "ripieno/assemble/strict",
}

// strangers may not import each other, in whatever direction the first is from
// the second.
var strangers = map[string][]string{
	"ripieno/assemble/soundtrack": {"ripieno/assemble/picture", reader, values, "ripieno/assemble/session",
		"ripieno/assemble/takes"},
	"ripieno/assemble/picture": {"ripieno/assemble/soundtrack", reader, values, "ripieno/assemble/session",
		"ripieno/assemble/takes"},
	"ripieno/assemble/graph":    {values},
	"ripieno/assemble/handover": {reader, values},
	"ripieno/assemble/survey":   {reader},
	"ripieno/assemble/task": {"ripieno/assemble/ffmpeg", "ripieno/assemble/media", "ripieno/assemble/plan", reader,
		values},
	"ripieno/assemble/store": {"ripieno/assemble/task", "ripieno/assemble/plan", reader, values},
}

// values is what production.yaml says; what carries out a plan does not ask it.
const values = "ripieno/assemble/production"

// verbs is the package that joins all others: only the command line is above it.
const verbs = "ripieno/assemble"

type listed struct {
	ImportPath   string
	Standard     bool
	Imports      []string
	TestImports  []string
	XTestImports []string
}

// ours reports whether p is a package of the module.
func ours(path string) bool { return within(path, "ripieno") }

func TestImportLaw(t *testing.T) {
	all := list(t)
	for _, p := range all {
		if ours(p.ImportPath) {
			checkOwners(t, p)
			checkLayer(t, p)
		}
	}
	byPath := map[string]listed{}
	for _, p := range all {
		byPath[p.ImportPath] = p
	}
	for _, path := range pure {
		if byPath[path].ImportPath == "" {
			t.Errorf("%s is listed as pure and is not there", path)
		}
	}
	for _, p := range all {
		if slices.Contains(pure, p.ImportPath) || p.ImportPath == reader || within(p.ImportPath, trees[0]) ||
			within(p.ImportPath, trees[1]) {
			for _, bad := range beyond {
				if way := route(byPath, p.ImportPath, bad); bad != p.ImportPath && way != nil {
					t.Errorf("%s is pure and reaches %s: %s", p.ImportPath, bad, strings.Join(way, " → "))
				}
			}
		}
	}
}

// route returns the imports by which a package reaches another, nil when it does
// not. It does not look into opaque ones.
func route(all map[string]listed, from, to string) []string {
	came := map[string]string{from: ""}
	queue := []string{from}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		if at == to {
			var way []string
			for ; at != ""; at = came[at] {
				way = append(way, at)
			}
			slices.Reverse(way)
			return way
		}
		if slices.Contains(opaque, at) {
			continue
		}
		for _, imp := range all[at].Imports {
			if _, seen := came[imp]; !seen {
				came[imp] = at
				queue = append(queue, imp)
			}
		}
	}
	return nil
}

func checkOwners(t *testing.T, p listed) {
	t.Helper()
	for _, imp := range p.Imports {
		if who, owned := owners[imp]; owned && !slices.Contains(who, p.ImportPath) {
			t.Errorf("%s imports %s, which belongs to %v", p.ImportPath, imp, who)
		}
		if imp == "os" && slices.Contains(fileless, p.ImportPath) {
			t.Errorf("%s is pure and imports os", p.ImportPath)
		}
		if slices.Contains(strangers[p.ImportPath], imp) {
			t.Errorf("%s imports %s: neither may know the other", p.ImportPath, imp)
		}
		if imp == verbs && p.ImportPath != verbs+"/cli" {
			t.Errorf("%s imports %s: only the command line is above the verbs", p.ImportPath, imp)
		}
	}
}

func checkLayer(t *testing.T, p listed) {
	t.Helper()
	for _, imp := range slices.Concat(p.Imports, p.TestImports, p.XTestImports) {
		if !ours(imp) {
			continue
		}
		for _, tree := range trees {
			if within(p.ImportPath, tree) && !within(imp, tree) {
				t.Errorf("%s imports %s: %s imports nothing of ours outside itself", p.ImportPath, imp, tree)
			}
		}
		if within(p.ImportPath, "ripieno/cmd") && !within(imp, "ripieno/assemble/cli") {
			t.Errorf("%s imports %s: cmd imports only assemble/cli", p.ImportPath, imp)
		}
		if within(imp, "ripieno/cmd") {
			t.Errorf("%s imports %s: nothing imports cmd", p.ImportPath, imp)
		}
		if imp == "ripieno/assemble/cli" && !within(p.ImportPath, "ripieno/cmd") && !within(p.ImportPath, imp) {
			t.Errorf("%s imports %s: only cmd does", p.ImportPath, imp)
		}
	}
}

func within(path, tree string) bool { return path == tree || strings.HasPrefix(path, tree+"/") }

// list asks the go tool for every package of the module, tests included, and
// everything they are built of.
func list(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-deps", "-json=ImportPath,Standard,Imports,TestImports,XTestImports",
		"ripieno/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p listed
		switch err := dec.Decode(&p); {
		case errors.Is(err, io.EOF):
			if len(all) < 150 { // of the standard library alone there are more
				t.Fatalf("go list found only %d packages", len(all))
			}
			return all
		case err != nil:
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// TestRouteFindsAWay proves the search by what is known: ffmpeg starts
// processes, and what is opaque hides nothing else.
func TestRouteFindsAWay(t *testing.T) {
	byPath := map[string]listed{}
	for _, p := range list(t) {
		byPath[p.ImportPath] = p
	}
	if way := route(byPath, "ripieno/assemble/picture", "os/exec"); len(way) < 3 ||
		way[len(way)-2] != "ripieno/assemble/ffmpeg" {
		t.Errorf("the picture starts processes by %v", way)
	}
	if way := route(byPath, "github.com/u2takey/ffmpeg-go", "net/http"); way != nil {
		t.Errorf("an opaque package was looked into: %v", way)
	}
}

// TestVerbsStayShortStories: what is no verb's story belongs into a room. A type
// with more methods is more than one thing.
func TestVerbsStayShortStories(t *testing.T) {
	const mostLines, mostOfFile, mostMethods = 2500, 300, 25
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	sum := 0
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		n := strings.Count(string(data), "\n")
		if sum += n; n > mostOfFile {
			t.Errorf("%s has %d lines, at most %d", path, n, mostOfFile)
		}
	}
	if sum > mostLines {
		t.Errorf("the verbs have %d lines, at most %d", sum, mostLines)
	}
	methods := map[string]int{}
	for _, f := range parse(t, ".") {
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv != nil {
				of := fn.Recv.List[0].Type
				if star, ok := of.(*ast.StarExpr); ok {
					of = star.X
				}
				methods[of.(*ast.Ident).Name]++
			}
		}
	}
	if methods["Production"] < 10 {
		t.Errorf("only %d verbs are seen", methods["Production"])
	}
	for of, n := range methods {
		if n > mostMethods {
			t.Errorf("%s has %d methods, at most %d", of, n, mostMethods)
		}
	}
}

// TestTheWalkIsTrue holds the walks in DEVELOPERS.md: every file they name is there,
// none needs more than twelve, and the page stays one that is read to its end.
func TestTheWalkIsTrue(t *testing.T) {
	const mostFiles, mostBytes = 12, 12 << 10
	data, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	if len(data) > mostBytes {
		t.Errorf("DEVELOPERS.md has %d bytes, at most %d", len(data), mostBytes)
	}
	_, text, _ := strings.Cut(string(data), "### A walk through the code")
	text, _, _ = strings.Cut(text, "## Laws")
	film, sound, ok := strings.Cut(text, "From a take to")
	if !ok {
		t.Fatal("DEVELOPERS.md has no walks any more")
	}
	for _, walk := range []string{film, sound} {
		files := map[string]bool{}
		for i, name := range strings.Split(walk, "`") {
			if i%2 == 0 || !strings.HasSuffix(name, ".go") {
				continue
			}
			files[name] = true
			path := name
			if strings.HasPrefix(name, "mix/") {
				path = filepath.Join("..", name)
			}
			if _, err := os.Stat(path); err != nil {
				t.Errorf("the walk goes through %s, which is not there", name)
			}
		}
		if len(files) < 8 || len(files) > mostFiles {
			t.Errorf("a walk goes through %d files, at most %d: %v", len(files), mostFiles, files)
		}
	}
}

// TestAProductionHasNoState: what a verb finds out is in values of its own. The
// production is its session and nothing else, and nothing but what opens a
// session writes to one.
func TestAProductionHasNoState(t *testing.T) {
	for _, f := range parse(t, ".") {
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.TypeSpec)
			if !ok || spec.Name.Name != "Production" {
				return true
			}
			fields := spec.Type.(*ast.StructType).Fields.List
			if len(fields) != 1 || len(fields[0].Names) != 0 {
				t.Errorf("Production has %d fields; its session is all it may have", len(fields))
			}
			return true
		})
	}
	opened := 0
	for _, f := range parse(t, "session") {
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Body == nil {
				continue
			}
			ast.Inspect(fn.Body, func(n ast.Node) bool {
				set, ok := n.(*ast.AssignStmt)
				if !ok {
					return true
				}
				for _, to := range set.Lhs {
					sel, ok := to.(*ast.SelectorExpr)
					if !ok {
						continue
					}
					if x, ok := sel.X.(*ast.Ident); !ok || x.Name != "s" && x.Name != "v" {
						continue
					}
					if opened++; fn.Name.Name != "Open" && fn.Name.Name != "Verifying" {
						t.Errorf("%s writes %s of a session, which does not change once it is open", fn.Name.Name,
							sel.Sel.Name)
					}
				}
				return true
			})
		}
	}
	if opened < 3 {
		t.Errorf("only %d fields are written when a session is opened: does this test still see them?", opened)
	}
}

// parse reads the Go files of a folder without their tests.
func parse(t *testing.T, dir string) []*ast.File {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var files []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	return files
}
