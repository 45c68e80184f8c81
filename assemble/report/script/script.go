// Package script holds what pages that share nothing else do alike: a report is one
// file that stands alone, the desk a page of modules.
package script

import _ "embed"

// Copy declares copyText, for a page that is one file.
//
//go:embed copy.js
var Copy string

// CopyModule returns Copy as a module that exports it.
func CopyModule() string { return Copy + "export { copyText };\n" }
