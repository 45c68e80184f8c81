package report

import (
	"bytes"
	"fmt"
	"image/png"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// outline reads what a screen reader goes by.
const outline = `(() => ({
	lang: document.documentElement.lang,
	title: document.title,
	headings: [...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1]),
	unnamed: [...document.querySelectorAll('[role=img]')].filter(e => !e.getAttribute('aria-label')).length
		+ [...document.querySelectorAll('a,section')].filter(e => !e.textContent.trim()).length,
	scopeless: document.querySelectorAll('th:not([scope])').length,
	mains: document.querySelectorAll('main').length,
	overflow: document.documentElement.scrollWidth - window.innerWidth,
	scripts: document.scripts.length,
}))()`

type outlined struct {
	Lang      string `json:"lang"`
	Title     string `json:"title"`
	Headings  []int  `json:"headings"`
	Unnamed   int    `json:"unnamed"`
	Scopeless int    `json:"scopeless"`
	Mains     int    `json:"mains"`
	Overflow  int    `json:"overflow"`
	Scripts   int    `json:"scripts"`
}

// TestPagesInABrowser opens the pages in a real browser: nothing is fetched,
// nothing complained about, every text has enough contrast on the screen, in
// the dark and on paper, nothing is wider than a small telephone.
func TestPagesInABrowser(t *testing.T) {
	b := openBrowser(t)
	long := everybody(t, "en")
	long.Title = "Ein ganz besonders langes Stück mit Donaudampfschifffahrtsgesellschaftskapitänsmützenband im Titel"
	long.SendTo = "https://drop.example.org/an/address/that/is/so/long/that/it/has/to/break/somewhere/or/stick/out?x=1234567890"
	for name, s := range map[string]Sheet{
		"player-en": mine(t, "en"), "everybody-de": everybody(t, "de"), "retake-it": retake(t, "it"), "long-en": long,
		"player-fr": mine(t, "fr"), "everybody-es": everybody(t, "es"),
	} {
		b.open(render(t, s))
		b.structure(name, s.Words.Language, s.Words.Typeset(s.Title), 0)
		for _, width := range []int64{320, 768, 1280} {
			run(b, chromedp.EmulateViewport(width, 900))
			if o := run(b, chromedp.Evaluate[outlined](outline)); o.Overflow > 0 {
				t.Errorf("%s sticks out by %d pixels at a width of %d", name, o.Overflow, width)
			}
			for _, scheme := range []string{"light", "dark"} {
				// Colours do not depend on the width, and pictures take time:
				// a wide light page and a narrow dark one stand for all.
				if *shots == "" && (width == 768 || (width == 320) != (scheme == "dark")) {
					continue
				}
				b.Media("screen", scheme)
				b.contrast(fmt.Sprintf("%s %d %s", name, width, scheme))
				b.shot(fmt.Sprintf("%s-%d-%s.png", name, width, scheme))
			}
		}
		b.print(name)
		if requests, messages := b.heard(); len(requests)+len(messages) > 0 {
			t.Errorf("%s asked for %q and said %q", name, requests, messages)
		}
	}
}

func (b *browser) structure(name, language, title string, scripts int) {
	b.t.Helper()
	o := run(b, chromedp.Evaluate[outlined](outline))
	if o.Lang != language || !strings.Contains(o.Title, title) || o.Mains != 1 || o.Unnamed+o.Scopeless != 0 ||
		o.Scripts != scripts {
		b.t.Errorf("%s: %+v", name, o)
	}
	last := 0
	for i, h := range o.Headings {
		if (h == 1) != (i == 0) || h > last+1 {
			b.t.Errorf("%s: headings %v", name, o.Headings)
			break
		}
		last = h
	}
}

// contrast is level AA of WCAG 2.1 for text of every size.
func (b *browser) contrast(name string) {
	b.t.Helper()
	c := b.MeasureText()
	if len(c.Bad) > 0 || c.Texts < 60 {
		b.t.Errorf("%s: %d texts, too little contrast in %q", name, c.Texts, c.Bad)
	}
	if c.Small < 11.5 {
		b.t.Errorf("%s: letters of %.1f px", name, c.Small)
	}
}

// shot takes a picture of the whole page and sees that there is something on
// it: the colour of the cue stands out on a screen.
func (b *browser) shot(name string) {
	b.t.Helper()
	data := run(b, chromedp.FullScreenshot(100))
	keep(b.t, name, data)
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		b.t.Fatal(err)
	}
	cue, all := 0, 0
	for y := img.Bounds().Min.Y; y < img.Bounds().Max.Y; y += 4 {
		for x := img.Bounds().Min.X; x < img.Bounds().Max.X; x += 4 {
			all++
			if r, g, bl, _ := img.At(x, y).RGBA(); r>>8 > 250 && g>>8 > 200 && bl>>8 < 130 {
				cue++
			}
		}
	}
	if cue < 100 || cue > all/5 {
		b.t.Errorf("%s: %d of %d points have the colour of the cue", name, cue, all)
	}
}

// print makes a PDF, as players print the page.
func (b *browser) print(name string) {
	b.t.Helper()
	b.Media("print", "dark") // who prints in a dark room wants white paper all the same
	c := b.MeasureText()
	if len(c.Bad) > 0 {
		b.t.Errorf("%s printed: too little contrast in %q", name, c.Bad)
	}
	data := run(b, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	keep(b.t, name+".pdf", data)
	pages := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(data, -1))
	if !bytes.HasPrefix(data, []byte("%PDF-")) || pages < 1 || pages > 2 {
		b.t.Errorf("%s prints on %d pages", name, pages)
	}
	b.Media("screen", "light")
}
