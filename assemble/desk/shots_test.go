package desk_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"ripieno/assemble/desk"
	"ripieno/assemble/desk/audition"
	"ripieno/assemble/progress"
)

// pick chooses from one of the page's lists, which the system draws itself.
func (b *tab) pick(id, value string) {
	b.t.Helper()
	b.Until(`document.querySelector('[data-id="` + id + `"]')`)
	eval[bool](b, fmt.Sprintf(`(() => { const list = document.querySelector('[data-id=%q]'); list.value = %q;
		return list.dispatchEvent(new Event("change", {bubbles: true})); })()`, id, value))
}

// take takes a take in hand. The list may be put in another order just before the click.
func (b *tab) take(name string) {
	b.t.Helper()
	for range 5 {
		b.click(`[data-take="` + name + `"]`)
		if eval[bool](b, `document.querySelector('[data-take="`+name+`"]').getAttribute("aria-current") === "true"`) {
			return
		}
	}
	b.t.Fatalf("take %q does not come in hand", name)
}

// TestShotsOfEveryKind makes a pair and a card of a shot, parts it, moves a whole shot by
// button, by key and by mouse, and takes all of it back.
func TestShotsOfEveryKind(t *testing.T) {
	b := openPicture(t, placedRound)
	want := placedRound
	done := func(what, old, with string) {
		t.Helper()
		b.until(what)
		want = swap(t, want, old, with)
		b.becomes("after "+what, want)
		b.Until(`document.getElementById("job").hidden`)
	}
	b.pick("kind 1", "pair")
	done("shot 2", "show: solo, take: viola}", "show: pair, takes: [viola, horn]}")
	b.pick("right 1", "bell")
	done("shot 2", "[viola, horn]", "[viola, bell]")
	b.Until(`document.querySelectorAll('[data-id="see 1"]').length === 1`)
	b.tabTo("split 1")
	b.Press(kb.Enter)
	done("shot 2 in two", "{from: m3, to: m5, show: pair, takes: [viola, bell]}",
		"{from: m3, show: pair, takes: [viola, bell]}, {from: m4, to: m5, show: pair, takes: [viola, bell]}")
	b.tabTo("all-later 1") // and with it the beginning of the next one
	b.Press(kb.Enter)
	done("place of shot 2", "{from: m3, show: pair, takes: [viola, bell]}, {from: m4, to",
		"{from: m3.2, show: pair, takes: [viola, bell]}, {from: m4.2, to")
	b.click(`[data-id="all-earlier 1"]`)
	done("place of shot 2", "{from: m3.2, show: pair, takes: [viola, bell]}, {from: m4.2, to",
		"{from: m3, show: pair, takes: [viola, bell]}, {from: m4, to")
	b.pick("kind 2", "card")
	done("shot 3", "{from: m4, to: m5, show: pair, takes: [viola, bell]}", "{from: m4, to: m5, show: card, text: title}")
	b.pick("text 2", "credits")
	done("shot 3", "text: title", "text: credits")

	measure := eval[float64](b,
		`(() => { const at = [...document.querySelectorAll(".ruler i")].map((i) => i.getBoundingClientRect().left); return at[1] - at[0]; })()`)
	b.drag(`[data-shot="2"]`, `[data-shot="2"]`, measure*1.05, 0) // its end is its own
	done("place of shot 3", "{from: m4, to: m5, show: card", "{from: m5, to: m6, show: card")
	b.Until(`document.querySelector('[data-id="see 2"]').textContent === "m5"`)
	b.drag(`[data-shot="2"]`, `[data-shot="2"]`, -measure*3, 0) // where there is another one
	b.Until(`document.getElementById("told").textContent === "Shot 3 cannot be moved there."`)
	b.expect("after a place that is taken", want)
	b.click(`[data-shot="0"]`)
	b.Until(`document.getElementById("told").textContent === "Shot from start: tutti."`)
	b.Until(`document.querySelector(".shots li[aria-current] [data-id='see 0']")`)
	b.pick("kind 2", "tutti")
	done("shot 3", "show: card, text: credits}", "show: tutti}")
	b.accessible("shots")
	for range 9 {
		eval[bool](b, `document.getElementById("told").textContent = "", true`)
		b.click("#undo")
		b.Until(`document.getElementById("told").textContent.startsWith("Taken back")`)
	}
	b.Until(`document.getElementById("undo").disabled`)
	b.becomes("taken back", placedRound)
	b.quiet()
}

// waiting is work that places takes until it is cancelled.
type waiting struct{ desk.Work }

// Place waits.
func (waiting) Place(ctx context.Context, r progress.Reporter) (*audition.Placing, error) {
	r.Add("listen", "horn", 1).Start()
	<-ctx.Done()
	return nil, ctx.Err()
}

// TestCancelling: what runs is told with how far it is, is cancelled from the page, is not
// begun again by itself, and is when somebody asks for it.
func TestCancelling(t *testing.T) {
	b := openDeskFor(t, writeRound(t), waiting{})
	for range 2 {
		b.Until(`!document.getElementById("job").hidden`)
		b.Until(`document.getElementById("job-text").textContent === "Placing the takes: listen: horn"`)
		b.inBoth("job")
		if bad := b.Audit(); len(bad) > 0 {
			t.Errorf("while it runs: %s", strings.Join(bad, "\n"))
		}
		b.click("#job-cancel")
		b.Until(`document.getElementById("job").hidden && !document.getElementById("again").hidden`)
		b.Until(`document.getElementById("told").textContent.startsWith("Cancelled")`)
		if bad := b.Audit(); len(bad) > 0 {
			t.Errorf("when it was cancelled: %s", strings.Join(bad, "\n"))
		}
		b.click("#again-do")
	}
	b.Until(`!document.getElementById("job").hidden && document.getElementById("again").hidden`)
	b.quiet()
}
