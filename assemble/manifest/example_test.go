package manifest

import (
	"os"
	"path/filepath"
	"testing"

	"go.yaml.in/yaml/v3"
)

// alternatives are keys that exclude another one of the example.
var alternatives = map[string]bool{"score": true, "from": true, "first": true, "interpret": true, "impulse": true}

// TestExampleShowsEveryKey keeps the example true: it loads without a fault,
// and there is no key that it does not show.
func TestExampleShowsEveryKey(t *testing.T) {
	dir := filepath.Join("..", "..", "examples", "every-key")
	if _, err := Load(dir); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		t.Fatal(err)
	}
	shown := map[string]bool{}
	var walk func(n *yaml.Node)
	walk = func(n *yaml.Node) {
		for i, c := range n.Content {
			if n.Kind == yaml.MappingNode && i%2 == 0 {
				shown[c.Value] = true
			}
			walk(c)
		}
	}
	walk(&root)
	for _, s := range shapes {
		for _, key := range s.names() {
			if !shown[key] && !alternatives[key] {
				t.Errorf("the example does not show %s of %s", key, s.name)
			}
		}
	}
}
