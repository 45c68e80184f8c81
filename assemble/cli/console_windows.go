package cli

import (
	"os"

	"golang.org/x/sys/windows"
)

// codePage is that of UTF-8.
const codePage = 65001

// prepareConsole makes a console show what is written to it: texts in UTF-8 whatever
// the code page of the country, and a progress line that is drawn over itself. What it
// returns puts the console back as it was, for the program that is used after this one.
// Where output goes to a file there is nothing to prepare.
func prepareConsole() (restore func()) {
	var undo []func()
	if page, err := windows.GetConsoleOutputCP(); err == nil && page != codePage &&
		windows.SetConsoleOutputCP(codePage) == nil {
		undo = append(undo, func() { _ = windows.SetConsoleOutputCP(page) })
	}
	if page, err := windows.GetConsoleCP(); err == nil && page != codePage && windows.SetConsoleCP(codePage) == nil {
		undo = append(undo, func() { _ = windows.SetConsoleCP(page) })
	}
	for _, f := range []*os.File{os.Stdout, os.Stderr} {
		h := windows.Handle(f.Fd())
		var mode uint32
		if windows.GetConsoleMode(h, &mode) != nil {
			continue
		}
		with := mode | windows.ENABLE_PROCESSED_OUTPUT | windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING
		if with != mode && windows.SetConsoleMode(h, with) == nil {
			undo = append(undo, func() { _ = windows.SetConsoleMode(h, mode) })
		}
	}
	return func() {
		for _, u := range undo {
			u()
		}
	}
}
