//go:build !linux

package held

import "os"

// Name is never asked for here: nothing is held.
func Name(uintptr) string { return "" }

// canReopen says no: other systems share a position among all that open a
// descriptor again, or have no name for it.
func canReopen(*os.File) bool { return false }
