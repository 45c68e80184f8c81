package report

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"ripieno/assemble/desk/browser/browsertest"
)

// measureText walks the text of a page as it is shown and gives, for the
// colours in force, the least contrast and what has less than 4.5 to 1.
// Backgrounds are those of the nearest ancestor that has one.
const measureText = `(() => {
	const parse = c => { const m = c.match(/[\d.]+/g).map(Number); return m.length > 3 ? m : [...m, 1]; };
	const lum = ([r, g, b]) => [r, g, b].map(v => v / 255)
		.map(v => v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4))
		.reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ground = e => {
		for (; e; e = e.parentElement) {
			const c = parse(getComputedStyle(e).backgroundColor);
			if (c[3] > 0) return c;
		}
		return [255, 255, 255, 1];
	};
	const bad = [];
	let least = 21, texts = 0, small = 1000;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const n = walk.currentNode, e = n.parentElement;
		if (!n.textContent.trim() || e.getClientRects().length === 0) continue;
		const s = getComputedStyle(e), a = lum(parse(s.color)), b = lum(ground(e));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		texts++;
		least = Math.min(least, ratio);
		small = Math.min(small, parseFloat(s.fontSize));
		if (ratio < 4.5) bad.push(ratio.toFixed(2) + ' ' + n.textContent.trim().slice(0, 40));
	}
	return {least, texts, small, bad};
})()`

type shownText struct {
	Least float64  `json:"least"`
	Texts int      `json:"texts"`
	Small float64  `json:"small"` // px of the smallest letters
	Bad   []string `json:"bad"`
}

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
	b.provesItself()
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
			browsertest.Run(b, chromedp.EmulateViewport(width, 900))
			if o := browsertest.Run(b, chromedp.Evaluate[outlined](outline)); o.Overflow > 0 {
				t.Errorf("%s sticks out by %d pixels at a width of %d", name, o.Overflow, width)
			}
			for _, scheme := range []string{"light", "dark"} {
				// Colours do not depend on the width, and pictures take time:
				// a wide light page and a narrow dark one stand for all.
				if !browsertest.Keeping() && (width == 768 || (width == 320) != (scheme == "dark")) {
					continue
				}
				b.Show("screen", scheme)
				b.contrast(fmt.Sprintf("%s %d %s", name, width, scheme))
				b.Shot(fmt.Sprintf("%s-%d-%s.png", name, width, scheme))
			}
		}
		b.print(name)
		if requests, messages := b.heard(); len(requests)+len(messages) > 0 {
			t.Errorf("%s asked for %q and said %q", name, requests, messages)
		}
	}
}

// provesItself shows the browser a bad page: what the checks are to find must
// be found in it, or their silence means nothing.
func (b *browser) provesItself() {
	b.t.Helper()
	b.open(`<!doctype html><html><body style="background:#fff"><p style="color:#777777">grey</p>` +
		`<div style="width:5000px">wide</div><script>console.error("x")</script><img src="http://127.0.0.1:9/x.png"></body></html>`)
	requests, messages := b.heard()
	if len(requests) != 1 || !strings.HasSuffix(requests[0], "/x.png") || len(messages) == 0 {
		b.t.Fatalf("of a bad page, requests %q and messages %q were seen", requests, messages)
	}
	if c := browsertest.Run(b, chromedp.Evaluate[shownText](measureText)); len(c.Bad) != 1 || math.Abs(c.Least-4.4781) > 1e-3 {
		b.t.Fatalf("of a bad page, contrast %+v was seen", c)
	}
	if o := browsertest.Run(b, chromedp.Evaluate[outlined](outline)); o.Overflow < 1000 || o.Scripts != 1 {
		b.t.Fatalf("of a bad page, %+v was seen", o)
	}
}

func (b *browser) structure(name, language, title string, scripts int) {
	b.t.Helper()
	o := browsertest.Run(b, chromedp.Evaluate[outlined](outline))
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
	c := browsertest.Run(b, chromedp.Evaluate[shownText](measureText))
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
	data := browsertest.Run(b, chromedp.FullScreenshot(100))
	browsertest.Keep(b.t, name, data)
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
	b.Show("print", "dark") // who prints in a dark room wants white paper all the same
	c := browsertest.Run(b, chromedp.Evaluate[shownText](measureText))
	if len(c.Bad) > 0 {
		b.t.Errorf("%s printed: too little contrast in %q", name, c.Bad)
	}
	data := browsertest.Run(b, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	browsertest.Keep(b.t, name+".pdf", data)
	pages := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(data, -1))
	if !bytes.HasPrefix(data, []byte("%PDF-")) || pages < 1 || pages > 2 {
		b.t.Errorf("%s prints on %d pages", name, pages)
	}
	b.Show("screen", "light")
}
