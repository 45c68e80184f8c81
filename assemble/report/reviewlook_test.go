package report

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// TestReviewInABrowser opens the report as its reader does: nothing is fetched,
// nothing complained about, every text has enough contrast, every control a
// name, nothing is wider than a small telephone, and paper has all of it.
func TestReviewInABrowser(t *testing.T) {
	b := openBrowser(t)
	r := review(t)
	r.Takes[0].Player = "Nell Orrin-Donaudampfschifffahrtsgesellschaftskapitänswitwe"
	long := "intake/" + strings.Repeat("a-very-long-name", 12) + ".mov"
	r.Takes[0].Files[0], r.Takes[0].Places[0].File = long, long
	b.open(written(t, r))
	b.structure("report", "en", r.words().Typeset(r.Title), 1)
	b.named()
	b.rows(r)
	for _, width := range []int64{320, 768, 1280} {
		run(b, chromedp.EmulateViewport(width, 900))
		for _, scheme := range []string{"light", "dark"} {
			b.Media("screen", scheme)
			for _, open := range []bool{false, true} {
				run(b, chromedp.Evaluate[int](fmt.Sprintf(
					`document.querySelectorAll('details').forEach(d => d.open = %v)`, open)+`, 0`))
				if o := run(b, chromedp.Evaluate[outlined](outline)); o.Overflow > 0 {
					t.Errorf("the page sticks out by %d pixels at a width of %d, notes open %v", o.Overflow, width,
						open)
				}
			}
			if n := run(b, chromedp.Evaluate[int](cutNotes)); n > 0 {
				t.Errorf("%d notes are cut at a width of %d", n, width)
			}
			b.contrast(fmt.Sprintf("%d %s", width, scheme))
			if *shots != "" {
				keep(t, fmt.Sprintf("report-%d-%s.png", width, scheme), run(b, chromedp.FullScreenshot(100)))
			}
		}
	}
	b.paper(r)
	if requests, messages := b.heard(); len(requests)+len(messages) > 0 {
		t.Errorf("the page asked for %q and said %q", requests, messages)
	}
}

// cutNotes counts notes, all open, of which only a part is seen. A browser that
// does not make a field as high as its text keeps the height for wide pages.
const cutNotes = `CSS.supports('field-sizing: content') ? [...document.querySelectorAll('.note textarea')].filter(e => e.scrollHeight > e.clientHeight + 1).length : 0`

// rows finds every take in the roll and among the cards.
func (b *browser) rows(r Review) {
	b.t.Helper()
	for _, take := range r.Takes {
		js := fmt.Sprintf(
			`['#roll li', '#takes article'].map(s => document.querySelectorAll(s + '[data-take="%s"]').length).join()`, take.Name)
		if got := run(b, chromedp.Evaluate[string](js)); got != "1,1" {
			b.t.Errorf("%s is in the roll and the cards %s times", take.Name, got)
		}
	}
	if n := run(b, chromedp.Evaluate[int](`document.querySelectorAll('article img').length`)); n != 4 {
		b.t.Errorf("%d pictures", n)
	}
	if n := run(b,
		chromedp.Evaluate[int](
			`[...document.images].filter(i => i.decoding !== 'async' || !i.alt || !i.width || !i.height).length`)); n != 0 {
		b.t.Errorf("%d pictures are not decoded aside, named and measured", n)
	}
}

// named asks the browser, as a screen reader does, for the name of everything
// that can be used, and for the landmarks.
func (b *browser) named() {
	b.t.Helper()
	// What is far below has no tree until it is scrolled to.
	run(b, chromedp.Evaluate[int](
		`document.querySelectorAll('article, #roll li').forEach(e => e.style.contentVisibility = 'visible'), 0`))
	bad, seen := b.Names()
	if len(bad) > 0 {
		b.t.Errorf("%s", strings.Join(bad, "\n"))
	}
	for role, least := range map[string]int{"main": 1, "banner": 1, "navigation": 1, "search": 1, "region": 4,
		"article": 7, "radio": 5, "checkbox": 1, "status": 1, "image": 11, "DisclosureTriangle": 6} {
		if seen[role] < least {
			b.t.Errorf("%d of role %s, want %d: %v", seen[role], role, least, seen)
		}
	}
}

// paper prints the page while it is narrowed to one take: all takes and
// findings are there, and no controls.
func (b *browser) paper(r Review) {
	b.t.Helper()
	run(b, chromedp.Evaluate[int](
		`document.querySelector('input[value=redo]').click(), document.querySelector('[name=brief]').click(), 0`))
	b.Media("print", "dark")
	if c := b.MeasureText(); len(c.Bad) > 0 {
		b.t.Errorf("printed: too little contrast in %q", c.Bad)
	}
	js := `[...document.querySelectorAll('%s')].filter(e => e.getClientRects().length > 0).length`
	for what, want := range map[string]int{"article": len(r.Takes), "#roll li": len(r.Takes), ".found li": 4,
		"button, input, textarea, video, summary:not(.card summary), nav": 0} {
		if n := run(b, chromedp.Evaluate[int](fmt.Sprintf(js, what))); n != want {
			b.t.Errorf("printed: %d of %s, want %d", n, what, want)
		}
	}
	data := run(b, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	keep(b.t, "report.pdf", data)
	if pages := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(data, -1)); pages < 1 || pages > 8 {
		b.t.Errorf("printed on %d pages", pages)
	}
	b.Media("screen", "light")
}

