// Package report makes the pages that people read: the call sheet that every
// player gets, and the report for whoever puts the production together.
//
// A page is one file of HTML that needs nothing else: no network, no fonts but
// those of the machine, and no scripts but the report's own, without which it
// shows everything too. It carries a content policy that forbids a browser to
// fetch anything for it but the rough cut beside it, reads well in a light and
// a dark room and on paper, and its text has at least the contrast of WCAG 2.1
// level AA (4.5 to 1). All text is escaped by html/template, whatever a manifest
// holds.
//
// The package writes to an io.Writer and touches no files; the sentences of the
// call sheet come from package phrase, those of the report are English. Times
// are seconds of the guide they speak of.
package report

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"path"

	"ripieno/assemble/report/script"
)

//go:embed pages/*.html pages/*.css pages/*.js
var pages embed.FS

// page parses one of the embedded pages together with the style all share and
// its own style and script. All of these are ours and have nothing of a
// manifest in them; their hashes let a content policy admit them and no others.
func page(name string, own ...string) *template.Template {
	style, code := readEmbedded("style.css"), ""
	for _, file := range own {
		if file == "copy.js" { // the desk has it, too
			code += script.Copy
		} else if path.Ext(file) == ".js" {
			code += readEmbedded(file)
		} else {
			style += readEmbedded(file)
		}
	}
	return template.Must(template.New(name).Funcs(template.FuncMap{
		"style":      func() template.CSS { return template.CSS(style) },
		"script":     func() template.JS { return template.JS(code) },
		"styleHash":  func() string { return hash("\n" + style) },
		"scriptHash": func() string { return hash("\n" + code) },
	}).ParseFS(pages, "pages/"+name))
}

// readEmbedded returns a file that is part of the program.
func readEmbedded(name string) string {
	data, err := pages.ReadFile("pages/" + name)
	if err != nil {
		panic(err) // a slip of ours
	}
	return string(data)
}

// hash returns a text as a content policy names it.
func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}
