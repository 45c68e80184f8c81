package cli

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/viper"
)

// readme returns the README of the repository.
func readme(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestReadmeListsEveryVerb holds the README's table against the verbs there
// are, both ways.
func TestReadmeListsEveryVerb(t *testing.T) {
	var listed, known []string
	for _, row := range regexp.MustCompile("(?m)^\\| `([a-z]+)` \\|").FindAllStringSubmatch(readme(t), -1) {
		listed = append(listed, row[1])
	}
	root := (&app{settings: viper.New()}).root()
	for _, c := range root.Commands() {
		if c.Name() != "help" {
			known = append(known, c.Name())
		}
		if c.Short == "" || c.Long == "" && c.Name() != "help" {
			t.Errorf("%s has no help", c.Name())
		}
	}
	slices.Sort(listed)
	slices.Sort(known)
	if !slices.Equal(listed, known) {
		t.Errorf("the README lists %v, the program has %v", listed, known)
	}
}

// TestReadmeListsExitCodes holds the README's table of exit codes against the
// one that help prints, word by word.
func TestReadmeListsExitCodes(t *testing.T) {
	var listed, printed []string
	for _, row := range regexp.MustCompile(`(?m)^\| ([0-9]+) \| (.*) \|$`).FindAllStringSubmatch(readme(t), -1) {
		listed = append(listed, row[1]+" "+strings.ReplaceAll(row[2], "`", ""))
	}
	for _, line := range strings.Split(ExitCodes, "\n")[1:] {
		words := strings.Fields(line)
		if _, err := strconv.Atoi(words[0]); err == nil {
			printed = append(printed, strings.Join(words, " "))
		} else { // the line before goes on
			printed[len(printed)-1] += " " + strings.Join(words, " ")
		}
	}
	if !slices.Equal(listed, printed) {
		t.Errorf("the README lists\n%s\nhelp prints\n%s", strings.Join(listed, "\n"), strings.Join(printed, "\n"))
	}
}

// TestLinksLeadSomewhere follows the links of every page of the repository to
// files beside it.
func TestLinksLeadSomewhere(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^):#]+)\)`)
	followed := 0
	err := filepath.WalkDir(filepath.Join("..", ".."), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".md" {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, l := range link.FindAllStringSubmatch(string(text), -1) {
			followed++
			if _, err := os.Stat(filepath.Join(filepath.Dir(path), l[1])); err != nil {
				t.Errorf("%s: %v", path, err)
			}
		}
		return nil
	})
	if err != nil || followed < 15 {
		t.Errorf("%d links, %v", followed, err)
	}
}
