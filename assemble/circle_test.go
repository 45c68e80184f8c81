package assemble_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestFilesOfTheVerbsFormNoLargeCircle: a verb is read from the top to the bottom of
// one file. Files that need each other have to be read together.
func TestFilesOfTheVerbsFormNoLargeCircle(t *testing.T) {
	const most = 3
	sources := map[string]any{}
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		if !strings.HasSuffix(p, "_test.go") {
			sources[p] = nil // the parser reads the file
		}
	}
	needs := fileNeeds(t, sources)
	if len(needs) < 10 || !needs["render.go"]["open.go"] {
		t.Fatalf("of %d files only %d are seen to need others: %v", len(sources), len(needs), needs)
	}
	for _, c := range circles(needs) {
		if len(c) > most {
			t.Errorf("%d files need each other, at most %d: %v", len(c), most, c)
		}
	}
}

// TestCirclesAreFound proves the search by files made for it: two that need each
// other by a type and by a method, and one that both need.
func TestCirclesAreFound(t *testing.T) {
	needs := fileNeeds(t, map[string]any{
		"a.go": "package p\ntype A struct{ b B; unknown.Thing }\nfunc (a A) Go() { base() }\n",
		"b.go": "package p\ntype B int\nfunc (b B) Do(a A) { a.Go(); base() }\n",
		"c.go": "package p\nfunc base() { x := 1; _ = x }\n",
		"d.go": "package p\nfunc user(b B) { b.Do(A{}) }\n",
	})
	got := circles(needs)
	if len(got) != 1 || !slices.Equal(got[0], []string{"a.go", "b.go"}) {
		t.Errorf("circles %v of %v", got, needs)
	}
	if want := []string{"a.go", "b.go"}; !slices.Equal(slices.Sorted(maps.Keys(needs["d.go"])), want) {
		t.Errorf("d.go needs %v, want %v", needs["d.go"], want)
	}
}

// nothing stands for every imported package: what a file takes from others is left
// open, and only names of the package itself are resolved.
type nothing struct{}

// Import implements [types.Importer].
func (nothing) Import(path string) (*types.Package, error) {
	p := types.NewPackage(path, path[strings.LastIndexByte(path, '/')+1:])
	p.MarkComplete()
	return p, nil
}

// fileNeeds returns which files of a package use what which others declare.
func fileNeeds(t *testing.T, sources map[string]any) map[string]map[string]bool {
	t.Helper()
	set := token.NewFileSet()
	var files []*ast.File
	for _, path := range slices.Sorted(maps.Keys(sources)) {
		f, err := parser.ParseFile(set, path, sources[path], parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	info := types.Info{Uses: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: nothing{}, Error: func(error) {}} // names of other packages stay open
	pkg, _ := conf.Check("p", set, files, &info)
	needs := map[string]map[string]bool{}
	for id, o := range info.Uses {
		if o.Pkg() != pkg || o.Parent() != pkg.Scope() && !isMethod(o) {
			continue
		}
		from, to := set.Position(id.Pos()).Filename, set.Position(o.Pos()).Filename
		if from == to {
			continue
		}
		if needs[from] == nil {
			needs[from] = map[string]bool{}
		}
		needs[from][to] = true
	}
	return needs
}

func isMethod(o types.Object) bool {
	f, ok := o.(*types.Func)
	return ok && f.Signature().Recv() != nil
}

// circles returns the groups of files of which each is reached from each.
func circles(needs map[string]map[string]bool) (list [][]string) {
	reached := map[string]map[string]bool{}
	for from := range needs {
		seen, todo := map[string]bool{}, []string{from}
		for len(todo) > 0 {
			next := todo[0]
			todo = todo[1:]
			for to := range needs[next] {
				if !seen[to] {
					seen[to] = true
					todo = append(todo, to)
				}
			}
		}
		reached[from] = seen
	}
	done := map[string]bool{}
	for _, from := range slices.Sorted(maps.Keys(needs)) {
		if done[from] || !reached[from][from] {
			continue
		}
		var group []string
		for _, to := range slices.Sorted(maps.Keys(reached[from])) {
			if reached[to][from] {
				group, done[to] = append(group, to), true
			}
		}
		list = append(list, group)
	}
	return list
}
