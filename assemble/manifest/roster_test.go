package manifest

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf16"

	"ripieno/assemble/fault"
)

// Lists as spreadsheets export them (RFC 4180, and what programs make of it).
func TestParseRoster(t *testing.T) {
	wide := func(s string) string {
		b := "\xff\xfe"
		for _, u := range utf16.Encode([]rune(s)) {
			b += string([]byte{byte(u), byte(u >> 8)})
		}
		return b
	}
	const want = "[{Änne Groß Flöte 1 Bläser anne@example.org de yes} {Ole Lund Horn    }]"
	for name, text := range map[string]string{
		"commas": "Name,Part,Section,E-Mail,Language,Release\nÄnne Groß,Flöte " +
			"1,Bläser,anne@example.org,de,yes\nOle Lund,Horn\n",
		"semicolons, a mark and German": "\ufeffName;Stimme;Register;E-Mail;Sprache;Freigabe\r\n" +
			"Änne Groß;Flöte 1;Bläser;anne@example.org;Deutsch;ja\r\nOle Lund;Horn;;;;\r\n;;;;;\r\n",
		"Latin-1": "Name;Instrument;Gruppe;Mail;Sprache;Freigabe\n\xc4nne Gro\xdf;Fl\xf6te " +
			"1;Bl\xe4ser;anne@example.org;de;Ja\nOle Lund;Horn\n",
		"tabs in UTF-16": wide("Name\tPart\tSection\tEmail\tLanguage\tConsent\nÄnne Groß\tFlöte " +
			"1\tBläser\tanne@example.org\tGerman\tyes\n" +
			"Ole Lund\tHorn\n"),
		"first and last names, sep= and quotes": "sep=;\n\"Vorname\";\"Nachname\";\"Stimme\";\"Gruppe\";\"E-Mail\";\"Sprache\";\"Einwilligung\"\n" +
			"\"Änne\";\" Groß\";\"Flöte  1\";\"Bläser\";\"anne@example.org\";\"de\";\"j\"\n\"Ole\";\"Lund\";\"Horn\"\n",
	} {
		people, notes, err := ParseRoster("roster.csv", []byte(text))
		if got := fmt.Sprint(people); err != nil || got != want || len(notes) != 0 {
			t.Errorf("%s: %s %q %v", name, got, notes, err)
		}
	}
	_, notes, err := ParseRoster("x/roster.csv", []byte("name,phone,part\nAda,123,Horn\n"))
	if err != nil || fmt.Sprint(notes) != `[roster.csv: column "phone" is left out]` {
		t.Errorf("%q %v", notes, err)
	}
}

// Characters that nobody sees in a spreadsheet are in no name, or the manifest would not load.
func TestRosterLeavesOutControlCharacters(t *testing.T) {
	people, _, err := ParseRoster("r.csv", []byte("name,part\nA\x03da\x1b\vL,Horn\x00\n\x03,\n"))
	if err != nil || len(people) != 1 || people[0].Player != "Ada L" || people[0].Part != "Horn" {
		t.Errorf("%q, %v", people, err)
	}
}

// A section that the list names and one that is guessed from an instrument are one, however
// the list spells it.
func TestRosterSpellsSections(t *testing.T) {
	people, _, err := ParseRoster("r.csv", []byte("name,part,section\nAda,Flute,\nBen,Oboe,WINDS\nCid,Horn,brass\n"))
	if err != nil {
		t.Fatal(err)
	}
	yaml, _ := Scaffold{Title: "T", People: people}.Write()
	p, err := Parse("production.yaml", yaml)
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	if got := fmt.Sprint([]string{p.Takes[0].Section, p.Takes[1].Section,
		p.Takes[2].Section}); got != "[WINDS WINDS brass]" {
		t.Error(got)
	}
}

