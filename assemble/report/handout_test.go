package report

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/remark"
	"ripieno/assemble/report/pagetest"
	"ripieno/assemble/report/phrase"
)

// testHandout is a page about a film of eight seconds, of two measures behind a second.
func testHandout() Handout {
	h := Handout{Title: "The Lamplighter's Round", Ensemble: "Lamp Street Players", Composer: "Ada Holm",
		FilmName: "rough",
		Hash:     strings.Repeat("0123456789abcdef", 4), AtZero: 3, End: 10, Film: []byte("no film"),
		Players: []Addressee{{"oboe-1", "Mara Voss", "Oboe"}, {"horn-2", "", "Horn"}},
		Said: []Said{{ID: "x", At: 6, Place: "m2", Take: "horn-2", By: "Cora <b>Lind",
			Text: "softer </script><img src=x onerror=alert(1)>"},
			{At: 4, Place: "m1.2", Text: "all of it"}}}
	for i := range 8 {
		h.Beats = append(h.Beats, BeatAt{At: 4 + float64(i)/2, Measure: 1 + i/4, Number: 1 + i%4})
	}
	return h
}

// handoutText returns the page.
func handoutText(t *testing.T, h Handout) string {
	t.Helper()
	var out bytes.Buffer
	if err := WriteHandout(&out, h); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestHandoutIsOneFile: the page asks for nothing, holds what was said as text whatever
// it is, and has every sentence in every language.
func TestHandoutIsOneFile(t *testing.T) {
	for _, lang := range phrase.Languages() {
		h := testHandout()
		h.Words = phrase.Of(lang)
		html := handoutText(t, h)
		for _, bad := range []string{"http://", "https://", "<img", "<b>Lind", "handout.", "report.film", "ZgotmplZ",
			"{place}", "{name}"} {
			body := html[strings.Index(html, "<body"):]
			body, script, _ := strings.Cut(body, `<script type="application/octet-stream"`)
			if bad == "handout." { // keys that are no sentence; the script builds them
				body = strings.ReplaceAll(body, "&#34;handout.", "")
			}
			if bad == "{place}" || bad == "{name}" {
				body = body[strings.Index(body, "<header"):]
			}
			if strings.Contains(body, bad) || strings.HasPrefix(bad, "http") && strings.Contains(script, bad) {
				t.Errorf("%s: %q is in the page", lang, bad)
			}
		}
		for _, want := range []string{`lang="` + lang + `"`, "softer &lt;/script&gt;&lt;img",
			phrase.Of(lang).Say("handout.save"), "bm8gZmlsbQ==",
			"default-src 'none'"} {
			if !strings.Contains(html, want) {
				t.Errorf("%s: %q is not in the page", lang, want)
			}
		}
	}
	if a, b := handoutText(t, testHandout()), handoutText(t, testHandout()); a != b {
		t.Error("the same handout gave two pages")
	}
}

// TestPlacesInWords: a beat in words, and what is none as it is.
func TestPlacesInWords(t *testing.T) {
	for place, want := range map[string]string{"m12.3": "Measure 12, beat 3", "m1": "Measure 1, beat 1", "": "",
		"mx": "mx"} {
		if got := placeWords(phrase.Of("en"), place); got != want {
			t.Errorf("%q is %q, want %q", place, got, want)
		}
	}
}

// eval returns the value of an expression in the page.
func eval[T any](b *browser, expression string) T {
	b.t.Helper()
	return pagetest.Eval[T](b.Tab, expression)
}

// TestHandoutInABrowser: a conductor plays the film, says something by keyboard, for all
// and for one, and what is saved is a file that is taken in.
func TestHandoutInABrowser(t *testing.T) {
	b := openBrowser(t)
	dir := t.TempDir()
	film := filepath.Join(dir, "film.mp4")
	err := ffmpegtest.Tool(t).Run(t.Context(), ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		"testsrc2=s=64x36:r=10:d=8", "-f", "lavfi",
		"-i", "sine=d=8", "-c:v", "libx264", "-preset", "ultrafast", "-g", "10", "-pix_fmt", "yuv420p", "-c:a", "aac",
		"-y", film}})
	if err != nil {
		t.Fatal(err)
	}
	h := testHandout()
	if h.Film, err = os.ReadFile(film); err != nil {
		t.Fatal(err)
	}
	call(b, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: "allow", DownloadPath: dir,
		BrowserContextID: chromedp.FromContext(b.Ctx).BrowserContextID})
	b.open(handoutText(t, h))
	b.Until(`document.getElementById("film").readyState >= 1 && document.getElementById("film").videoWidth === 64`)
	press := func(key string, ctrl bool) {
		t.Helper()
		p := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: key, Text: key}
		if key == "Enter" {
			p.Text, p.WindowsVirtualKeyCode, p.Modifiers = "\r", 13, 2
		}
		call(b, input.DispatchKeyEvent, p)
		p.Type, p.Text = input.DispatchKeyEventTypeKeyUp, ""
		call(b, input.DispatchKeyEvent, p)
	}
	press("]", false)
	press("]", false)
	b.Until(`!document.getElementById("film").seeking && document.getElementById("where").textContent.startsWith("Measure 2, beat 1")`)
	press("r", false)
	run(b, chromedp.KeyEvent("not <i>so</i> fast"))
	press("Enter", true)
	b.Until(`document.querySelectorAll("#mine li").length === 1`)
	eval[bool](b, `document.getElementById("whom").value = "horn-2", document.getElementById("text").focus(), true`)
	run(b, chromedp.KeyEvent("late?"))
	press("Enter", true)
	b.Until(`document.querySelectorAll("#mine li").length === 2`)
	keep(t, "handout.png", run(b, chromedp.FullScreenshot(100)))
	eval[bool](b, `document.querySelector("#keep button").click(), true`)
	b.Until(`document.getElementById("told").textContent.includes("name")`) // it asks for one
	eval[bool](b,
		`document.getElementById("name").value = "Cora Lind", document.getElementById("approve").checked = true,
		document.querySelector("#keep button").click(), true`)
	saved := filepath.Join(dir, "remarks-cora-lind.json")
	for range 500 {
		if st, err := os.Stat(saved); err == nil && st.Size() > 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	data, err := os.ReadFile(saved)
	if err != nil {
		t.Fatal(err)
	}
	r, err := remark.ParseReturn(saved, data)
	if err != nil || r.By != "Cora Lind" || !r.Approved || r.Hash != h.Hash || r.Title != h.Title ||
		len(r.Remarks) != 2 ||
		r.Remarks[0].At != 6 || r.Remarks[0].Text != "not <i>so</i> fast" || r.Remarks[1].For != "horn-2" {
		t.Errorf("saved was %s\n%+v, %v", data, r, err)
	}
	// What was said is there again when the page is opened again.
	eval[bool](b, `(onbeforeunload = null, true)`)
	if n := eval[int](b, `JSON.parse(localStorage.getItem("ripieno-review-`+h.Hash+`")).mine.length`); n != 2 {
		t.Errorf("%d remarks are remembered", n)
	}
	for _, width := range []int64{320, 768, 1280} {
		run(b, chromedp.EmulateViewport(width, 900))
		for _, scheme := range []string{"light", "dark"} {
			b.Media("screen", scheme)
			if c := b.MeasureText(); len(c.Bad) > 0 || c.Texts < 30 || c.Small < 11.5 {
				t.Errorf("at %d, %s: %d texts, letters of %.1f px, %q", width, scheme, c.Texts, c.Small, c.Bad)
			}
			keep(t, fmt.Sprintf("handout-%d-%s.png", width, scheme), run(b, chromedp.FullScreenshot(100)))
		}
		if bad := b.Audit(); len(bad) > 0 {
			t.Errorf("at %d: %q", width, bad)
		}
	}
	if bad, roles := b.Names(); len(bad) > 0 || roles["main"] != 1 || roles["Video"] != 1 ||
		roles["form"]+roles["region"] < 2 {
		t.Errorf("%q, %v", bad, roles)
	}
	if bad, n := b.Walk(); len(bad) > 0 || n < 12 {
		t.Errorf("of %d controls %q", n, bad)
	}
	requests, messages := b.heard()
	for _, r := range requests {
		if !strings.HasPrefix(r, "blob:") {
			t.Errorf("the page asked for %.80s", r)
		}
	}
	if len(messages) > 0 {
		t.Errorf("the page said %q", messages)
	}
}
