package desk_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestCropBesideLateAnswers: the keys of a crop count from each other while the picture as
// it was planned some keys ago is still on its way, and a key that gives the crop back to
// the program is the last word.
func TestCropBesideLateAnswers(t *testing.T) {
	b := openPicture(t, placedRound)
	b.hold("/api/look")
	b.Press(kb.ArrowRight)
	b.until("crop of horn")
	x, y, zoom := cropOf(t, b.manifest())
	b.wait(1) // planned with one step
	b.Press(kb.ArrowRight)
	b.let()
	b.Press(kb.ArrowRight, "+")
	crop := fmt.Sprintf(", crop: {x: %s, y: %s, zoom: %s}}", number(x+0.02), number(y), number(zoom+0.05))
	b.becomes("after three steps and nearer", swap(t, placedRound, "pan: -100}", "pan: -100"+crop))
	b.letAll()
	b.Until(`document.getElementById("job").hidden`)
	b.Press(kb.ArrowRight, "0", "w", "n", "w") // seats are written behind what waits
	want := swap(t, placedRound, "pan: -100}", "pan: -100, seat: 2}")
	want = swap(t, want, "to: m3}]} # a cough", "to: m3}], seat: 1} # a cough")
	b.becomes("given back, and two seats", want)
	b.quiet()
}

// TestSeatsAndShotsBesideLateAnswers: seats that are exchanged again go by where they are
// by then, an edge of a shot goes a beat for each key, and a shot behind one that was taken
// away is found, all before the desk has answered once.
func TestSeatsAndShotsBesideLateAnswers(t *testing.T) {
	b := openPicture(t, placedRound)
	b.hold("/api/change")
	b.Press("n", "w", "n", "w", "w", "n", "w") // flute and viola, then viola and bassoon
	b.tabTo("later 1")
	b.Press(kb.Enter, kb.Enter, kb.Enter)
	b.tabTo("add 0")
	b.Press(kb.Enter)
	b.tabTo("later 2")
	b.Press(kb.Enter)
	b.wait(1)
	b.expectShots("m1", "m4")
	b.letAll()
	want := swap(t, placedRound, "to: m3}]} # a cough", "to: m3}], seat: 3} # a cough")
	want = swap(t, want, "intake/viola.wav, offset: -0.5}\n", "intake/viola.wav, offset: -0.5}\n    seat: 4\n")
	want = swap(t, want, `"offset": -3}}`, `"offset": -3}, "seat": 2}`)
	want = swap(t, want, "{from: m3, to: m5,", "{from: m1, show: solo, take: bassoon}, {from: m4, to: m5,")
	b.becomes("after seats and shots", want)
	b.Until(`document.getElementById("job").hidden`)
	b.expectShots("m1", "m4")

	// Numbers of a list that somebody else has changed are of no use: nothing is written.
	b.byHand("{from: start, show: tutti}", "{from: start, show: tutti}, {from: m0.1, show: tutti}")
	changed := b.manifest()
	b.tabTo("remove 1")
	b.Press(kb.Enter, kb.Enter)
	b.Until(`document.getElementById("problem").textContent !== ""`)
	b.expect("after two keys at an older list", changed)
}

// expectShots waits until the list shows shots that begin there, behind the first.
func (b *tab) expectShots(from ...string) {
	b.t.Helper()
	b.Until(fmt.Sprintf(`[...document.querySelectorAll('[data-id^="see "]')].slice(1)
		.map((e) => e.textContent).join() === %q`, strings.Join(from, ",")))
}

