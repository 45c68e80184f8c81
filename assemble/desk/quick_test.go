package desk_test

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
)

// hold has the desk's answers to paths with a beginning wait in the page until they are let
// through, so that they are as late as a test wants, on any machine.
func (b *tab) hold(path string) {
	b.t.Helper()
	quoted, _ := json.Marshal(path)
	eval[bool](b, fmt.Sprintf(`(() => { const real = window.fetch.bind(window); window.late = []; window.slow = %s;
		window.fetch = async (...asked) => { const answer = await real(...asked);
			if (window.slow && String(asked[0]).startsWith(window.slow)) await new Promise((done) => window.late.push(done));
			return answer; };
		return true; })()`, quoted))
}

// wait waits until so many answers wait.
func (b *tab) wait(n int) {
	b.t.Helper()
	b.Until(fmt.Sprintf(`window.late.length >= %d`, n))
}

// let lets through the answers that wait, and waits until the room has taken them over.
func (b *tab) let() {
	b.t.Helper()
	eval[bool](b, `(delete document.documentElement.dataset.room, window.late.splice(0).forEach((done) => done()), true)`)
	b.Until(`document.documentElement.dataset.room`)
}

// letAll lets all answers through from now on.
func (b *tab) letAll() {
	b.t.Helper()
	eval[bool](b, `(window.slow = "", window.late.splice(0).forEach((done) => done()), true)`)
}

// until waits until undo would take a step back.
func (b *tab) until(step string) {
	b.t.Helper()
	b.Until(`document.getElementById("undo").textContent === "Undo: ` + step + `"`)
}

// loaded waits until the open room shows the manifest as it is.
func (b *tab) loaded() {
	b.t.Helper()
	sum := sha256.Sum256([]byte(b.manifest())) // as the desk names versions
	b.Until(fmt.Sprintf(`document.documentElement.dataset.room.includes("%x") && document.getElementById("job").hidden`,
		sum[:8]))
}

// byHand has somebody else exchange something in the manifest.
func (b *tab) byHand(old, with string) {
	b.t.Helper()
	if err := os.WriteFile(b.path, []byte(swap(b.t, b.manifest(), old, with)), 0o600); err != nil {
		b.t.Fatal(err)
	}
}

// becomes waits until the manifest is as it has to be.
func (b *tab) becomes(when, want string) {
	b.t.Helper()
	for end := time.Now().Add(time.Minute); b.manifest() != want && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	b.expect(when, want)
}

// TestKeysBesideLateAnswers: while the mix as it was some keys ago is still on its way and
// comes between two keys, each key counts from what the one before it has set.
func TestKeysBesideLateAnswers(t *testing.T) {
	b := openMix(t, placedRound)
	b.hold("/api/mix")
	b.Press("n", "n", "-")
	b.wait(1) // it knows of no key that follows
	b.Press("-")
	b.let()
	b.Press("-")
	want := swap(t, placedRound, "    gain: -2 ", "    gain: -3.5 ")
	b.becomes("after three steps down", want)

	b.wait(1)
	b.Press(kb.ArrowRight) // on the slider itself
	b.let()
	b.Press(kb.ArrowRight)
	want = swap(t, want, "    gain: -3.5 ", "    gain: -2.5 ")
	b.becomes("after two steps of the slider", want)

	b.wait(1)
	b.Press("n", "<") // from 27.5, where the seat of the bassoon is
	b.let()
	b.Press("<")
	want = swap(t, want, `"offset": -3}}`, `"offset": -3}, "pan": 18}`)
	b.becomes("after two steps to the left", want)

	b.wait(1)
	b.Press("m")
	b.let()
	b.Press("m", "m", "x", "m", "m", "+") // the last one is written when all others are
	want = swap(t, want, `"pan": 18}`, `"pan": 18, "mute": true, "gain": 0.5}`)
	b.becomes("muted by the last of five keys", want)
	b.quiet()
}

