package align

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strings"
	"testing"
)

// TestEveryMethodIsListed counts the methods in the source, so that a new one
// cannot be missing from the list that files and pages are checked against.
func TestEveryMethodIsListed(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "method.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	declared := map[Method]bool{}
	ast.Inspect(f, func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if ok && len(v.Values) == 1 {
			declared[Method(strings.Trim(v.Values[0].(*ast.BasicLit).Value, `"`))] = true
		}
		return true
	})
	if len(declared) != len(Methods()) {
		t.Errorf("%d methods are declared and %d listed", len(declared), len(Methods()))
	}
	for _, m := range Methods() {
		if got, err := ParseMethod(string(m)); got != m || err != nil || !declared[m] {
			t.Errorf("%q is parsed as %q, %v", m, got, err)
		}
	}
	if got, err := ParseMethod("guesswork"); err == nil || got != NoMethod {
		t.Errorf("guesswork is parsed as %q, %v", got, err)
	}
}
