package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/report/phrase"
)

// leftovers returns the stretches of English sentences that a page in another
// language must not have: what stands between the places that are filled in, when
// it is long enough to be no accident and that language has it nowhere.
func leftovers(t testing.TB, language string, prefixes ...string) []string {
	t.Helper()
	en, other := words(t, "en"), words(t, language)
	all := ""
	for _, key := range phrase.Keys() {
		all += other.Say(key) + "\n"
	}
	var list []string
	for _, key := range phrase.Keys() {
		group, _, dotted := strings.Cut(key, ".")
		if !dotted {
			group = ""
		}
		for _, prefix := range prefixes {
			if group != prefix {
				continue
			}
			for _, part := range regexp.MustCompile(`\{[a-z-]+\}`).Split(en.Say(key), -1) {
				if part = strings.Trim(part, " .,:;?!"); len(part) > 8 && !strings.Contains(all, part) {
					list = append(list, strings.Join(strings.Fields(part), " "))
				}
			}
		}
	}
	if len(list) < 20 {
		t.Fatalf("only %d stretches to look for", len(list))
	}
	return list
}

// A page in another language has no English left in it, and what it says is its
// own.
func TestNoEnglishIsLeft(t *testing.T) {
	for _, language := range phrase.Languages() {
		if language == phrase.Default {
			continue
		}
		r := review(t)
		r.Words = words(t, language)
		r.Guides = []Notice{{What: "guide.wav was made with 88 bpm; production.yaml now says 92 bpm",
			Hint: "set production.yaml back, or run ripieno click and send everybody the guide anew"}}
		r.Withheld = 2
		for _, take := range r.Takes {
			for k := range take.Findings { // the texts of the fixture are not ours
				take.Findings[k].What, take.Findings[k].Ask = "x", "x"
			}
		}
		html := written(t, r)
		if !strings.Contains(html, `<html lang="`+language+`">`) {
			t.Errorf("%s: the page does not say its language", language)
		}
		attributes := regexp.MustCompile(`(?:aria-label|alt|data-[a-z]+)="[^"]*"`).FindAllString(html, -1)
		page := text(html[:strings.Index(html, "<script>")]) + strings.Join(attributes, " ")
		for _, part := range leftovers(t, language, "report", "letter") {
			if strings.Contains(page, part) {
				t.Errorf("%s: the report says %q", language, part)
			}
		}
		for _, s := range []Sheet{mine(t, language), everybody(t, language), retake(t, language)} {
			s.Notes = ""
			page := text(render(t, s))
			for _, part := range leftovers(t, language, "") {
				if strings.Contains(page, part) {
					t.Errorf("%s: the call sheet says %q", language, part)
				}
			}
		}
		for _, page := range []string{page, text(render(t, everybody(t, language)))} {
			if found := regexp.MustCompile(`\{[a-z-]+\}`).FindString(regexp.MustCompile(`data-[a-z]+="[^"]*"`).
				ReplaceAllString(page, "")); found != "" {
				t.Errorf("%s: %s is not filled in", language, found)
			}
		}
	}
}