// TestFieldBesideNewTakes: what is being written in a field stays, and so does the strip
// in hand, when another take is written before it and all is drawn anew.
func TestFieldBesideNewTakes(t *testing.T) {
	b := openMix(t, placedRound)
	b.Press("n", "n", "n", kb.Tab, kb.Tab) // past the place to the low cut
	b.Until(`document.activeElement.dataset.id === "cut bassoon"`)
	b.Press(kb.End, strings.Repeat(kb.Backspace, 4), "9")
	b.byHand("  - {name: horn,", "  - {name: piccolo, section: winds, expected: true}\n  - {name: horn,")
	b.tick <- time.Now()
	b.Until(`document.querySelectorAll(".strip").length === 6 && document.getElementById("job").hidden`)
	b.Until(`document.activeElement.dataset.id === "cut bassoon"`)
	b.Press("5", kb.Enter, kb.Tab)
	b.until("low cut of bassoon")
	want := swap(t, placedRound, "  - {name: horn,",
		"  - {name: piccolo, section: winds, expected: true}\n  - {name: horn,")
	want = swap(t, want, `"offset": -3}}`, `"offset": -3}, "low_cut": 95}`)
	b.expect("after a low cut", want)
	b.Press("m")
	want = swap(t, want, `"low_cut": 95}`, `"low_cut": 95, "mute": true}`)
	b.becomes("after a mute of the strip in hand", want)
	b.quiet()
}

// TestAnotherHandBetweenKeys: what somebody else writes while keys are pressed is kept, and
// so are the keys; where both have set the same, the page says so and shows what is there.
func TestAnotherHandBetweenKeys(t *testing.T) {
	b := openMix(t, placedRound)
	b.Press("n", "n", "n", "<")
	b.byHand("    gain: -2 ", "    gain: -9 ") // of which nobody tells the page
	b.Press("<")
	want := swap(t, placedRound, "    gain: -2 ", "    gain: -9 ")
	want = swap(t, want, `"offset": -3}}`, `"offset": -3}, "pan": 18}`)
	b.becomes("beside a gain by hand", want)
	b.Until(`document.querySelector('[data-id="gain viola"]').value === "-9"`)

	b.Press("<")
	b.byHand("    gain: -9 ", "    gain: -4 ")
	b.tick <- time.Now()
	b.Until(`document.querySelector('[data-id="gain viola"]').value === "-4"`)
	b.Press("<")
	want = swap(t, want, "    gain: -9 ", "    gain: -4 ")
	want = swap(t, want, `"pan": 18}`, `"pan": 8}`)
	b.becomes("beside another one", want)

	b.hold("/api/change")
	b.Press("-")
	b.byHand(`"pan": 8}`, `"pan": 8, "gain": 3}`)
	b.wait(1)
	b.letAll()
	b.Until(`document.getElementById("problem").textContent.includes("changed meanwhile")`)
	b.Until(`document.querySelector('[data-id="gain bassoon"]').value === "3"`)
	b.expect("when both have set a gain", swap(t, want, `"pan": 8}`, `"pan": 8, "gain": 3}`))
}

// TestUndoBetweenKeys: undo takes back what was set last, though it was not written yet, and
// the key after it counts from there.
func TestUndoBetweenKeys(t *testing.T) {
	b := openMix(t, placedRound)
	b.hold("/api/undo")
	b.Press("n", "n", "-", "-", "z", "-")
	b.wait(1)
	b.letAll()
	b.becomes("after two steps down, undo, and one", swap(t, placedRound, "    gain: -2 ", "    gain: -2.5 "))
	b.Press("m", "x", "z", "z")
	b.becomes("after a mute and two steps back", placedRound)
	b.Press("Z", "Z")
	want := swap(t, placedRound, "    gain: -2 ", "    gain: -2.5 ")
	want = swap(t, want, "intake/viola.wav, offset: -0.5}\n", "intake/viola.wav, offset: -0.5}\n    mute: true\n")
	b.becomes("made again", want)
}
