package assemble

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/remark"
	"ripieno/assemble/remark/handout"
	"ripieno/assemble/session"
)

// world is a production with people who want something kept to themselves: one
// who released nothing, one who is to be heard only, one whose name is hidden.
// What they keep to themselves differs from world to world, and nothing else.
type world struct {
	withheld, player, part, section string // of who released nothing
	colour                          string // of their picture
	hz                              int    // of their sound
	heard                           string // colour of who is to be heard only
	hidden                          string // the name that is not shown
}

var worlds = []world{
	{"plimthtake", "Vexnorb Plimth", "Glasszither", "Withholders", "0x1010d0", 2000, "0xd01010", "Quillhide Zorbane"},
	{"qu", "Ux Ib", "Kazoo and Nose Flute", "Elsewhere", "0xd0d010", 2600, "0x10d0d0", "Brumtavel Oddwick"},
}

// secrets returns the words of a world that nothing that is made may say.
func (w world) secrets() []string {
	return append(strings.Fields(strings.ToLower(w.player+" "+w.part+" "+w.section+" "+w.hidden)), w.withheld)
}

// make writes the takes of a world and gives its manifest.
func (w world) make(t *testing.T, tool *ffmpeg.Tool, dir string) string {
	t.Helper()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	file := func(player string) string { return strings.ToLower(strings.ReplaceAll(player, " ", "-")) }
	for _, p := range []plain{
		{name: "seen", colour: "0x10a010", hz: 500}, {name: "heard", colour: w.heard, hz: 1000},
		{name: file(w.player), colour: w.colour, hz: w.hz}, {name: file(w.hidden), colour: "0x808080", hz: 1500},
	} {
		p.write(t, tool, dir)
	}
	takes := fmt.Sprintf(`  - {name: seen, player: Mara Voss, part: Oboe, section: winds, video: {file: intake/seen.mp4, offset: 2.5}}
  - {name: heard, player: Pia Lund, part: Viola, section: strings, release: audio-only, video: {file: intake/heard.mp4, offset: 2.5}}
  - {name: %s, player: %s, part: %s, section: %s, release: no, video: {file: intake/%s.mp4, offset: 2.5}}
  - {name: horn, player: %s, part: Horn, section: winds, hide_name: true, video: {file: intake/%s.mp4, offset: 2.5}}`,
		w.withheld, w.player, w.part, w.section, file(w.player), w.hidden, file(w.hidden))
	// What a conductor has said says their names, and is for them.
	said := fmt.Sprintf("version: 1\nremarks:\n"+
		`  - {"at":3.1,"place":"m1","for":%q,"by":"Cora Lind","text":"%s is late"}`+"\n"+
		`  - {"at":3.2,"place":"m1","for":"horn","by":%q,"text":"softer than %s, %s"}`+"\napprovals:\n",
		w.withheld, w.player, w.hidden, w.player, w.hidden)
	if err := os.WriteFile(filepath.Join(dir, remark.FileName), []byte(said), 0o666); err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(fmt.Sprintf(testManifest, takes), "canvas: 640x360", "canvas: 320x180, poster: m1.3", 1)
	text = strings.Replace(text, "labels: false", "labels: true", 1)
	return text + fmt.Sprintf(`shots:
  - {from: start, show: card, text: credits}
  - {from: m1, show: solo, take: %[1]s}
  - {from: m1.2, show: soli, section: %[2]s}
  - {from: m1.3, show: tutti, transition: {kind: move, seconds: 0.3}}
  - {from: m2.3, show: pair, takes: [%[1]s, seen]}
chapters: [{at: m1, name: The round}]
notes: [{from: m1, to: m2, text: All together}]
`, w.withheld, w.section)
}

