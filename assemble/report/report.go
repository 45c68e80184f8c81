// Package report makes the pages that people read: so far the call sheet that
// every player gets.
//
// A page is one file of HTML that needs nothing else: no network, no scripts,
// no fonts but those of the machine. It carries a content policy that forbids
// a browser to fetch anything for it, reads well in a light and a dark room
// and on paper, and its text has at least the contrast of WCAG 2.1 level AA
// (4.5 to 1). All text is escaped by html/template, whatever a manifest holds.
//
// The package writes to an io.Writer and touches no files; sentences come from
// package phrase. Times are seconds of the guide they speak of.
package report

import (
	"embed"
	"html/template"
)

//go:embed pages/*.html pages/*.css
var pages embed.FS

// page parses one of the embedded pages together with the style all share.
func page(name string) *template.Template {
	css, err := pages.ReadFile("pages/style.css")
	if err != nil {
		panic(err) // embedded with the program
	}
	// The style is ours and has nothing of a manifest in it.
	style := func() template.CSS { return template.CSS(css) }
	return template.Must(template.New(name).Funcs(template.FuncMap{"style": style}).ParseFS(pages, "pages/"+name))
}
