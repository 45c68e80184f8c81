package manifest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
)

// Person is somebody who is to record, from a list of players. What the list does not
// say is "".
type Person struct {
	Player, Part, Section, Email string
	Language                     string // one that the program has
	Release                      string // as the manifest writes it
}

// Bounds of a list of players, far above any ensemble.
const (
	maxRoster = 1 << 20 // bytes
	maxPeople = 1000
)

// rosterColumns are the words by which a column is known, in small letters without
// accents; all are common headings, no source.
var rosterColumns = map[string][]string{
	"player": {"name", "player", "player name", "full name", "spieler", "spielerin", "spieler:in", "musiker", "person",
		"nombre", "musico", "nom", "musicien", "nome", "musicista"},
	"first":    {"first name", "given name", "vorname", "prenom", "nombre de pila"},
	"last":     {"last name", "surname", "family name", "nachname", "familienname", "apellido", "apellidos", "cognome"},
	"part":     {"part", "instrument", "voice", "stimme", "parte", "instrumento", "partie", "pupitre", "strumento"},
	"section":  {"section", "group", "register", "gruppe", "stimmgruppe", "seccion", "groupe", "sezione"},
	"email":    {"e-mail", "email", "mail", "e-mail address", "email address", "correo", "courriel", "adresse e-mail"},
	"language": {"language", "sprache", "idioma", "langue", "lingua"},
	"release": {"release", "consent", "permission", "freigabe", "einwilligung", "einverstanden", "permiso",
		"autorisation", "liberatoria", "consenso"},
}

// ParseRoster reads a list of players as spreadsheets export it: one person a row, the
// first row names the columns; separated by commas, semicolons or tabs; UTF-8 with or
// without its mark, UTF-16 or Latin-1. notes say which columns are left out. The error
// is a fault for every row that cannot be used.
//
// Rows are all or none: a list of which half was taken would be taken for whole. What
// is in the list is written by whoever kept it and is treated as text.
func ParseRoster(path string, data []byte) (people []Person, notes []string, err error) {
	if len(data) > maxRoster {
		return nil, nil, rosterFault(path, 0, "the list is larger than 1 MB", "leave out what is not about players")
	}
	text := rosterText(data)
	rows, err := rosterRows(text)
	if err != nil {
		return nil, nil, rosterFault(path, 0, fmt.Sprintf("the list cannot be read: %v", err),
			"export it again as comma-separated values")
	}
	if len(rows) == 0 {
		return nil, nil, rosterFault(path, 0, "the list is empty", "one person a row; the first row names the columns")
	}
	columns, notes := rosterHead(filepath.Base(path), rows[0].cells)
	if !slices.Contains(columns, "player") && !slices.Contains(columns, "last") && !slices.Contains(columns, "first") {
		return nil, nil, rosterFault(path, rows[0].line, "no column is called name",
			"the first row names the columns: name, part, section, e-mail, language, release")
	}
	var faults fault.List
	for _, row := range rows[1:] {
		p, bad := readPerson(path, row, columns)
		if bad != nil {
			faults.Add(bad)
		} else if p != (Person{}) {
			people = append(people, p)
		}
	}
	if len(people) > maxPeople {
		return nil, nil, rosterFault(path, 0, fmt.Sprintf("the list has %d people, more than %d", len(people),
			maxPeople), "")
	}
	if len(faults) > 0 {
		return nil, nil, faults
	}
	return people, notes, nil
}

// LoadRoster reads a list of players from a file; see [ParseRoster].
func LoadRoster(path string) ([]Person, []string, error) {
	data, err := readSmall(path, maxRoster)
	if err != nil {
		return nil, nil, fault.New(fault.Manifest, path, "the list of players cannot be read",
			"make sure that it is a file and that you may read it").Because(err)
	}
	return ParseRoster(path, data)
}

// rosterFault returns a fault of a line of the list; 0 for all of it.
func rosterFault(path string, line int, what, hint string) *fault.Fault {
	where := path
	if line > 0 {
		where = fmt.Sprintf("%s:%d", path, line)
	}
	return fault.New(fault.Manifest, where, what, hint)
}

// rosterText returns the bytes of a list as text. Without a mark UTF-16 is not looked
// for.
func rosterText(data []byte) string {
	if len(data) >= 2 && (data[0] == 0xff && data[1] == 0xfe || data[0] == 0xfe && data[1] == 0xff) {
		var units []uint16
		for i := 2; i+1 < len(data); i += 2 {
			low, high := data[i], data[i+1]
			if data[0] == 0xfe {
				low, high = high, low
			}
			units = append(units, uint16(low)|uint16(high)<<8)
		}
		return string(utf16.Decode(units))
	}
	// Neither mark nor UTF-8: Latin-1, in which every byte is the character of its
	// number.
	text := strings.TrimPrefix(string(data), "\ufeff")
	if utf8.ValidString(text) {
		return text
	}
	var b strings.Builder
	for _, c := range data {
		b.WriteRune(rune(c))
	}
	return b.String()
}

// rosterRow is a row that has something in it. Lines count from 1 in the file, a line
// "sep=;" included.
type rosterRow struct {
	line  int
	cells []string
}