// everyVerb makes all there is and gives the results of the verbs that make
// something, and what the person at the terminal reads of check and rollcall.
func everyVerb(t *testing.T, p *Production) (made map[string]any, told []any) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	check, err := p.Check(t.Context())
	must(err)
	roll, err := p.Rollcall(t.Context())
	must(err)
	sync, err := p.Sync(t.Context(), SyncOptions{Snippets: true})
	must(err)
	for i := range sync.Takes {
		if sync.Takes[i].Name == "horn" {
			sync.Takes[i].File = "" // the terminal says which file has which place
		}
	}
	sheet, err := p.Sheet(t.Context())
	must(err)
	mix, err := p.Mix(t.Context(), MixOptions{Stems: true})
	must(err)
	rough, err := p.Render(t.Context(), RenderOptions{Rough: true, Marks: true})
	must(err)
	final, err := p.Render(t.Context(), RenderOptions{AllowMissingRelease: true})
	must(err)
	review, err := p.Review(t.Context(), ReviewOptions{})
	must(err)
	page, err := handout.Write(t.Context(), p.Session)
	must(err)
	export, err := p.Export(t.Context())
	must(err)
	if fmt.Sprint(takesOf(export.Faults)) != "[horn]" {
		t.Errorf("export says %+v of the file with a hidden name", export.Faults)
	}
	pages, err := CallSheets(t.Context(), p.Settings(), CallSheetOptions{})
	must(err)
	click, err := p.Click(t.Context(), ClickOptions{Film: true})
	must(err)
	// What is still open is said to the person, by name.
	mix.Releases, rough.Releases, final.Releases, export.Releases, export.Faults = nil, nil, nil, nil, nil
	return map[string]any{
		"sync": sync, "grid --sheet": sheet, "mix": mix, "rough": rough, "render": final, "report": review,
		"export": export, "callsheet": pages, "click --film": click, "report --review": page,
	}, []any{check, roll}
}

// takesOf returns the takes that faults are about.
func takesOf(faults []Bad) []string {
	var list []string
	for _, b := range faults {
		list = append(list, b.Take)
	}
	return list
}

// outputs returns all files of a production but what people write in it, its takes and the store.
func outputs(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		rel, _ := filepath.Rel(dir, path)
		switch {
		case err != nil:
			return err
		case rel == "intake" || rel == session.StoreFolder:
			return fs.SkipDir
		case d.IsDir() || rel == "production.yaml" || rel == remark.FileName:
			return nil
		}
		all[filepath.ToSlash(rel)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// TestWhatIsKeptBackIsInNothingThatIsMade makes everything in two worlds that
// differ only in what is not to be published: the name, part, section, picture,
// sound and file of somebody who released nothing, the picture of somebody who
// is to be heard only, and a hidden name. Every file must be the same, byte for
// byte, and say none of the words; a person at the terminal must still read whom
// to act on.
func TestWhatIsKeptBackIsInNothingThatIsMade(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	var files [2]map[string][]byte
	for i, w := range worlds {
		dir := t.TempDir()
		p := openTest(t, dir, w.make(t, tool, dir))
		made, told := everyVerb(t, p)
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		for verb, r := range made {
			text, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			sayNothing(t, verb+" --json", text, w)
		}
		for _, r := range told {
			text, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Contains(text, []byte(w.withheld)) || !bytes.Contains(text, []byte(w.player)) {
				t.Errorf("nobody learns that %q is to be removed: %s", w.withheld, text)
			}
		}
		files[i] = outputs(t, dir)
		for name, data := range files[i] {
			sayNothing(t, name, data, w)
			sayNothing(t, "the name of "+name, []byte(name), w)
			if strings.HasPrefix(filepath.Base(name), ".") {
				t.Errorf("%s is left behind", name)
			}
		}
	}
	if len(files[0]) < 25 {
		t.Errorf("only %d files were made, the test would see nothing", len(files[0]))
	}
	for name, data := range files[0] {
		other, ok := files[1][name]
		if !ok {
			t.Errorf("%s is made in one world only", name)
		}
		// What was measured, and who was sure by which rules, is kept under hashes of the file, picture and all.
		if name == "sync.yaml" {
			data, other = withoutHashes(data), withoutHashes(other)
		}
		if !bytes.Equal(data, other) {
			t.Errorf("%s depends on what is not to be published", name)
		}
	}
	for name := range files[1] {
		if _, ok := files[0][name]; !ok {
			t.Errorf("%s is made in one world only", name)
		}
	}
}

// sayNothing looks for the secrets of a world.
func sayNothing(t *testing.T, what string, data []byte, w world) {
	t.Helper()
	text := bytes.ToLower(data)
	for _, s := range w.secrets() {
		if len(s) >= 5 && bytes.Contains(text, []byte(s)) {
			t.Errorf("%s says %q", what, s)
		}
	}
}

func withoutHashes(text []byte) []byte {
	var keep [][]byte
	for _, l := range bytes.Split(text, []byte("\n")) {
		x := bytes.TrimSpace(l)
		if !bytes.HasPrefix(x, []byte("hash: ")) && !bytes.HasPrefix(x, []byte("key: ")) {
			keep = append(keep, l)
		}
	}
	return bytes.Join(keep, []byte("\n"))
}
