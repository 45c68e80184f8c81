package desk_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"ripieno/assemble/desk/browser/browsertest"
)

// measureText walks the text of a page as it is shown and gives what has less than
// 4.5 to 1 against the nearest ground behind it (WCAG 2.1, level AA).
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
	let texts = 0;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const n = walk.currentNode, e = n.parentElement;
		if (!n.textContent.trim() || e.getClientRects().length === 0) continue;
		const s = getComputedStyle(e), a = lum(parse(s.color)), b = lum(ground(e));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		texts++;
		if (ratio < 4.5) bad.push(ratio.toFixed(2) + ' ' + n.textContent.trim().slice(0, 40));
		if (parseFloat(s.fontSize) < 11.5) bad.push(s.fontSize + ' ' + n.textContent.trim().slice(0, 40));
	}
	return {texts, bad};
})()`

// audit finds controls and pictures without a name, ids that are there twice, what
// takes the focus before its turn, headings that skip a level, and what sticks out.
const audit = `(() => {
	const bad = [];
	const name = e => (e.getAttribute('aria-label') || e.getAttribute('alt') || e.textContent ||
		[...(e.labels || [])].map(l => l.textContent).join(' ')).trim();
	const seen = e => e.getClientRects().length > 0;
	for (const e of document.querySelectorAll('a, button, input, select, textarea, [tabindex], [role]:not([role=status], [role=alert]), img:not([alt=""]), canvas, progress, main, nav, section')) {
		if (seen(e) && !name(e)) bad.push('no name: ' + e.outerHTML.slice(0, 80));
		if (e.tabIndex > 0) bad.push('before its turn: ' + e.outerHTML.slice(0, 80));
	}
	for (const e of document.querySelectorAll('[onclick], div[tabindex="0"]:not([role])')) bad.push('no role: ' + e.outerHTML.slice(0, 80));
	const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
	for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) bad.push('twice: ' + id);
	let last = 0;
	for (const h of document.querySelectorAll('h1, h2, h3, h4')) {
		if (!seen(h)) continue;
		const level = Number(h.tagName[1]);
		if (level > last + 1) bad.push('heading ' + level + ' after ' + last);
		last = level;
	}
	if (document.querySelectorAll('main').length !== 1 || !document.documentElement.lang || !document.title) bad.push('no frame');
	const out = document.documentElement.scrollWidth - window.innerWidth;
	if (out > 0) bad.push('sticks out by ' + out);
	return bad;
})()`

// checked is what measureText finds.
type checked struct {
	Texts int      `json:"texts"`
	Bad   []string `json:"bad"`
}

// accessible checks the open room in light and dark, from a telephone's width up, and
// walks through it with the tab key.
func (b *tab) accessible(room string) {
	b.t.Helper()
	for _, width := range []int64{320, 768, 1280} {
		browsertest.Run(b, chromedp.EmulateViewport(width, 900))
		if bad := eval[[]string](b, audit); len(bad) > 0 {
			b.t.Errorf("%s at %d: %s", room, width, strings.Join(bad, "\n"))
		}
		for _, scheme := range []string{"light", "dark"} {
			b.Show("", scheme)
			if c := eval[checked](b, measureText); len(c.Bad) > 0 || c.Texts < 20 {
				b.t.Errorf("%s at %d, %s: %d texts, %q", room, width, scheme, c.Texts, c.Bad)
			}
			b.Shot(fmt.Sprintf("%s-%d-%s.png", room, width, scheme))
		}
	}
	b.Show("", "light")
	const order = `[...document.querySelectorAll('a, button, input, select, canvas[tabindex]')]
		.filter(e => !e.disabled && e.getClientRects().length > 0)`
	n := eval[int](b, order+`.length`)
	eval[bool](b, `document.activeElement.blur(), window.walked = [], window.walker || document.addEventListener('focusin', window.walker = e => {
		window.walked.push(`+order+`.indexOf(e.target)); const s = getComputedStyle(e.target);
		if (e.target.matches(':focus-visible') && s.outlineStyle === 'none') window.walked.push(-2); }), true`)
	for range n {
		b.press(kb.Tab)
	}
	walked := eval[[]int](b, `window.walked`)
	last, again := -1, false // from wherever the focus was it may begin anew, once
	for _, at := range walked {
		if at == 0 && !again && last > 0 {
			last, again = -1, true
		}
		if at >= 0 && at <= last || at == -2 {
			b.t.Errorf("%s: the tab key walks %v", room, walked)
			break
		}
		last = max(last, at)
	}
	if len(walked) < n-1 || n < 8 {
		b.t.Errorf("%s: the tab key reached %d of %d controls", room, len(walked), n)
	}
}

// TestAuditFindsWhatIsWrong: the checks find what they are for.
func TestAuditFindsWhatIsWrong(t *testing.T) {
	b := openDesk(t, writeRound(t))
	b.placed()
	eval[bool](b, `(() => {
		const add = (tag, more) => document.querySelector("main").append(Object.assign(document.createElement(tag), more));
		add("button", {}); add("img", {src: "/page/icon.svg"}); add("a", {href: "#", textContent: "x", tabIndex: 3});
		add("h4", {textContent: "deep"}); add("p", {id: "told"}); add("div", {tabIndex: 0, textContent: "y"});
		const p = document.createElement("p"); p.textContent = "grey"; p.style.color = "#777777"; p.style.background = "#ffffff";
		document.body.append(p); const w = document.createElement("div"); w.style.width = "5000px"; w.textContent = "wide";
		document.body.append(w); return true; })()`)
	bad := strings.Join(eval[[]string](b, audit), "\n")
	for _, want := range []string{"no name: <button", "no name: <img", "before its turn: <a", "heading 4",
		"twice: told",
		"no role: <div", "sticks out"} {
		if !strings.Contains(bad, want) {
			t.Errorf("it did not find %q in\n%s", want, bad)
		}
	}
	if c := eval[checked](b, measureText); len(c.Bad) != 1 || c.Bad[0] != "4.48 grey" { // WCAG: #777777 on white
		t.Errorf("of grey on white it found %q", c.Bad)
	}
}

// TestRoomsForEverybody: each room by its looks, its names and the tab key.
func TestRoomsForEverybody(t *testing.T) {
	b := openDesk(t, writeRound(t))
	b.placed()
	b.until(`document.querySelector("#sheet").dataset.drawn`)
	b.accessible("place")
	eval[bool](b, `location.hash = "mix", true`)
	b.until(`document.querySelectorAll(".strip").length === 5 && document.getElementById("job").hidden`)
	b.accessible("mix")
	eval[bool](b, `location.hash = "picture", true`)
	b.until(`document.querySelectorAll(".films figure").length === 3 && document.getElementById("job").hidden`)
	b.accessible("picture")
	b.press("?")
	b.until(`document.getElementById("keys").open`)
	if c := eval[checked](b, measureText); len(c.Bad) > 0 {
		t.Errorf("keys: %q", c.Bad)
	}
	b.press(kb.Escape)
	b.until(`!document.getElementById("keys").open`)
	b.quiet()
}

// TestColoursAreNamed: no colour stands outside the palettes, and those of the pages
// of package report, which the desk shares, are the same there.
func TestColoursAreNamed(t *testing.T) {
	read := func(path string) string {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	colour := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6,8});`)
	palettes := func(css string) (list []map[string]string) {
		for _, part := range strings.Split(css, ":root {")[1:] {
			body, _, _ := strings.Cut(part, "}")
			p := map[string]string{}
			for _, m := range colour.FindAllStringSubmatch(body, -1) {
				p[m[1]] = m[2]
			}
			list = append(list, p)
		}
		return list
	}
	css := read("page/desk.css")
	ours, theirs := palettes(css), palettes(read("../report/pages/style.css"))
	if len(ours) != 2 || len(theirs) != 3 {
		t.Fatalf("%d and %d palettes", len(ours), len(theirs))
	}
	for i, p := range ours {
		for name, value := range p {
			if other, shared := theirs[i][name]; shared && other != value {
				t.Errorf("%s is %s here and %s in the report", name, value, other)
			}
			if ours[1-i][name] == "" {
				t.Errorf("%s is in one palette alone", name)
			}
		}
	}
	rest := colour.ReplaceAllString(css, "")
	if m := regexp.MustCompile(`(?m)#[0-9a-f]{3,8}\b|rgba?\(|hsl`).FindString(rest); m != "" {
		t.Errorf("colour %s outside the palettes", m)
	}
	for _, name := range []string{"main", "place", "takes", "mix", "picture", "review", "tour", "grip", "wave", "dom",
		"sound"} {
		if m := regexp.MustCompile(`#[0-9a-f]{6}\b|rgba?\(`).FindString(read("page/" + name + ".js")); m != "" {
			t.Errorf("colour %s in %s.js", m, name)
		}
	}
}
