package pagetest

import (
	"encoding/base64"
	"math"
	"os"
	"strings"
	"testing"
)

// TestMain ends the browser.
func TestMain(m *testing.M) {
	code := m.Run()
	Close()
	os.Exit(code)
}

// page opens a page of some text.
func page(t *testing.T, html string) *Tab {
	t.Helper()
	b := Open(t)
	b.Navigate("data:text/html;base64," + base64.StdEncoding.EncodeToString([]byte(html)))
	return b
}

// bad is a page with one of every fault that is looked for.
const bad = `<!doctype html><body style="background: #fff">
<p style="color: #777777">grey</p><p style="color: #767676; opacity: .9">pale</p>
<input id="field" value="x" style="border: 1px solid #aaa; color: #000; background: #fff" aria-label="field">
<div style="width: 5000px">wide</div><h4>deep</h4><h3> </h3><p id="one">a</p><p id="one">b</p>
<button></button><button>same</button><button>same</button><img src="data:,"><a href="#" tabindex="3">first</a>
<div tabindex="0">y</div><canvas role="img" aria-label="wave" tabindex="0"></canvas><canvas width="9" height="9"></canvas>
<div aria-hidden="true"><button>hidden</button></div><p aria-labelledby="nobody">c</p><label>of nothing</label>
<ul><p>no item</p></ul><div style="display: flex; flex-direction: row-reverse"><b>1</b><b>2</b></div>
<button style="outline: none" id="bare">bare</button>
<script>console.error("x")</script><img alt="" src="http://127.0.0.1:9/x.png"></body>`

// What the checks are to find is found, or their silence would mean nothing.
func TestWhatIsWrongIsFound(t *testing.T) {
	b := page(t, bad)
	requests, messages := b.Heard()
	if len(requests) < 2 || !strings.Contains(strings.Join(requests, " "), "http://127.0.0.1:9/x.png") ||
		!strings.Contains(strings.Join(messages, " "), "console: error") {
		t.Errorf("requests %q and messages %q were heard", requests, messages)
	}
	if b.Forget(); len(b.messages) > 0 {
		t.Error("nothing is forgotten")
	}
	found := strings.Join(b.Audit(), "\n")
	for _, want := range []string{"twice: one", "before its turn: <a", "no role: <div",
		"reached and not there: <canvas",
		"reached and not there: <button>hidden", "no words: <img", "no words: <canvas", "leads nowhere: nobody",
		"a label of nothing", "no item of a list: <p>", "shown in another order", "heading 4 after 0",
		"an empty heading",
		"no frame", "sticks out by"} {
		if !strings.Contains(found, want) {
			t.Errorf("no %q in\n%s", want, found)
		}
	}
	c := b.MeasureText()
	seen := strings.Join(c.Bad, "\n")
	// WCAG 2.1: #777777 on white has 4.4781, #aaa 2.32.
	if math.Abs(c.Least-4.4781) > 1e-3 || !strings.Contains(seen, "4.48 grey") ||
		!strings.Contains(seen, "edge 2.32 field") ||
		!strings.Contains(seen, "opacity 0.9 pale") {
		t.Errorf("of a bad page, contrast %+v was seen", c)
	}
	names, roles := b.Names()
	told := strings.Join(names, "\n")
	if !strings.Contains(told, "a button has no name") || !strings.Contains(told, `2 are called "button same"`) ||
		roles["button"] != 4 {
		t.Errorf("of names it says %q; roles %v", names, roles)
	}
	walk, n := b.Walk()
	walked := strings.Join(walk, "\n")
	if n < 8 || !strings.Contains(walked, "nobody sees the focus on bare") ||
		!strings.Contains(walked, "the tab key goes from") {
		t.Errorf("of %d controls it says %q", n, walk)
	}
}

// Of a page with nothing wrong, nothing is said.
func TestAGoodPage(t *testing.T) {
	b := page(t, `<!doctype html><html lang="en"><title>good</title><style>:focus-visible { outline: 3px solid #000; }
		body { background: #fff; color: #222; } input { background: #fff; color: #222; border: 1px solid #666; }</style>
		<main><h1>Good</h1><h2>Still</h2><label>Name <input></label><button>One</button><button>Two</button>
		<ul><li><a href="#x">Leads</a></li></ul><label><input type="radio" name="r" checked> a</label>
		<label><input type="radio" name="r"> b</label><img alt="A dot" src="data:image/gif;base64,R0lGODlhAQABAAAAACw="></main>`)
	if found := b.Audit(); len(found) > 0 {
		t.Errorf("%q", found)
	}
	if c := b.MeasureText(); len(c.Bad) > 0 || c.Texts < 8 || c.Small != 16 && c.Small < 13 {
		t.Errorf("%+v", c)
	}
	if names, roles := b.Names(); len(names) > 0 || roles["main"] != 1 || roles["link"] != 1 {
		t.Errorf("%q, %v", names, roles)
	}
	if walk, n := b.Walk(); len(walk) > 0 || n != 5 {
		t.Errorf("of %d controls %q", n, walk)
	}
}
