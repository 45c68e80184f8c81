package arrival

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/guide"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// written are the endings, of those of recordings, that outputs have.
var written = []string{".mp4", ".wav", ".mp3"}

// Astray returns the recordings that were laid into the folder of outputs, where nobody
// looks for takes: their paths with slashes, relative to the production's folder where
// the outputs are below it, sorted. A file of a kind that is written there
// counts only when its name is a take's, a player's or a part's and not that of a
// deliverable, the master or a guide: better one is missed than an output of before is
// asked for as a take. Folders below hold outputs only.
func Astray(man *production.Production, out string) []string {
	if out == "" {
		out = filepath.Join(man.Dir, session.OutFolder)
	}
	entries, err := os.ReadDir(out)
	if err != nil {
		return nil // no outputs yet
	}
	named := namedFiles(man)
	var list []string
	for _, e := range entries {
		name, path := e.Name(), filepath.Join(out, e.Name())
		if rel, err := filepath.Rel(man.Dir, path); err == nil && filepath.IsLocal(rel) {
			path = rel
		}
		kind := strings.ToLower(filepath.Ext(name))
		if !e.Type().IsRegular() || strings.HasPrefix(name, ".") || !slices.Contains(extensions, kind) ||
			slices.Contains(named, path) {
			continue
		}
		if slices.Contains(written, kind) && (isOutput(man, name) || len(manifest.TakesFor(man, name)) == 0) {
			continue
		}
		list = append(list, filepath.ToSlash(path))
	}
	return list
}

// isOutput reports whether a film or a sound of that name is written among the outputs.
func isOutput(man *production.Production, name string) bool {
	stem := production.Fold(strings.TrimSuffix(name, filepath.Ext(name)))
	own := []string{"master", "rough", guide.Name("")}
	for _, d := range man.Deliver {
		own = append(own, production.Fold(d.Name))
	}
	return slices.Contains(own, stem) || strings.HasPrefix(stem, "rough-") ||
		strings.HasPrefix(stem, guide.Name("")+"-")
}

// AstrayHint says what to do with a recording among the outputs.
const AstrayHint = "takes are not looked for there; if it is one, put it into intake/"