// shownTakes are the takes whose cards and rows are seen, and what the live
// region says of them.
const shownTakes = `['article', '#roll li'].map(s => [...document.querySelectorAll(s + '[data-take]')]
	.filter(e => getComputedStyle(e).display !== 'none').map(e => e.dataset.take).join(' ')).join('; ') + '; ' + document.getElementById('told').textContent`

// TestReviewByKeyboard narrows the page with keys alone.
func TestReviewByKeyboard(t *testing.T) {
	b := openBrowser(t)
	b.open(written(t, review(t)))
	all := "flute oboe clarinet viola viola-2 double-bass tin-whistle"
	want := func(what, takes, told string) {
		t.Helper()
		if got := run(b, chromedp.Evaluate[string](shownTakes)); got != takes+"; "+takes+"; "+told {
			t.Errorf("%s: %s", what, got)
		}
	}
	focused := func() string {
		return run(b, chromedp.Evaluate[string](
			`(e => [e.tagName, e.name || e.type || '', e.value || e.textContent || ''].join(' '))(document.activeElement)`))
	}
	press := func(keys string) { run(b, chromedp.KeyEvent(keys)) }
	want("at first", all, "All takes are shown: 7.")
	for i := 0; i < 12 && !strings.HasPrefix(focused(), "INPUT level"); i++ {
		press("\t")
	}
	if f := focused(); f != "INPUT level all" {
		t.Fatalf("the keys lead to %q", f)
	}
	const right, left = "\u0303", "\u0302"
	press(right)
	want("record again", "clarinet", "Takes shown: 1 of 7.")
	press(right)
	want("ask", "oboe viola-2", "Takes shown: 2 of 7.")
	press(left)
	want("back", "clarinet", "Takes shown: 1 of 7.")
	press(left)
	want("all again", all, "All takes are shown: 7.")
	press("\t")
	if f := focused(); f != "INPUT words " {
		t.Fatalf("after the levels comes %q", f)
	}
	for _, k := range "SØREL" {
		press(string(k))
	}
	want("a name", "viola viola-2", "Takes shown: 2 of 7.")
	for _, k := range " winds" {
		press(string(k))
	}
	want("nobody", "", "Takes shown: 0 of 7.")
	if n := run(b,
		chromedp.Evaluate[int](
			`[...document.querySelectorAll('.group')].filter(e => getComputedStyle(e).display !== 'none').length`)); n != 0 {
		t.Errorf("%d sections without takes are shown", n)
	}
	press("\t")
	press(" ")
	remarks := `[...document.querySelectorAll('.found .ok')].filter(e => getComputedStyle(e).display !== 'none').length`
	if n := run(b, chromedp.Evaluate[int](remarks)); n != 0 {
		t.Errorf("%d remarks are left", n)
	}
	press("\t")
	press("\r")
	run(b, chromedp.Evaluate[int](`new Promise(r => setTimeout(() => r(0)))`, chromedp.EvalAwaitPromise))
	want("everything", all, "All takes are shown: 7.")
	if n := run(b, chromedp.Evaluate[int](remarks)); n != 1 {
		t.Errorf("%d remarks came back", n)
	}
	// A link to a take that is filtered out brings it back.
	run(b, chromedp.Evaluate[int](
		`document.querySelector('input[value=redo]').click(), location.hash = '#take-viola-2', new Promise(r => setTimeout(() => r(0), 0))`, chromedp.EvalAwaitPromise))
	if n := run(b,
		chromedp.Evaluate[bool](
			`new Promise(r => { const look = () => document.querySelector('.off') ? requestAnimationFrame(look) : r(true); look(); })`, chromedp.EvalAwaitPromise)); !n {
		t.Error("a link leads nowhere")
	}
	if requests, messages := b.heard(); len(requests)+len(messages) > 0 {
		t.Errorf("the page asked for %q and said %q", requests, messages)
	}
}