// rosterRows splits a list at the separator that its first line has most of. A first
// line "sep=;" names it, as spreadsheets write.
func rosterRows(text string) ([]rosterRow, error) {
	separator := ','
	skipped := 0
	first, rest, _ := strings.Cut(text, "\n")
	if name, ok := strings.CutPrefix(strings.ToLower(strings.TrimSpace(first)), "sep="); ok && len(name) == 1 {
		separator, text, skipped = rune(name[0]), rest, 1
	} else {
		for _, r := range ";\t" {
			if strings.Count(first, string(r)) > strings.Count(first, string(separator)) {
				separator = r
			}
		}
	}
	r := csv.NewReader(strings.NewReader(text))
	if separator == ',' || separator == ';' || separator == '\t' || separator == '|' {
		r.Comma = separator
	}
	// Rows may be of different lengths, and quotes inside a cell are part of it:
	// spreadsheets write both.
	r.FieldsPerRecord, r.LazyQuotes = -1, true
	var rows []rosterRow
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		for i, c := range cells {
			cells[i] = strings.Join(strings.Fields(strings.Map(visible, c)), " ")
		}
		if strings.Join(cells, "") != "" {
			rows = append(rows, rosterRow{line + skipped, cells})
		}
	}
}

// visible returns r, and −1 for a control character, which spreadsheets leave in cells where
// nobody sees it and no manifest may hold. Breaks of lines and tabs are left: they part words.
func visible(r rune) rune {
	if unicode.IsControl(r) && !unicode.IsSpace(r) {
		return -1
	}
	return r
}

// rosterHead returns what each column is, "" for one that is left out, and says so.
// The first column of a kind counts; a second "name" is left out and told.
func rosterHead(file string, cells []string) (columns, notes []string) {
	columns = make([]string, len(cells))
	for i, c := range cells {
		plain := plainWord(strings.Trim(c, " :*"))
		for name, words := range rosterColumns {
			if slices.Contains(words, plain) && !slices.Contains(columns, name) {
				columns[i] = name
			}
		}
		if columns[i] == "" && c != "" {
			notes = append(notes, fmt.Sprintf("%s: column %q is left out", file, c))
		}
	}
	return columns, notes
}

// readPerson reads one row; the zero Person when it says nothing that is wanted.
func readPerson(path string, row rosterRow, columns []string) (Person, *fault.Fault) {
	cell := map[string]string{}
	for i, c := range row.cells {
		if i < len(columns) && columns[i] != "" {
			cell[columns[i]] = c
		}
	}
	p := Person{Part: cell["part"], Section: cell["section"], Email: cell["email"]}
	// One column with the whole name goes before two with its halves.
	p.Player = strings.TrimSpace(cell["player"])
	if p.Player == "" {
		p.Player = strings.TrimSpace(cell["first"] + " " + cell["last"])
	}
	if p.Player == "" && p.Part == "" {
		// A row of which only other columns are filled in: a heading between groups,
		// a sum.
		if cell["email"]+cell["section"] == "" {
			return Person{}, nil
		}
		return p, rosterFault(path, row.line, "nobody is named here", "write a name or a part, or delete the row")
	}
	for _, text := range []string{p.Player, p.Part, p.Section, p.Email} {
		if !utf8.ValidString(text) || utf8.RuneCountInString(text) > maxLine {
			return p, rosterFault(path, row.line, fmt.Sprintf("%q is too long", clip(text)), "one line is enough")
		}
	}
	var ok bool
	if p.Language, ok = readLanguage(cell["language"]); !ok {
		return p, rosterFault(path, row.line, fmt.Sprintf("unknown language %q", clip(cell["language"])),
			"one of "+strings.Join(phrase.Languages(), ", "))
	}
	if p.Release, ok = readRelease(cell["release"]); !ok {
		return p, rosterFault(path, row.line, fmt.Sprintf("unknown release %q", clip(cell["release"])),
			"yes, no or audio-only; leave it empty when it is not known")
	}
	return p, nil
}

// languageNames are how lists name the languages of the program, in small letters
// without accents.
var languageNames = map[string]string{"english": "en", "englisch": "en", "ingles": "en", "anglais": "en",
	"inglese": "en", "german": "de", "deutsch": "de", "aleman": "de", "allemand": "de", "tedesco": "de",
	"spanish":  "es",
	"spanisch": "es", "espanol": "es", "castellano": "es", "french": "fr", "franzosisch": "fr", "francais": "fr",
	"italian": "it", "italienisch": "it", "italiano": "it"}

// readLanguage returns the code of a language; ok is false for one there is not. ""
// is none given, and right.
func readLanguage(text string) (code string, ok bool) {
	plain := plainWord(text)
	if name := languageNames[plain]; name != "" {
		plain = name
	}
	return plain, plain == "" || slices.Contains(phrase.Languages(), plain)
}

// releaseWords are answers as lists have them, in small letters without accents. Only
// plain answers are in it. "Yes, but not on the internet" is for a person to read: it
// must not become yes.
var releaseWords = map[string]production.Release{
	"yes": production.ReleaseYes, "y": production.ReleaseYes, "ja": production.ReleaseYes, "j": production.ReleaseYes,
	"si": production.ReleaseYes, "oui": production.ReleaseYes, "true": production.ReleaseYes,
	"no": production.ReleaseNo, "n": production.ReleaseNo, "nein": production.ReleaseNo, "non": production.ReleaseNo,
	"false": production.ReleaseNo, "audio-only": production.ReleaseAudioOnly, "audio only": production.ReleaseAudioOnly,
	"sound only": production.ReleaseAudioOnly, "nur ton": production.ReleaseAudioOnly,
	"solo audio": production.ReleaseAudioOnly, "son seulement": production.ReleaseAudioOnly,
}

// readRelease returns a release as the manifest writes it; ok is false for an answer
// that is none, which must not pass for one.
func readRelease(text string) (word string, ok bool) {
	if text == "" {
		return "", true
	}
	r, ok := releaseWords[plainWord(text)]
	return string(r), ok
}
