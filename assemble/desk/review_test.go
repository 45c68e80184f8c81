package desk_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// writeRough puts a film among the outputs, as rough writes one, of some seconds.
func writeRough(t *testing.T, dir, size string) {
	t.Helper()
	out := filepath.Join(dir, "out")
	if err := os.MkdirAll(out, 0o777); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(out); os.Remove(filepath.Join(dir, "remarks.yaml")) })
	err := ffmpegtest.Tool(t).Run(t.Context(), ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		"testsrc2=s=" + size + ":r=10:d=18", "-f", "lavfi", "-i", "sine=f=330:d=18", "-c:v", "libx264", "-preset",
		"ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac", "-movflags", "+faststart", "-y", filepath.Join(out,
			"rough.mp4")}})
	if err != nil {
		t.Fatal(err)
	}
}

// openReview opens the room of the review.
func openReview(t *testing.T) *tab {
	t.Helper()
	dir := writeRound(t)
	writeRough(t, dir, "64x36")
	b := openDesk(t, dir)
	eval[bool](b, `location.hash = "review", true`)
	b.Until(`document.querySelector("#film").readyState >= 1 && document.querySelector("#approvals")`)
	return b
}

// strike presses a key as a browser sends it: its letter is written only where the page
// has nothing else to do with the key. What [tab.press] sends writes it anyway.
func (b *tab) strike(key string) {
	b.t.Helper()
	for _, kind := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown,
		input.DispatchKeyEventTypeKeyUp} {
		p := input.DispatchKeyEventParams{Type: kind, Key: key}
		if kind == input.DispatchKeyEventTypeKeyDown {
			p.Text = key
		}
		call(b, input.DispatchKeyEvent, p)
	}
}

// remarks returns the file of remarks as it is.
func (b *tab) remarks() string {
	data, err := os.ReadFile(filepath.Join(filepath.Dir(b.path), "remarks.yaml"))
	if err != nil && !os.IsNotExist(err) {
		b.t.Fatal(err)
	}
	return string(data)
}

// settleFirst settles the first remark of the list unless one is settled.
func (b *tab) settleFirst() {
	b.t.Helper()
	if !eval[bool](b, `Boolean(document.querySelector("[data-remark].settled"))`) {
		b.click(`[data-remark] [data-id^="settle"]`)
	}
	b.Until(`document.querySelectorAll("[data-remark].settled").length === 1`)
	if got := strings.Count(b.remarks(), `"settled":true`); got != 1 {
		b.t.Errorf("%d remarks are settled in\n%s", got, b.remarks())
	}
}

// TestReviewing says something at a moment for all and for one, settles it, approves the
// film, and sees that the approval is of another film once that has changed.
func TestReviewing(t *testing.T) {
	b := openReview(t)
	b.Press("]", "]") // from the beginning to the second measure behind it
	b.Until(`document.querySelector("#film").currentTime > 0 && !document.querySelector("#film").seeking`)
	place := eval[string](b, `document.querySelector("#film-where b").textContent`)
	b.strike("r")
	b.Until(`document.activeElement.id === "text"`)
	b.Press("softer <b>here</b>")
	b.Press(kb.Tab) // the name
	b.Press("Cora Lind")
	b.Press(kb.Tab, kb.Enter)
	b.Until(`document.querySelectorAll("[data-remark]").length === 1`)
	if got := eval[string](b, `document.querySelector("[data-remark] button").textContent`); got != place {
		t.Errorf("the remark stands at %q and was made at %q", got, place)
	}
	if got := eval[int](b, `document.querySelectorAll("[data-remark] b").length`); got != 0 {
		t.Error("a remark became markup")
	}
	b.click("#text")
	b.Press("late?")
	eval[bool](b, `(() => { const w = document.querySelector("#whom"); w.value = "horn"; return true; })()`)
	run(b, chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Until(`document.querySelectorAll("[data-remark]").length === 2`)
	said := b.remarks()
	for _, want := range []string{`"by":"Cora Lind","text":"softer <b>here</b>"`,
		`"for":"horn","by":"Cora Lind","text":"late?"`} {
		if strings.Count(said, want) != 1 {
			t.Errorf("%s is not once in\n%s", want, said)
		}
	}
	b.shot("review.png")
	b.click(`[data-id="approve"]`)
	b.Until(`document.querySelector("#approvals .approved:not(.older)")`)
	b.settleFirst()
	was := b.remarks()
	b.click(`[data-remark] [data-id^="remove"]`)
	b.Until(`document.querySelectorAll("[data-remark]").length === 1`)
	b.click(`[data-id="put back"]`)
	b.Until(`document.querySelectorAll("[data-remark]").length === 2 && !document.querySelector('[data-id="put back"]')`)
	open := func(book string) string { return strings.ReplaceAll(book, `,"settled":true`, "") }
	if now := b.remarks(); open(was) != open(now) { // one that is put back is open again
		t.Errorf("a remark that was put back stands in\n%s\nand before in\n%s", now, was)
	}
	b.settleFirst()
	writeRough(t, filepath.Dir(b.path), "48x36")
	b.tick <- time.Now()
	b.Until(`document.querySelector("#approvals .approved.older")`)
	b.Until(`document.querySelector("#film").videoWidth === 48`)
	b.Until(`document.querySelector("[data-remark]").textContent.includes("said of an earlier cut")`)
	b.accessible("review")
	if got := b.manifest(); got != round {
		t.Errorf("remarks have changed the manifest:\n%s", got)
	}
	b.quiet()
}