func TestRosterFaults(t *testing.T) {
	for text, want := range map[string]string{
		"": "error: r.csv: the list is empty\n  hint: one person a row; the first row names the columns",
		"Ada,Horn\n": "error: r.csv:1: no column is called name\n  hint: the first row names the columns: " +
			"name, part, section, e-mail, language, release",
		"name,language,release\nAda,eo,\nBen,,maybe\n,,\nCid,,\n": "error: r.csv:2: unknown language " +
			"\"eo\"\n  hint: one of de, en, es, fr, it\n" +
			"error: r.csv:3: unknown release \"maybe\"\n  hint: yes, no or audio-only; leave it empty " +
			"when it is not known",
		"name,e-mail\n,x@example.org\n": "error: r.csv:2: nobody is named here\n  hint: write a name " +
			"or a part, or delete the row",
	} {
		_, _, err := ParseRoster("r.csv", []byte(text))
		if err == nil || fault.Format(err) != strings.TrimPrefix(want, "error: ") && fault.Format(err) != want &&
			"error: "+strings.ReplaceAll(fault.Format(err), "\nr.csv", "\nerror: r.csv") != want {
			t.Errorf("%q:\n%v\nwant\n%s", text, fault.Format(err), want)
		}
	}
}

// Whatever a list says, the manifest drafted from it loads.
func FuzzParseRoster(f *testing.F) {
	f.Add([]byte("name;part;section\nÄnne, Groß;Flöte: 1;#winds\n\"a\"\"b\";- x;Winds\n"))
	f.Add([]byte("\xff\xfen\x00a\x00m\x00e\x00\n\x00A\x00"))
	f.Add([]byte("name,email,language,release\nyes,null,~,no\n1,2,de,audio-only\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		people, _, err := ParseRoster("r.csv", data)
		if err != nil {
			return
		}
		yaml, _ := Scaffold{Title: "T", People: people}.Write()
		p, err := Parse("production.yaml", yaml)
		if err != nil {
			t.Fatalf("%s\n%s", fault.Format(err), yaml)
		}
		if len(p.Takes) != len(people) {
			t.Fatalf("%d takes of %d people\n%s", len(p.Takes), len(people), yaml)
		}
	})
}

// Files that say nothing of their players, in a folder that all share, have none; parts
// stay in the words of the ensemble.
func TestScaffoldSharedFolderAndWords(t *testing.T) {
	var files []ScaffoldFile
	for i := 1; i <= 9; i++ {
		files = append(files, ScaffoldFile{fmt.Sprintf("eingang/p%02d.mp4", i), true, true})
	}
	files = append(files, ScaffoldFile{"Flöte 2 Änne.mov", true, true}, ScaffoldFile{"vln1 Ole.mov", true, true})
	yaml, doubts := Scaffold{Files: files, Title: "T"}.Write()
	text := string(yaml) + strings.Join(doubts, "\n")
	for _, bad := range []string{"Eingang", "the same player", "Flute 2"} {
		if strings.Contains(text, bad) {
			t.Errorf("%q is in\n%s", bad, text)
		}
	}
	for _, good := range []string{"part: Flöte 2", "part: Violin 1", "name: flute-2", "player: Änne",
		"eingang/p01.mp4: no player and no part in the file name"} {
		if !strings.Contains(text, good) {
			t.Errorf("%q is not in\n%s", good, text)
		}
	}
}

// People of a list join the takes that are there by their names.
func TestScaffoldPeople(t *testing.T) {
	yaml, _ := Scaffold{Title: "T", Files: []ScaffoldFile{{"änne groß.mov", true, true}}, People: []Person{
		{Player: "Änne Groß", Part: "Flöte", Section: "Bläser", Language: "de", Release: "audio-only"},
		{Player: "Ole Lund", Part: "Horn 2", Section: "bläser", Email: "ole@example.org"}}}.Write()
	p := parse(t, string(yaml))
	if len(p.Takes) != 2 || p.Takes[0].Video == nil || p.Takes[0].Part != "Flöte" || p.Takes[0].Language != "de" ||
		p.Takes[1].Name != "horn-2" || !p.Takes[1].Expected || p.Takes[1].Section != "Bläser" ||
		p.Takes[1].Email != "ole@example.org" || p.Takes[0].Release != "audio-only" {
		t.Errorf("%+v\n%s", p.Takes, yaml)
	}
}
