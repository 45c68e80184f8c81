// Package pages writes what packages carry beside the program: its manual pages and
// the completions of shells. Both are made from the verbs and flags of the command
// line by generators of the library that reads them. The program itself does not
// have this package in it.
package pages

import (
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra/doc"

	"ripieno/assemble/cli"
)

// Write writes man/ripieno.1, man/ripieno-VERB.1 and completions/ripieno.bash,
// _ripieno (zsh), ripieno.fish and ripieno.ps1 into dir. day is printed in the pages;
// with the same day, the same bytes are written.
func Write(dir string, day time.Time) error {
	man, shells := filepath.Join(dir, "man"), filepath.Join(dir, "completions")
	for _, d := range []string{man, shells} {
		if err := os.MkdirAll(d, 0o777); err != nil {
			return err
		}
	}
	root := cli.Command()
	// It would print today's date into every page.
	root.DisableAutoGenTag = true
	header := &doc.GenManHeader{Title: "RIPIENO", Section: "1", Source: "ripieno", Manual: "ripieno", Date: &day}
	if err := doc.GenManTree(root, header, man); err != nil {
		return err
	}
	for _, s := range []struct {
		name  string
		write func(string) error
	}{
		{"ripieno.bash", func(p string) error { return root.GenBashCompletionFileV2(p, true) }},
		{"_ripieno", root.GenZshCompletionFile},
		{"ripieno.fish", func(p string) error { return root.GenFishCompletionFile(p, true) }},
		{"ripieno.ps1", root.GenPowerShellCompletionFileWithDesc},
	} {
		if err := s.write(filepath.Join(shells, s.name)); err != nil {
			return err
		}
	}
	return nil
}
