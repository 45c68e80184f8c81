// Package sheets writes the pages that players get: one for everybody and one for each
// take. It needs no ffmpeg and looks at no recording, so that players can be asked before
// anything else is set up.
package sheets

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/session"
)

// Options choose which pages [Write] writes.
type Options struct {
	Only     []string // names of takes; empty: all
	Language string   // of all pages; "" is what the manifest says
}

// Page is the page of one take.
type Page struct {
	Take   string `json:"take"`
	Player string `json:"player"`
	Part   string `json:"part"`
	Guide  string `json:"guide"` // name of the guide's files, without an ending
	File   string `json:"file"`  // the page
	// Language is that of the page: a player may have their own.
	Language string `json:"language"`
}

// Result is what `callsheet` wrote.
type Result struct {
	All      string `json:"all"` // the page for everybody
	Language string `json:"language"`
	Pages    []Page `json:"pages"`
}

// Sentence is a text of the call sheet that the manifest can replace.
type Sentence struct {
	Key  string `json:"key"`
	Text string `json:"text"`
}

// Sentences is all of them in one language.
type Sentences struct {
	Language string     `json:"language"`
	Strings  []Sentence `json:"strings"`
}

// folderName holds the pages of single takes.
const folderName = "callsheets"

// Write writes out/callsheet.html for everybody and out/callsheets/NAME.html for each
// take. Faults of the manifest, an unknown take or language, and a take that is withheld
// stop it before anything is written. It fails with ctx, and when a page cannot be
// written; those before it are whole.
func Write(ctx context.Context, set session.Settings, o Options) (Result, error) {
	r := Result{Pages: []Page{}}
	p, words, err := openSheets(set, o)
	if err != nil {
		return r, err
	}
	r.Language = words.Language
	// All names are checked before the first page is written.
	for _, name := range o.Only {
		i := slices.IndexFunc(p.man.Takes, func(t production.Take) bool { return t.Name == name })
		if i < 0 {
			return r, p.man.NoSuch("take", name, p.takeNames())
		}
		if t := p.man.Takes[i]; t.IsWithheld() {
			return r, fault.At(fault.Manifest, t.Mark,
				fmt.Sprintf("take %q has release: no, so no page is made for it", name),
				"leave it out of --only")
		}
	}
	if r.All, err = session.OutFile(p.set.Out, "callsheet.html"); err != nil {
		return r, err
	}
	folder := filepath.Join(filepath.Dir(r.All), folderName)
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return r, session.Unwritable(folder, err)
	}
	// The page for everybody lists who plays what, and belongs to no take.
	everybody := p.sheet(words)
	everybody.Guide = guide.Sheet(p.man, nil)
	for _, t := range p.man.Takes {
		if !t.IsWithheld() {
			everybody.Roll = append(everybody.Roll, player(t))
		}
	}
	if err := writeSheet(ctx, r.All, everybody); err != nil {
		return r, err
	}
	for _, t := range p.man.Takes {
		if len(o.Only) > 0 && !slices.Contains(o.Only, t.Name) || t.IsWithheld() {
			continue
		}
		own, err := p.wordsOf(t, words, o)
		if err != nil {
			return r, err
		}
		one := p.sheet(own)
		who := player(t)
		one.Player, one.Guide = &who, guide.Sheet(p.man, p.man.Guide.Variant(t.Guide))
		page := Page{Take: t.Name, Player: who.Name, Part: t.Part, Guide: who.Guide, Language: own.Language}
		page.File = filepath.Join(folder, t.Name+".html")
		if err := writeSheet(ctx, page.File, one); err != nil {
			return r, err
		}
		r.Pages = append(r.Pages, page)
	}
	return r, nil
}

// Strings lists the sentences of the call sheet. It fails for a manifest with faults,
// and for an unknown language.
func Strings(set session.Settings, o Options) (Sentences, error) {
	_, words, err := openSheets(set, o)
	if err != nil {
		return Sentences{}, err
	}
	r := Sentences{Language: words.Language}
	for _, key := range phrase.SheetKeys() {
		r.Strings = append(r.Strings, Sentence{key, words.Say(key)})
	}
	return r, nil
}

// sheetMaker is a production while call sheets are written: they need neither
// ffmpeg nor a store.
type sheetMaker struct {
	set session.Settings
	man *production.Production
}

// openSheets reads the manifest and the sentences it asks for.
func openSheets(set session.Settings, o Options) (*sheetMaker, *phrase.Book, error) {
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, nil, err
	}
	if set.Out == "" {
		set.Out = filepath.Join(man.Dir, session.OutFolder)
	}
	language := man.CallSheet.Language
	if o.Language != "" {
		language = o.Language
	}
	if !slices.Contains(phrase.Languages(), language) {
		return nil, nil, fault.New(fault.Manifest, "", fmt.Sprintf("unknown language %q", language),
			fmt.Sprintf("there are %q", phrase.Languages()))
	}
	words, err := phrase.Open(language, man.CallSheet.Strings)
	return &sheetMaker{set: set, man: man}, words, err
}

// takeNames lists the takes of the manifest.
func (p *sheetMaker) takeNames() []string {
	var all []string
	for _, t := range p.man.Takes {
		all = append(all, t.Name)
	}
	return all
}

// wordsOf returns the sentences for the page of one player: those of everybody's
// page, or in a language of the player's own. Sentences that the manifest replaces
// are in the language of everybody's page and stand in no other.
func (p *sheetMaker) wordsOf(t production.Take, words *phrase.Book, o Options) (*phrase.Book, error) {
	if o.Language != "" || t.Language == words.Language {
		return words, nil
	}
	return phrase.Open(t.Language, nil)
}

// sheet returns what all pages have in common.
func (p *sheetMaker) sheet(words *phrase.Book) report.Sheet {
	c := p.man.CallSheet
	s := report.Sheet{
		Words: words, Title: p.man.Title, Composer: p.man.Composer, Ensemble: p.man.Ensemble,
		Due: c.Due, SendTo: c.SendTo, Contact: c.Contact, Notes: c.Notes,
	}
	if !c.DueDay.IsZero() {
		s.Due = words.Date(c.DueDay, c.DueClock)
	}
	return s
}

// player returns a take as sheets speak of it. A page for one player, too, may be
// passed on or lie in a folder that all can see.
func player(t production.Take) report.Player {
	return report.Player{Name: t.PublicName(), Part: t.Part, File: t.Name, Guide: guide.Name(t.Guide)}
}

// writeSheet writes a page whole, and not at all when it is the same.
func writeSheet(ctx context.Context, path string, s report.Sheet) error {
	var page bytes.Buffer
	if err := report.CallSheet(&page, s); err != nil {
		return fmt.Errorf("call sheet %s: %w", path, err)
	}
	return session.Publish(ctx, path, page.Bytes())
}
