package arrival

import (
	"os"
	"path/filepath"
	"regexp"
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
// counts only when its name is a take's, a player's or a part's, or as cameras give them,
// and not that of a deliverable, the master or a guide: better one is missed than an output of before is
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
		ofAPerson := cameraName.MatchString(name) || len(manifest.TakesFor(man, name)) > 0
		if slices.Contains(written, kind) && (isOutput(man, name) || !ofAPerson) {
			continue
		}
		list = append(list, filepath.ToSlash(path))
	}
	return list
}

// AstrayNotes says of each of them what to do, a sentence each.
func AstrayNotes(man *production.Production, out string) []string {
	var notes []string
	for _, file := range Astray(man, out) {
		notes = append(notes, file+" is left out: it lies among the outputs; "+AstrayHint)
	}
	return notes
}

// cameraName is how names of recordings begin that nobody has given: those of telephones,
// cameras, recorders and messengers (common practice, no source).
var cameraName = regexp.MustCompile(`(?i)^(` +
	`(img|vid|video|mov|movie|mvi|dsc|dscn|dscf|pxl|gopr|g[hx]|mah|rec|recording|new recording|audio|voice|memo|ptt|` +
	`trim|zoom|aufnahme|sprachmemo|grabación|enregistrement|registrazione)[-_ .]*[0-9]|` +
	`(whatsapp|signal|telegram)[-_ ]|[0-9]{8}[-_ t][0-9]{4}|[0-9]{4}-[0-9]{2}-[0-9]{2}[-_ t][0-9])`)

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