// TestVerdictsBesideLateAnswers: a key that takes a verdict away does so though the desk
// has not answered the one that gave it, and a note that is being changed stays.
func TestVerdictsBesideLateAnswers(t *testing.T) {
	b := openMix(t, placedRound)
	eval[bool](b, `location.hash = "takes", true`)
	b.Until(`document.querySelector("#room > *").dataset.drawn && document.getElementById("job").hidden`)
	b.take("bell")
	b.hold("/api/change")
	b.Press("k", "k")
	b.take("horn")
	b.Press("a")
	b.wait(1)
	b.click("#letter")
	run(b, chromedp.KeyEvent(kb.End, chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Press(" And thank you.")
	b.letAll()
	b.becomes("after three verdicts", swap(t, placedRound, "pan: -100}", "pan: -100, verdict: ask}"))
	b.Until(`document.querySelector("#room > *").dataset.drawn === "horn ask ask" &&
		document.getElementById("job").hidden`)
	b.Press(" Soon.")
	b.byHand("title: The Lamplighter's Round", "title: The Lamplighter's Other Round")
	b.tick <- time.Now()
	b.loaded()
	b.Until(`document.querySelector('[data-id="fresh"]') && document.getElementById("job").hidden`)
	if got := eval[string](b, `document.getElementById("letter").value`); !strings.Contains(got, " And thank you. Soon.") {
		t.Errorf("the note became\n%s", got)
	}
	b.click(`[data-id="fresh"]`)
	b.Until(`document.getElementById("letter").value.includes("Other Round") && !document.querySelector('[data-id="fresh"]')`)
	b.quiet()
}

// TestPlaceBesideLateAnswers: a step that follows yes before the desk has answered is not
// taken for written, and is not taken back.
func TestPlaceBesideLateAnswers(t *testing.T) {
	b := openMix(t, placedRound)
	eval[bool](b, `location.hash = "place", true`)
	b.Until(`document.querySelector("#sheet")?.dataset.drawn && document.getElementById("job").hidden`)
	b.click(`[data-take="bell"]`)
	b.shown("bell", 0)
	b.hold("/api/place")
	b.Press(kb.ArrowRight, "y")
	b.wait(1)
	b.Press(kb.ArrowRight)
	b.letAll()
	b.becomes("after one step", swap(t, placedRound, "bell.wav, offset: -1}", "bell.wav, offset: -0.999, drift_ppm: 0}"))
	b.Until(`document.getElementById("job").hidden && document.documentElement.dataset.room.endsWith(" ")`)
	eval[bool](b, `location.hash = "mix", true`)
	b.Until(`document.querySelectorAll(".strip").length === 5`)
	eval[bool](b, `location.hash = "place", true`) // what is moved is still there
	b.Until(`document.querySelector("#where")?.textContent.includes("not written yet")`)
	b.Press(kb.ArrowRight, "y", "b", "n")
	b.becomes("after three", swap(t, placedRound, "bell.wav, offset: -1}", "bell.wav, offset: -0.997, drift_ppm: 0}"))
	b.quiet()
}

// TestRemarksBesideLateAnswers: what is written while a remark is being kept is the next
// one, and no remark is kept twice.
func TestRemarksBesideLateAnswers(t *testing.T) {
	b := openReview(t)
	b.hold("/api/said")
	b.strike("r")
	b.Until(`document.activeElement.id === "text"`)
	keep := func() { run(b, chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierCtrl))) }
	b.Press("softer")
	keep()
	keep()
	b.Press("late")
	b.wait(1)
	b.letAll()
	b.Until(`document.querySelectorAll("[data-remark]").length === 1`)
	eval[bool](b, `location.hash = "mix", true`) // what is not kept yet stays
	b.Until(`document.querySelectorAll(".strip").length === 5`)
	eval[bool](b, `location.hash = "review", true`)
	b.Until(`document.querySelector("#text")?.value === "late"`)
	b.strike("r")
	b.Until(`document.activeElement.id === "text"`)
	keep()
	b.Until(`document.querySelectorAll("[data-remark]").length === 2`)
	if got := b.remarks(); strings.Count(got, `"text":"softer"`) != 1 || strings.Count(got, `"text":"late"`) != 1 {
		t.Errorf("kept is\n%s", got)
	}
	b.quiet()
}

// TestHeldWhileAnswersArrive: a control that the mouse holds stays under it while a mix
// arrives, and so does the place on the slider while the ensemble plays.
func TestHeldWhileAnswersArrive(t *testing.T) {
	b := openMix(t, placedRound)
	mouse := func(kind input.DispatchMouseEventType, selector string, share float64) {
		at := eval[[]float64](b, fmt.Sprintf(`(() => { const e = document.querySelector('%s'), r = e.getBoundingClientRect();
			return [r.left + %v * r.width, r.top + r.height / 2]; })()`, selector, share))
		call(b, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: at[0], Y: at[1],
			Button: input.MouseButtonLeft, Buttons: 1, ClickCount: 1})
	}
	const down, move, up = input.DispatchMouseEventTypeMousePressed, input.DispatchMouseEventTypeMouseMoved,
		input.DispatchMouseEventTypeMouseReleased
	press := `[data-id="mute horn"]`
	mouse(down, press, 0.5)
	b.byHand("  - {name: horn,", "  - {name: piccolo, section: winds, expected: true}\n  - {name: horn,")
	b.tick <- time.Now()
	b.Until(`document.getElementById("job").hidden && fetch("/api/state").then((a) => a.json()).then((s) => s.mixed)`)
	mouse(up, press, 0.5)
	b.until("mute of horn")
	b.Until(`document.querySelectorAll(".strip").length === 6 && document.getElementById("job").hidden`)

	b.Press("p")
	b.Until(`document.getElementById("told").textContent.startsWith("Playing from")`)
	mouse(down, "#at", 0.2)
	mouse(move, "#at", 0.75)
	before := eval[string](b, `document.getElementById("at").value`)
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 500))`) // meters go on meanwhile
	if got := eval[string](b, `document.getElementById("at").value`); got != before {
		t.Errorf("the place went from %s to %s in the hand", before, got)
	}
	text := eval[string](b, `document.getElementById("at-text").textContent`)
	mouse(up, "#at", 0.75)
	b.Until(`document.getElementById("told").textContent === "Playing from ` + text + `."`)
	b.Press("p", "p", "p") // on and off before anything is heard
	b.Until(`document.querySelector('[data-take="viola"] .meter i').dataset.level === "0.00"`)
	b.quiet()

	// When voices are made anew while it plays, it goes on where it was, or has come to its end.
	b.ClickAt("#at", 0.02, 0.5)
	b.Press("p")
	b.Until(`document.getElementById("told").textContent.startsWith("Playing from")`)
	b.byHand("pan: -100, mute: true}", "pan: -100, low_cut: 120}")
	b.tick <- time.Now()
	b.Until(`document.querySelector('[data-id="cut horn"]').value === "120"`)
	eval[bool](b, `(window.was = document.getElementById("at").value, true)`)
	b.Until(`document.getElementById("at").value !== window.was ||
		document.getElementById("told").textContent === "The end."`)
}
