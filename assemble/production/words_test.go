package production

import (
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// sets returns the closed sets of this package by the names of their types.
func sets() map[string][]string {
	return map[string][]string{
		"Timing": Timings.Strings(), "Role": Roles.Strings(), "Release": Releases.Strings(),
		"Colour": Colours.Strings(),
		"Range":  Ranges.Strings(), "Rows": RowKinds.Strings(), "Alignment": Alignments.Strings(),
		"AudioOnly": AudioOnlyWays.Strings(),
		"Others":    OtherKinds.Strings(), "TransitionKind": TransitionKinds.Strings(), "Codec": Codecs.Strings(),
		"With": Withs.Strings(), "Cuts": CutKinds.Strings(), "EntranceKind": EntranceKinds.Strings(),
		"Verdict": Verdicts.Strings(),
	}
}

// TestEveryWordIsInItsSet reads the constants of this package from its source: a
// word that is added to a type and not to its set would be refused in every
// manifest.
func TestEveryWordIsInItsSet(t *testing.T) {
	declared := map[string][]string{}
	for name, c := range constants(t) {
		named, ok := c.Type().(*types.Named)
		if !ok || named.Obj().Pkg().Name() != "production" || c.Val().Kind() != constant.String {
			continue
		}
		if word := constant.StringVal(c.Val()); word != "" { // "" is what is not written
			declared[named.Obj().Name()] = append(declared[named.Obj().Name()], word)
		} else if name != "ReleaseMissing" {
			t.Errorf("%s is a word without letters", name)
		}
	}
	all := sets()
	if got, want := slices.Sorted(maps.Keys(declared)), slices.Sorted(maps.Keys(all)); !slices.Equal(got, want) {
		t.Fatalf("types of words: %v declared, %v with a set", got, want)
	}
	for name, words := range all {
		if got, want := slices.Sorted(slices.Values(words)),
			slices.Sorted(slices.Values(declared[name])); !slices.Equal(got, want) {
			t.Errorf("%s: the set has %v, the constants are %v", name, got, want)
		}
	}
}

// constants type-checks this package without its tests and returns its constants.
func constants(t *testing.T) map[string]*types.Const {
	t.Helper()
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	fset := token.NewFileSet()
	var files []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(fset, path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	// Errors are of imports that are not resolved; constants need none.
	conf := types.Config{Importer: importer.Default(), Error: func(error) {}}
	pkg, _ := conf.Check("ripieno/assemble/production", fset, files, nil)
	found := map[string]*types.Const{}
	for _, name := range pkg.Scope().Names() {
		if c, ok := pkg.Scope().Lookup(name).(*types.Const); ok {
			found[name] = c
		}
	}
	if len(found) < 20 {
		t.Fatalf("only %d constants were read", len(found))
	}
	return found
}

func TestWordsAreParsed(t *testing.T) {
	for name, words := range sets() {
		set := Words[string](words)
		for _, w := range words {
			if got, err := set.Parse(w); got != w || err != nil {
				t.Errorf("%s: %q is parsed as %q, %v", name, w, got, err)
			}
		}
		for _, bad := range []string{"", "nothing of the kind", strings.ToUpper(words[0]), " " + words[0]} {
			if got, err := set.Parse(bad); err == nil || got != "" || !strings.Contains(err.Error(), words[0]) {
				t.Errorf("%s: %q is parsed as %q, %v", name, bad, got, err)
			}
		}
	}
	if Video.Other() != Audio || Audio.Other() != Video {
		t.Error("a role is not the other of its other")
	}
}
