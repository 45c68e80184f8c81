//go:build !windows

package cli

// prepareConsole has nothing to do: terminals of these systems take UTF-8 and draw
// over a line.
func prepareConsole() (restore func()) { return func() {} }