// A note is selected and copied by its button, and where copying is not allowed
// it stays selected and the page says how.
func TestReviewCopies(t *testing.T) {
	b := openBrowser(t)
	r := review(t)
	b.open(written(t, r))
	for _, refused := range []bool{false, true} {
		if refused {
			run(b, chromedp.Evaluate[int](
				`Object.defineProperty(navigator, 'clipboard', {value: undefined}), document.execCommand = () => { throw new Error('no'); }, 0`))
		}
		run(b, chromedp.Evaluate[int](`(() => { document.querySelectorAll('details').forEach(d => d.open = true);
			const told = document.getElementById('note-oboe-told'), area = document.getElementById('note-oboe');
			told.textContent = '';
			window.copied = new Promise(r => new MutationObserver(() => r([told.textContent, area.value.slice(area.selectionStart, area.selectionEnd), document.activeElement.id])).observe(told, {childList: true}));
			document.querySelector('[data-copy=note-oboe]').focus(); return 0; })()`))
		run(b, chromedp.KeyEvent("\r"))
		got := run(b, chromedp.Evaluate[[]string](`window.copied`, chromedp.EvalAwaitPromise))
		want := "Copied."
		if refused {
			want = "Selected: copy it with Ctrl+C or ⌘C."
		}
		if len(got) != 3 || got[0] != want || got[1] != r.letter(1) || got[2] != "note-oboe" {
			t.Errorf("refused %v: %q", refused, got)
		}
	}
}

// Without scripts everything is there and nothing is left over that would need
// one.
func TestReviewWithoutScripts(t *testing.T) {
	b := openBrowser(t)
	call(b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	r := review(t)
	b.open(written(t, r))
	call(b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: false})
	js := `[...document.querySelectorAll('%s')].filter(e => getComputedStyle(e).display !== 'none').length`
	for what, want := range map[string]int{"article": len(r.Takes), "#narrow": 0, "button[data-copy]": 0,
		"details": 6 + 6} {
		if n := run(b, chromedp.Evaluate[int](fmt.Sprintf(js, what))); n != want {
			t.Errorf("%d of %s, want %d", n, what, want)
		}
	}
}

// TestReviewFilm: the rough cut is fetched only when it is played, from the
// file beside the page, and a mark leads to its moment. A second of silence
// stands for the film.
func TestReviewFilm(t *testing.T) {
	b := openBrowser(t)
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "rough.mp4"), silence(30), 0o666); err != nil {
		t.Fatal(err)
	}
	b.openIn(dir, written(t, review(t)))
	if requests, _ := b.heard(); len(requests) != 0 {
		t.Errorf("before anybody played it, %q were fetched", requests)
	}
	got := run(b, chromedp.Evaluate[string](`new Promise(r => {
		const film = document.getElementById('film');
		film.muted = true;
		const tell = () => r((film.error ? film.error.message : 'plays') + ' at ' + film.currentTime.toFixed(0) + ' of ' + film.duration.toFixed(0));
		film.addEventListener('seeked', tell);
		film.addEventListener('error', tell);
		document.querySelector('a[data-at="19.000"]').click();
	})`, chromedp.EvalAwaitPromise))
	if got != "plays at 19 of 30" {
		t.Error(got)
	}
	requests, messages := b.heard()
	for _, r := range requests {
		if !strings.HasSuffix(r, "/rough.mp4") {
			t.Errorf("%s was fetched", r)
		}
	}
	if len(requests) == 0 || len(messages) > 0 {
		t.Errorf("%q was fetched, and said %q", requests, messages)
	}
}

// silence returns a WAV of so many seconds.
func silence(seconds int) []byte {
	const rate = 8000
	n := uint32(rate * seconds)
	b := append([]byte("RIFF"), binary.LittleEndian.AppendUint32(nil, 36+n)...)
	b = append(b, "WAVEfmt "...)
	for _, v := range []uint32{16, 1 | 1<<16, rate, rate, 1 | 8<<16} {
		b = binary.LittleEndian.AppendUint32(b, v)
	}
	b = append(b, "data"...)
	b = binary.LittleEndian.AppendUint32(b, n)
	for range n {
		b = append(b, 128)
	}
	return b
}

// TestReviewOfACrowd: two hundred takes have few elements each, and the browser
// lays out those that are seen and no others.
func TestReviewOfACrowd(t *testing.T) {
	b := openBrowser(t)
	count := func(n int) int {
		b.open(written(t, crowd(t, n)))
		return run(b, chromedp.Evaluate[int](`document.querySelectorAll('*').length`))
	}
	few, many := count(20), count(200)
	t.Logf("20 takes have %d elements, 200 have %d", few, many)
	if each := float64(many-few) / 180; each > 110 {
		t.Errorf("a take has %.0f elements", each)
	}
	run(b, chromedp.EmulateViewport(1280, 900))
	seen := run(b, chromedp.Evaluate[[]int](`new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(['article > .card', '#roll li > .who-is'].map(s =>
		[...document.querySelectorAll(s)].filter(e => e.checkVisibility({contentVisibilityAuto: true})).length)))))`, chromedp.EvalAwaitPromise))
	t.Logf("laid out: %d cards, %d rows", seen[0], seen[1])
	if seen[0] > 20 || seen[1] > 120 || seen[1] < 5 {
		t.Errorf("%d cards and %d rows of 200 are laid out", seen[0], seen[1])
	}
	if o := run(b, chromedp.Evaluate[outlined](outline)); o.Overflow > 0 {
		t.Errorf("the page sticks out by %d pixels", o.Overflow)
	}
}
