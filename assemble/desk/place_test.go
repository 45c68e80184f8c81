package desk_test

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// shown is where the page shows a take.
type shown struct {
	Take   string
	Offset float64
	Drift  float64
}

// shown waits until a take is drawn at a moment, and says where it lies.
func (b *tab) shown(take string, moment int) shown {
	b.t.Helper()
	name, _ := json.Marshal(take)
	b.Until(`JSON.parse(document.querySelector("#sheet").dataset.drawn).take === ` + string(name) +
		` && JSON.parse(document.querySelector("#sheet").dataset.drawn).moment === ` + strconv.Itoa(moment))
	var s shown
	if err := json.Unmarshal([]byte(eval[string](b, `document.querySelector("#sheet").dataset.drawn`)),
		&s); err != nil {
		b.t.Fatal(err)
	}
	return s
}

// placed waits until the takes are placed by the manifest as it is.
func (b *tab) placed() {
	b.t.Helper()
	b.Until(`document.documentElement.dataset.room && document.getElementById("job").hidden`)
}

// left waits until the takes are placed anew, and so many need review: until then the
// list may be put in another order under the mouse.
func (b *tab) left(n int) {
	b.t.Helper()
	b.Until(`document.querySelector("#room h2").textContent === "` + strconv.Itoa(n) + ` of 5 need review" &&
		document.getElementById("job").hidden`)
}

// number writes a number as the manifest has it.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// swap exchanges the one place of a text.
func swap(t *testing.T, text, old, with string) string {
	t.Helper()
	if strings.Count(text, old) != 1 {
		t.Fatalf("%q stands %d times in\n%s", old, strings.Count(text, old), text)
	}
	return strings.Replace(text, old, with, 1)
}

// TestPlacingByMouse decides four takes that nobody can be sure of: by a candidate, by
// a click on the wave, by moving, by taking what is proposed. The manifest has exactly
// that, its remarks are where they were, and all of it is taken back.
func TestPlacingByMouse(t *testing.T) {
	b := openDesk(t, writeRound(t))
	b.placed()
	if got := eval[string](b, `document.querySelector("#room h2").textContent`); got != "4 of 5 need review" {
		t.Fatalf("the room says %q", got)
	}
	b.Until(`document.querySelector("#stills").naturalWidth > 300`)
	b.shot("place-light.png")
	want := round

	b.click(`[data-take="horn"]`)
	first := b.shown("horn", 0)
	b.click(`[data-candidate="2"]`)
	b.Until(`JSON.parse(document.querySelector("#sheet").dataset.drawn).offset !== ` + number(first.Offset))
	horn := b.shown("horn", 0)
	// One of the two claps is that on the cue, and lies where the recording began.
	if of := offsets["horn"]; min(math.Abs(horn.Offset-of), math.Abs(first.Offset-of)) > 0.01 {
		t.Errorf("the candidates lie at %.3f and %.3f, and the recording at %.3f", first.Offset, horn.Offset, of)
	}
	if d := math.Abs(horn.Offset - first.Offset); math.Abs(d-2) > 0.02 {
		t.Errorf("the two candidates are %.3f s apart, and the claps a measure", d)
	}
	b.click("#accept")
	want = swap(t, want, "{file: intake/horn.mp4}", "{file: intake/horn.mp4, offset: "+number(horn.Offset)+
		", drift_ppm: "+number(horn.Drift)+"}")
	b.Until(`!document.getElementById("undo").disabled`)
	b.expect("after the horn", want)
	b.left(3)

	b.click(`[data-take="flute"]`)
	b.shown("flute", 0)
	b.Press("+", "-", "-", "-") // as far away as it goes: 5 s to either side
	flute := b.shown("flute", 0)
	b.ClickAt("#sheet", 0.7, 0.7)
	b.Until(`JSON.parse(document.querySelector("#sheet").dataset.drawn).offset !== ` + number(flute.Offset))
	moved := b.shown("flute", 0)
	if d := flute.Offset - moved.Offset; math.Abs(d-2) > 0.03 { // 0.2 of 10 s, and a pixel is 12 ms
		t.Errorf("a click 2 s later moved the take by %.3f s", d)
	}
	b.click("#accept")
	want = swap(t, want, "{file: intake/flute.wav}", "{file: intake/flute.wav, offset: "+number(moved.Offset)+
		", drift_ppm: "+number(moved.Drift)+"}")
	b.Until(`document.getElementById("undo").textContent.includes("flute")`)
	b.expect("after the flute", want)
	b.left(2)

	b.click(`[data-take="viola"]`)
	before := b.shown("viola", 0)
	by := 0.0
	for _, m := range []struct {
		key string
		by  float64
	}{{"Shift+ArrowRight", 0.010}, {"Shift+ArrowRight", 0.010}, {"ArrowLeft", -0.001}, {".", 1 / 30.}} {
		b.click(`[data-id="` + m.key + `"]`)
		by += m.by
		b.Until(`Math.abs(JSON.parse(document.querySelector("#sheet").dataset.drawn).offset - ` +
			number(before.Offset+by) + `) < 1e-5`)
	}
	viola := b.shown("viola", 0)
	b.click("#accept")
	want = swap(t, want, "      file: intake/viola.wav\n", "      file: intake/viola.wav\n      offset: "+
		number(viola.Offset)+"\n      drift_ppm: "+number(viola.Drift)+"\n")
	b.Until(`document.getElementById("undo").textContent.includes("viola")`)
	b.expect("after the viola", want)
	b.left(1)

	b.click(`[data-take="bassoon"]`)
	bassoon := b.shown("bassoon", 0)
	b.click("#accept")
	want = swap(t, want, `{"file": "intake/bassoon.wav"}`, `{"file": "intake/bassoon.wav", "offset": `+
		number(bassoon.Offset)+`, "drift_ppm": `+number(bassoon.Drift)+`}`)
	b.Until(`document.getElementById("undo").textContent.includes("bassoon")`)
	b.expect("after the bassoon", want)
	b.Until(`document.querySelector("#room h2").textContent === "All takes are placed"`)

	for range 4 {
		b.click("#undo")
		b.Until(`document.getElementById("told").textContent.startsWith("Taken back")`)
		eval[bool](b, `document.getElementById("told").textContent = "", true`)
	}
	b.Until(`document.getElementById("undo").disabled`)
	b.expect("taken back", round)
	b.quiet()
}

