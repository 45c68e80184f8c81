package pagetest

import (
	_ "embed" // for the scripts
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp/kb"
)

// measureText walks the text of a page as it is shown, and what stands in its fields, and
// gives what has less than 4.5 to 1 against the nearest ground behind it (WCAG 2.1, 1.4.3,
// level AA for text of any size), and fields whose edge has less than 3 to 1 against what
// lies round them (1.4.11).
//
//go:embed text.js
var measureText string

// Text is how well the text of a page is seen.
type Text struct {
	Least float64  `json:"least"` // contrast
	Texts int      `json:"texts"` // how many were measured
	Small float64  `json:"small"` // the smallest letters, in pixels
	Bad   []string `json:"bad"`   // what has too little contrast
}

// MeasureText measures the text that is shown.
func (b *Tab) MeasureText() Text {
	b.T.Helper()
	return Eval[Text](b, measureText)
}

// structure finds ids that are there twice, what takes the focus before its turn, what is
// shown in another order than it is read in, headings that skip a level, what only a mouse
// reaches, pictures without words, and what sticks out.
//
//go:embed structure.js
var structure string

// Audit finds what is wrong with the build of a page; see structure.
func (b *Tab) Audit() []string {
	b.T.Helper()
	return Eval[[]string](b, structure)
}

// Roles that a person can use, each of which needs a name (WCAG 2.1, 4.1.2; ARIA in HTML),
// as the browser's own tree for screen readers calls them.
var usable = []string{"button", "link", "textbox", "searchbox", "combobox", "listbox", "slider", "spinbutton",
	"checkbox",
	"radio", "switch", "tab", "menuitem", "DisclosureTriangle", "progressbar", "image", "img", "Video", "Audio",
	"Canvas",
	"region", "navigation", "search", "form", "dialog"}

// unique are those of them that have to be told apart by their names.
var unique = []string{"button", "textbox", "combobox", "slider", "checkbox", "DisclosureTriangle", "region", "dialog"}

// Names asks the browser, as a screen reader does, for the role and the name of everything
// on the page. It returns what has no name, or the name of another of its role, and how
// often each role is there.
func (b *Tab) Names() (bad []string, roles map[string]int) {
	b.T.Helper()
	Call(b, accessibility.Enable, cdp.Empty{})
	tree := Call(b, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	roles = map[string]int{}
	names := map[string]int{}
	for _, n := range tree.Nodes {
		if n.Ignored || n.Role == nil {
			continue
		}
		role, name := textOf(n.Role), strings.TrimSpace(textOf(n.Name))
		roles[role]++
		if name == "" && slices.Contains(usable, role) {
			bad = append(bad, "a "+role+" has no name")
		}
		if slices.Contains(unique, role) {
			names[role+" "+name]++
		}
	}
	for name, n := range names {
		if n > 1 {
			bad = append(bad, fmt.Sprintf("%d are called %q", n, name))
		}
	}
	slices.Sort(bad)
	return bad, roles
}

// textOf returns what the tree says of a node; "" for nothing.
func textOf(v *accessibility.Value) string {
	if v == nil {
		return ""
	}
	var s string
	if err := json.Unmarshal(v.Value, &s); err != nil {
		return ""
	}
	return s
}

// reached are the controls of a page that the tab key has to reach, in the order in which
// they are read. Of radio buttons of one name it reaches one.
const reached = `(() => { const names = new Set();
	const controls = 'a[href], button, input, select, textarea, summary, video[controls], [tabindex="0"]';
	return [...document.querySelectorAll(controls)]
	.filter(e => !e.disabled && e.getClientRects().length > 0 && getComputedStyle(e).visibility === 'visible')
	.filter(e => e.type !== 'radio' || !names.has(e.name) && (names.add(e.name), true)); })()`

// Walk walks through the page with the tab key and returns what is wrong: a control that is
// not reached, or out of the order in which it is read (WCAG 2.1, 2.4.3), or on which
// nobody sees that it has the focus (2.4.7), or which keeps it (2.1.2).
func (b *Tab) Walk() (bad []string, controls int) {
	b.T.Helper()
	// What a page draws anew for another size or scheme it draws at the next frame.
	Eval[float64](b, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))`)
	controls = Eval[int](b, `(() => { const order = `+reached+`;
		document.body.tabIndex = -1; // from the beginning of the page on
		document.body.focus();
		document.body.removeAttribute('tabindex');
		window.walked = [];
		window.walker && document.removeEventListener('focusin', window.walker);
		document.addEventListener('focusin', window.walker = e => {
			const s = getComputedStyle(e.target);
			const bare = s.outlineStyle === 'none' || s.outlineStyle !== 'auto' && parseFloat(s.outlineWidth) < 2;
			const at = order.findIndex(o => o === e.target || o.type === 'radio' && o.name === e.target.name);
			window.walked.push([at, bare ? (e.target.id || e.target.dataset.id || e.target.tagName) : '']);
		});
		return order.length; })()`)
	seen := map[int]bool{}
	for more := controls; more > 0 && len(seen) < controls; more = min(more-1, inside) {
		for range more {
			b.Press(kb.Tab)
		}
		last := -1
		bad, seen = nil, map[int]bool{}
		for _, raw := range Eval[[][2]any](b, `window.walked`) {
			at, _ := raw[0].(float64)
			bare, _ := raw[1].(string)
			if bare != "" {
				bad = append(bad, "nobody sees the focus on "+bare)
			}
			if int(at) < last && len(seen) < controls {
				bad = append(bad, fmt.Sprintf("the tab key goes from %d to %.0f", last, at))
			}
			if at >= 0 { // else it is within a player of the browser's own
				last, seen[int(at)] = int(at), true
			}
		}
	}
	if len(seen) < controls {
		bad = append(bad, fmt.Sprintf("the tab key reaches %d of %d controls, not %s", len(seen), controls,
			b.missed(seen)))
	}
	return bad, controls
}

// inside is how often the tab key may stop within one control, such as a player of films.
const inside = 12

// missed names the controls that are not among those seen.
func (b *Tab) missed(seen map[int]bool) string {
	list := Eval[[]string](b, reached+`.map(e => e.outerHTML.slice(0, 80))`)
	var out []string
	for i, html := range list {
		if !seen[i] {
			out = append(out, html)
		}
	}
	return strings.Join(out[:min(3, len(out))], " ")
}
