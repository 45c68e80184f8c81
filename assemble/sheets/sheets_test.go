package sheets

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/session"
)

// ensemble is a production whose players read three languages, of whom one is withheld
// and one has a name that is not to be shown.
const ensemble = `version: 1
title: The Lamplighter's Round
composer: Ada Quill
tempo: {count_in: {measures: 8, cue: {measure: 5, beat: 1}}, changes: [{measure: 1, meter: 4/4, bpm: 96}], measures: 40}
guide: {variants: [{name: slow, from: m9, to: m17}]}
takes:
  - {name: oboe-1, player: Mara Voss, part: Oboe 1, expected: true}
  - {name: horn-2, player: Ilse Brandt, part: Horn 2, language: de, guide: slow, expected: true}
  - {name: viola, player: Davit Sorel, part: Viola, hide_name: true, expected: true}
  - {name: drum, player: Otto Larch, part: Drum, release: no, expected: true}
callsheet: {due: 2031-06-12, send_to: upload.example, contact: Pia Lund, notes: "Bring a lamp & a <coat>",
  strings: {%s: "Replaced by the ensemble."}}
`

// opened writes a manifest into a folder and returns its settings.
func opened(t *testing.T, text string) session.Settings {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return session.Settings{Dir: dir}
}

// replaced returns the key of a sentence that stands on the page of every player.
func replaced(t *testing.T) string {
	t.Helper()
	r, err := Write(t.Context(), opened(t, strings.Replace(ensemble, `,
  strings: {%s: "Replaced by the ensemble."}`, "", 1)), Options{Only: []string{"oboe-1"}})
	if err != nil {
		t.Fatal(err)
	}
	words, text := phrase.Of("en"), page(t, r.Pages[0].File)
	for _, key := range phrase.SheetKeys() {
		if said := words.Say(key); len(said) > 20 && !strings.ContainsAny(said, "{%&<>'\"") &&
			strings.Contains(text, said) {
			return key
		}
	}
	t.Fatal("no sentence stands on the page as it is")
	return ""
}