// TestPlacingByKeyboard does the same without a mouse.
func TestPlacingByKeyboard(t *testing.T) {
	b := openDesk(t, writeRound(t))
	b.placed()
	want := round
	b.Press("1")
	first := b.shown("horn", 0)
	b.Press("2")
	b.Until(`JSON.parse(document.querySelector("#sheet").dataset.drawn).offset !== ` + number(first.Offset))
	horn := b.shown("horn", 0)
	eval[bool](b, `(window.played = [], ((start) => { AudioBufferSourceNode.prototype.start = function (...at) {
		window.played.push(this.buffer.duration); return start.apply(this, at); }; })(AudioBufferSourceNode.prototype.start), true)`)
	for _, how := range []struct {
		key, says string
		sounds    int // that play together
		seconds   float64
	}{{"c", "Playing: click left, take right.", 2, 5.7}, {"a", "Playing the take alone.", 1, 5.7},
		{"k", "Playing the clap alone: click left, take right.", 2, 0.52}, {"o", "Playing with 1 others.", 2, 5.7}} {
		b.Press(how.key)
		b.Until("document.getElementById('told').textContent === `" + how.says + "`")
		played := eval[[]float64](b, `window.played.splice(0)`)
		if len(played) != how.sounds || slices.ContainsFunc(played, func(s float64) bool {
			return math.Abs(s-how.seconds) > 0.01
		}) {
			t.Errorf("key %s plays sounds of %v s", how.key, played)
		}
	}
	b.Press("s")
	b.Press("y")
	want = swap(t, want, "{file: intake/horn.mp4}", "{file: intake/horn.mp4, offset: "+number(horn.Offset)+
		", drift_ppm: "+number(horn.Drift)+"}")
	b.Until(`document.getElementById("undo").textContent.includes("horn")`)
	b.expect("after the horn", want)
	b.Until(`document.querySelector("#room h2").textContent === "3 of 5 need review"`)

	b.Press("b", "b", "b", "b", "b") // the first of those that need review
	flute := b.shown("flute", 0)
	b.Press(kb.ArrowRight, kb.ArrowRight, ",")
	run(b, chromedp.KeyEvent(kb.ArrowRight, chromedp.KeyModifiers(chromedp.ModifierShift)))
	const by = 0.001 + 0.001 - 1/30. + 0.010
	b.Until(`Math.abs(JSON.parse(document.querySelector("#sheet").dataset.drawn).offset - ` +
		number(flute.Offset+by) + `) < 1e-5`)
	b.Press("h") // the loudest moment that is seen is the clap after all
	b.Until(`Math.abs(JSON.parse(document.querySelector("#sheet").dataset.drawn).offset - ` +
		number(flute.Offset) + `) < 0.02`)
	flute = b.shown("flute", 0)
	b.Press("y")
	want = swap(t, want, "{file: intake/flute.wav}", "{file: intake/flute.wav, offset: "+number(flute.Offset)+
		", drift_ppm: "+number(flute.Drift)+"}")
	b.Until(`document.getElementById("undo").textContent.includes("flute")`)
	b.expect("after the flute", want)
	b.Until(`document.querySelector("#room h2").textContent === "2 of 5 need review"`)

	// At a later moment the same keys bend the clock, and the clap stays.
	b.Press("b", "b", "b", "b", "b")
	viola := b.shown("viola", 0)
	b.Press("]", "]", "]")
	b.shown("viola", 3)
	b.Press(kb.ArrowRight)
	b.Until(`JSON.parse(document.querySelector("#sheet").dataset.drawn).drift !== ` + number(viola.Drift))
	bent := b.shown("viola", 3)
	if ppm := bent.Drift - viola.Drift; math.Abs(ppm-1000/14.) > 0.5 { // 1 ms over the 14 s from the cue at 4 s to 18 s
		t.Errorf("1 ms at the last measure bent the clock by %.1f ppm", ppm)
	}
	clap := func(s shown) float64 { return (4 - s.Offset) / (1 + s.Drift*1e-6) }
	if d := clap(bent) - clap(viola); math.Abs(d) > 2e-6 {
		t.Errorf("the clap moved by %.7f s", d)
	}
	b.Press("z")
	b.Until(`document.getElementById("undo").textContent.includes("horn")`)
	run(b, chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Until(`document.getElementById("undo").disabled`)
	b.expect("taken back", round)
	run(b, chromedp.KeyEvent("Z", chromedp.KeyModifiers(chromedp.ModifierShift)))
	run(b, chromedp.KeyEvent("Z", chromedp.KeyModifiers(chromedp.ModifierShift)))
	b.Until(`document.getElementById("redo").disabled`)
	b.expect("made again", want)
	b.quiet()
}
