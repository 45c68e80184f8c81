package desk_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestTakes hears and sees what was found, decides otherwise by mouse and by key, and has
// the note ready for the mail program; all of it is the manifest's own key.
func TestTakes(t *testing.T) {
	dir := writeRound(t)
	manifest := strings.Replace(placedRound, "{name: horn,",
		"{name: horn, player: Ilse Brandt, email: ilse@example.org,", 1)
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(manifest), 0o600); err != nil {
		t.Fatal(err)
	}
	b := openDesk(t, dir)
	b.placed()
	b.click(`[href="#takes"]`)
	b.Until(`document.querySelector("#room > *").dataset.drawn && document.getElementById("job").hidden`)
	b.click(`[data-take="horn"]`)
	level := eval[string](b, `document.querySelector("#room > *").dataset.drawn`)
	if level != "horn ask " && level != "horn redo " { // 160 by 90 pixels
		t.Fatalf("the horn is shown as %q", level)
	}
	b.Until(`document.querySelector("#stills").naturalWidth > 300`)
	b.Press("1")
	b.Until(`document.getElementById("told").textContent.startsWith("Playing: ")`)
	b.Press("s")
	mail := eval[string](b, `document.querySelector('[data-id="mail"]').href`)
	letter := eval[string](b, `document.getElementById("letter").value`)
	if !strings.HasPrefix(mail, "mailto:ilse@example.org?subject=The%20Lamplighter") || !strings.Contains(letter,
		"Ilse Brandt") ||
		!strings.Contains(mail, "Ilse%20Brandt") {
		t.Errorf("the mail is %q, the letter %q", mail, letter)
	}
	b.shot("takes.png")

	b.click(`[data-id="verdict ok"]`)
	b.Until(`document.querySelector("#room > *").dataset.drawn === "horn ok ok"`)
	want := swap(t, manifest, "pan: -100}", "pan: -100, verdict: ok}")
	b.becomes("after a verdict", want)
	b.Until(`!document.getElementById("letter").value.includes("\n- ") && document.getElementById("job").hidden`)
	if again := eval[string](b, `document.getElementById("letter").value`); again == letter || strings.Contains(again,
		"\n- ") {
		t.Errorf("of a take that is usable the note still asks:\n%s", again)
	}
	b.Press("d")
	b.Until(`document.querySelector("#room > *").dataset.drawn === "horn redo redo"`)
	want = swap(t, want, "verdict: ok", "verdict: redo")
	b.becomes("after another", want)
	b.Press("d") // the same key leaves it to check again
	b.Until(`document.querySelector("#room > *").dataset.drawn === "` + level + `"`)
	b.becomes("left to check", manifest)
	b.Press("z")
	b.Until(`document.querySelector("#room > *").dataset.drawn === "horn redo redo"`)
	b.accessible("takes")
	b.tour()
	b.quiet()
}

// tour: on the first start it leads through the rooms by keyboard, and it is not in
// the way a second time, whatever port the desk has.
func (b *tab) tour() {
	t := b.t
	t.Helper()
	if eval[bool](b, `document.getElementById("way").open`) {
		t.Error("the tour is in the way of somebody who has seen it")
	}
	eval[bool](b, `document.cookie = "ripieno-tour=; path=/; max-age=0", true`)
	if err := chromedp.Do(b.ctx, chromedp.Navigate("http://"+b.host+"/")); err != nil {
		t.Fatal(err)
	}
	b.Until(`document.getElementById("way")?.open && document.activeElement.id === "way-on"`)
	b.inBoth("tour")
	seen := map[string]bool{}
	for range 6 {
		seen[eval[string](b, `document.getElementById("way-head").textContent`)] = true
		b.Press("\r")
	}
	if len(seen) != 6 || !eval[bool](b,
		`document.getElementById("way-on").textContent === "Begin" && document.getElementById("way").open`) {
		t.Errorf("the tour led through %v", seen)
	}
	b.Press("\r")
	b.Until(`!document.getElementById("way").open && document.cookie.includes("ripieno-tour=seen")`)
	b.click("#tour")
	b.Until(`document.getElementById("way").open`)
	b.Press("\x1b")
	b.Until(`!document.getElementById("way").open`)
}