// A player with a language of their own gets a note in it, on a page in another.
func TestNoteInThePlayersLanguage(t *testing.T) {
	r := review(t)
	r.Words, r.DueDay, r.DueClock = words(t, "de"), time.Date(2031, 6, 12, 0, 0, 0, 0, time.UTC), "20:00"
	r.Takes[1].Words = words(t, "it")
	r.Takes[1].Findings[0].Request = words(t, "it").Say("ask.too-soft")
	html := written(t, r)
	for _, want := range []string{
		`lang="it" aria-label="Nachricht an Mara Voss"`, "Ciao Mara Voss,", "- La tua registrazione è molto debole.",
		"Hallo Nell Orrin,", `lang="de" aria-label="Nachricht an Nell Orrin"`, "„The Lamplighter", "Einsendeschluss",
		"Donnerstag, 12. Juni 2031, 20:00 Uhr", "−9,810\u00a0s",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// What players read stands in the table and not in the code: no literal of the
// packages that print to them looks like words of a sentence. Errors, panics and
// tags are for others.
func TestNoWordsInCode(t *testing.T) {
	sentence := regexp.MustCompile(`\p{L}{2,}[,:;]? \p{L}{2,}`)
	seen := 0
	for _, dir := range []string{".", "../survey", "../subtitle"} {
		paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			for _, lit := range literals(t, path) {
				seen++
				if sentence.MatchString(lit) && !strings.Contains(lit, "<") && !strings.HasPrefix(lit, "ripieno ") &&
					!strings.HasSuffix(lit, " given") { // how align calls its methods
					t.Errorf("%s: %q", path, lit)
				}
			}
		}
	}
	for _, path := range []string{"../picture/draw.go", "../intake/judge.go", "../intake/judge_picture.go",
		"../intake/judge_sound.go",
		"../intake/words.go"} {
		for _, lit := range literals(t, path) {
			seen++
			if sentence.MatchString(lit) {
				t.Errorf("%s: %q", path, lit)
			}
		}
	}
	if seen < 300 {
		t.Errorf("only %d literals were looked at", seen)
	}
}

// literals returns the strings of a Go file, but for imports, tags, and what is
// handed to errors and panics.
func literals(t *testing.T, path string) (list []string) {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec, *ast.Field:
			return false
		case *ast.CallExpr:
			if name := called(n); name == "panic" || name == "Errorf" || name == "New" && calledIn(n) == "errors" {
				return false
			}
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				text, err := strconv.Unquote(n.Value)
				if err != nil {
					t.Fatal(err)
				}
				list = append(list, text)
			}
		}
		return true
	})
	return list
}

func called(c *ast.CallExpr) string {
	switch f := c.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

func calledIn(c *ast.CallExpr) string {
	if f, ok := c.Fun.(*ast.SelectorExpr); ok {
		if x, ok := f.X.(*ast.Ident); ok {
			return x.Name
		}
	}
	return ""
}

// Nor do the pages have words of their own, outside of actions and tags.
func TestNoWordsInPages(t *testing.T) {
	for _, name := range []string{"pages/report.html", "pages/callsheet.html"} {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		page := regexp.MustCompile(`\{\{[^}]*\}\}`).ReplaceAllString(string(data), "")
		for _, attribute := range regexp.MustCompile(`(?:aria-label|alt|title)="([^"]*)"`).FindAllStringSubmatch(page,
			-1) {
			if strings.Trim(attribute[1], " ,") != "" {
				t.Errorf("%s: %s", name, attribute[0])
			}
		}
		page = regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, "\n")
		if found := regexp.MustCompile(`\p{L}{3,}`).FindAllString(strings.ReplaceAll(page, "mp3", ""),
			-1); len(found) > 0 {
			t.Errorf("%s: %q", name, found)
		}
	}
}

// Pages are set in the quotation marks and apostrophes of their language, those of a
// person's own words too; only names of files and what is to be typed stay as they are.
func TestPagesAreTypeset(t *testing.T) {
	straight := regexp.MustCompile(`\pL'|"\pL`)
	for _, language := range phrase.Languages() {
		r := review(t)
		r.Words = words(t, language)
		r.Title, r.Ensemble = `The "Lamp's" Round`, "Wick's Players"
		r.Takes[0].Player, r.Takes[1].Section = `Nell O'Rin`, `Winds' "own"`
		html := written(t, r)
		pages := map[string]string{"report": text(html[:strings.Index(html, "<script>")])}
		for name, s := range map[string]Sheet{"sheet": mine(t, language), "everybody": everybody(t, language)} {
			s.Title, s.Ensemble, s.Notes = r.Title, r.Ensemble, `Don't say "when".`
			pages[name] = text(render(t, s))
		}
		for name, page := range pages {
			if !strings.Contains(page, strings.Join(strings.Fields(r.Words.Quote("Lamp’s")), " ")) {
				t.Errorf("%s %s: the title is not set", language, name)
			}
			if at := straight.FindStringIndex(page); at != nil {
				t.Errorf("%s %s: typed, not set: …%s…", language, name, page[max(0, at[0]-60):min(len(page), at[1]+20)])
			}
		}
	}
}