// page reads a page that was written.
func page(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// Everybody has a page in their own language and there is one for all; nobody who agreed
// to nothing is on any, a hidden name is nowhere, and what people wrote is no markup.
func TestPagesOfPlayers(t *testing.T) {
	set := opened(t, fmt.Sprintf(ensemble, replaced(t)))
	r, err := Write(t.Context(), set, Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(set.Dir, "out")
	if r.All != filepath.Join(out, "callsheet.html") || r.Language != "en" || len(r.Pages) != 3 {
		t.Fatalf("%+v", r)
	}
	var told []string
	all := []string{page(t, r.All)}
	for _, p := range r.Pages {
		told = append(told, fmt.Sprintf("%s|%s|%s|%s|%s", p.Take, p.Player, p.Part, p.Guide, p.Language))
		if p.File != filepath.Join(out, "callsheets", p.Take+".html") {
			t.Errorf("%s lies at %s", p.Take, p.File)
		}
		all = append(all, page(t, p.File))
	}
	if want := []string{"oboe-1|Mara Voss|Oboe 1|guide|en", "horn-2|Ilse Brandt|Horn 2|guide-slow|de",
		"viola||Viola|guide|en"}; !slices.Equal(told,
		want) {
		t.Errorf("%q, want %q", told, want)
	}
	for i, text := range all {
		if strings.Contains(text, "Otto") || strings.Contains(text, "Davit") || strings.Contains(text, "<coat>") {
			t.Errorf("page %d names who is not to be named, or has a coat for markup", i)
		}
		if !strings.Contains(text, "Bring a lamp &amp; a &lt;coat&gt;") || !strings.Contains(text, "upload.example") {
			t.Errorf("page %d lacks the notes or where to send", i)
		}
		if german := strings.Contains(text, `lang="de"`); german != (i == 2) {
			t.Errorf("page %d is German: %v", i, german)
		}
	}
	if !strings.Contains(all[0], "Mara Voss") || !strings.Contains(all[0], "Ilse Brandt") {
		t.Error("the page for all lacks a player")
	}
	if strings.Contains(all[1], "Ilse Brandt") {
		t.Error("a player's own page names another")
	}
	// A sentence that the manifest replaces is in the language of everybody's page.
	if !strings.Contains(all[1], "Replaced by the ensemble.") || strings.Contains(all[2], "Replaced by the ensemble.") {
		t.Error("the ensemble's own sentence is on the wrong pages")
	}
}

// Asked for in one language, all pages are in it; asked for some takes, only theirs are
// written, beside the page for all.
func TestSomePages(t *testing.T) {
	set := opened(t, fmt.Sprintf(ensemble, replaced(t)))
	set.Out = filepath.Join(set.Dir, "elsewhere")
	r, err := Write(t.Context(), set, Options{Only: []string{"horn-2", "viola"}, Language: "de"})
	if err != nil || r.Language != "de" || len(r.Pages) != 2 || r.Pages[0].Language != "de" ||
		r.Pages[1].Language != "de" || r.All != filepath.Join(set.Out, "callsheet.html") {
		t.Fatalf("%+v, %v", r, err)
	}
	for _, path := range []string{r.All, r.Pages[0].File, r.Pages[1].File} {
		if !strings.Contains(page(t, path), `lang="de"`) {
			t.Errorf("%s is not German", path)
		}
	}
	if _, err := os.Stat(filepath.Join(set.Out, "callsheets", "oboe-1.html")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a page nobody asked for: %v", err)
	}
}

// Pages that are the same are not written again, and a run that has ended writes none.
func TestPagesAreWrittenOnce(t *testing.T) {
	set := opened(t, fmt.Sprintf(ensemble, replaced(t)))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Write(ended, set, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("in a run that has ended: %v", err)
	}
	if _, err := os.Stat(filepath.Join(set.Dir, "out", "callsheet.html")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a page was written: %v", err)
	}
	r, err := Write(t.Context(), set, Options{})
	if err != nil {
		t.Fatal(err)
	}
	before, err := os.Stat(r.Pages[0].File)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Write(t.Context(), set, Options{}); err != nil {
		t.Fatal(err)
	}
	if after, err := os.Stat(r.Pages[0].File); err != nil || !os.SameFile(before, after) {
		t.Errorf("the same page was written again: %v", err)
	}
}

// What cannot be written is told with what there is instead.
func TestSheetsThatCannotBeWritten(t *testing.T) {
	text := fmt.Sprintf(ensemble, replaced(t))
	for _, c := range []struct {
		o          Options
		what, hint string
	}{
		{Options{Only: []string{"flute"}}, `no take is called "flute"`,
			`the manifest has ["oboe-1" "horn-2" "viola" "drum"]`},
		{Options{Only: []string{"oboe-1", "drum"}}, `take "drum" has release: no, so no page is made for it`,
			"leave it out of --only"},
		{Options{Language: "tlh"}, `unknown language "tlh"`, `"en"`},
	} {
		set := opened(t, text)
		_, err := Write(t.Context(), set, c.o)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || !strings.Contains(f.What, c.what) ||
			!strings.Contains(f.Hint, c.hint) {
			t.Errorf("%+v: %v", c.o, err)
		}
		if _, err := os.Stat(filepath.Join(set.Dir, "out")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%+v: something was written: %v", c.o, err)
		}
	}
	set := opened(t, text)
	if err := os.MkdirAll(filepath.Join(set.Dir, "out", "callsheet.html"), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(t.Context(), set, Options{}); err == nil ||
		!strings.Contains(err.Error(), "there is a folder where this file") {
		t.Errorf("where a folder is: %v", err)
	}
	set = opened(t, text)
	if err := errors.Join(os.MkdirAll(filepath.Join(set.Dir, "out"), 0o777),
		os.WriteFile(filepath.Join(set.Dir, "out", "callsheets"), nil, 0o666)); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(t.Context(), set, Options{}); err == nil ||
		!strings.Contains(err.Error(), "the output folder cannot be written") {
		t.Errorf("where a file is: %v", err)
	}
	if _, err := Write(t.Context(), session.Settings{Dir: t.TempDir()},
		Options{}); fault.KindOf(err) != fault.Manifest {
		t.Errorf("without a manifest: %v", err)
	}
}

// The sentences that a manifest may replace are listed in the language asked for, the
// ensemble's own among them.
func TestSentences(t *testing.T) {
	key := replaced(t)
	set := opened(t, fmt.Sprintf(ensemble, key))
	r, err := Strings(set, Options{})
	if err != nil || r.Language != "en" || len(r.Strings) != len(phrase.SheetKeys()) {
		t.Fatalf("%d sentences in %s, %v", len(r.Strings), r.Language, err)
	}
	for _, s := range r.Strings {
		if s.Text == "" || s.Key == key && s.Text != "Replaced by the ensemble." {
			t.Errorf("%s is %q", s.Key, s.Text)
		}
	}
	german, err := Strings(set, Options{Language: "de"})
	if err != nil || german.Language != "de" {
		t.Fatalf("%v", err)
	}
	same := 0
	for i, s := range german.Strings {
		if s.Key != r.Strings[i].Key {
			t.Errorf("%s stands where %s does in English", s.Key, r.Strings[i].Key)
		}
		if s.Text == r.Strings[i].Text {
			same++
		}
	}
	if same > len(german.Strings)/4 {
		t.Errorf("%d of %d sentences are the same in German", same, len(german.Strings))
	}
	if _, err := Strings(set, Options{Language: "xx"}); fault.KindOf(err) != fault.Manifest {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(filepath.Join(set.Dir, "out")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("listing wrote something: %v", err)
	}
}
