package desk_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp/kb"
)

// openPicture opens the room of the picture.
func openPicture(t *testing.T, manifest string) *tab {
	t.Helper()
	b := openMix(t, manifest)
	eval[bool](b, `location.hash = "picture", true`)
	b.Until(`document.querySelectorAll(".films figure").length === 3 && document.getElementById("job").hidden`)
	b.Until(`document.querySelectorAll(".tile img").length === 3 && [...document.querySelectorAll(".tile img, .still img")].every((i) => i.complete && i.naturalWidth)`)
	return b
}

// drag moves the mouse with its button held from the middle of what a selector finds
// to that of another, or by some pixels from there.
func (b *tab) drag(from, to string, dx, dy float64) {
	b.t.Helper()
	at := eval[[]float64](b,
		fmt.Sprintf(`(() => { const middle = (s) => { const r = document.querySelector(s).getBoundingClientRect();
		return [r.left + r.width / 2, r.top + r.height / 2]; };
		document.querySelector(%[1]q).scrollIntoView({block: "center"}); return [...middle(%[1]q), ...middle(%[2]q)]; })()`, from, to))
	send := func(kind input.DispatchMouseEventType, x, y float64) {
		call(b, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y,
			Button: input.MouseButtonLeft, Buttons: 1, ClickCount: 1})
	}
	send(input.DispatchMouseEventTypeMousePressed, at[0], at[1])
	for _, share := range []float64{0.3, 0.7, 1} {
		send(input.DispatchMouseEventTypeMouseMoved, at[0]+share*(at[2]+dx-at[0]), at[1]+share*(at[3]+dy-at[1]))
	}
	send(input.DispatchMouseEventTypeMouseReleased, at[2]+dx, at[3]+dy)
}

// cropOf returns the crop of the horn in a manifest.
func cropOf(t *testing.T, manifest string) (x, y, zoom float64) {
	t.Helper()
	m := regexp.MustCompile(`crop: \{x: ([\d.]+), y: ([\d.]+), zoom: ([\d.]+)\}`).FindStringSubmatch(manifest)
	if m == nil {
		t.Fatalf("there is no crop in\n%s", manifest)
	}
	var v [3]float64
	for i := range v {
		v[i], _ = strconv.ParseFloat(m[i+1], 64)
	}
	return v[0], v[1], v[2]
}

// TestPictureByMouse exchanges two seats, moves a crop, adds a shot, moves its edge, and
// takes all of it back.
func TestPictureByMouse(t *testing.T) {
	b := openPicture(t, placedRound)
	b.shot("picture.png")
	want := placedRound
	b.drag(`.tile[data-take="viola"]`, `.tile[data-take="bell"]`, 0, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: seats of viola and bell"`)
	want = swap(t, want, "intake/viola.wav, offset: -0.5}\n", "intake/viola.wav, offset: -0.5}\n    seat: 5\n")
	want = swap(t, want, "width: 1.5}", "width: 1.5, seat: 3}")
	b.becomes("after two seats", want)
	b.Until(`document.querySelector('.tile[data-take="viola"]').getAttribute("aria-label") === "viola, seat 5" && document.getElementById("job").hidden`)

	width := eval[float64](b, `document.querySelector("#still").getBoundingClientRect().width`)
	b.drag("#still", "#still", width/8, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: crop of horn"`)
	x, y, zoom := cropOf(t, b.manifest())
	// The whole height fits, so the middle was kept before and the frame went with the mouse.
	if math.Abs(x-(0.5+0.125)) > 0.03 || math.Abs(y-0.5) > 0.05 || math.Abs(zoom-1) > 0.02 {
		t.Errorf("an eighth of the width to the right keeps %v, %v, %v", x, y, zoom)
	}
	want = swap(t, want, "drift_ppm: 0}, pan: -100}",
		fmt.Sprintf("drift_ppm: 0}, pan: -100, crop: {x: %s, y: %s, zoom: %s}}",
			number(x), number(y), number(zoom)))
	b.becomes("after a crop", want)
	b.Until(`document.getElementById("job").hidden`)

	b.click(`[data-id="add 0"]`)
	b.Until(`document.getElementById("undo").textContent === "Undo: a new shot"`)
	want = swap(t, want, "{from: start, show: tutti}, ",
		"{from: start, show: tutti}, {from: m1, show: solo, take: horn}, ")
	b.becomes("after a new shot", want)
	b.Until(`document.querySelectorAll(".shots li").length === 3 && document.getElementById("job").hidden`)

	// From measure 1 to measure 2 and a little: it snaps to the beat.
	measure := eval[float64](b,
		`(() => { const at = [...document.querySelectorAll(".ruler i")].map((i) => i.getBoundingClientRect().left); return at[1] - at[0]; })()`)
	b.drag(`[data-grip="1"]`, `[data-grip="1"]`, measure*1.04, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: beginning of shot 2"`)
	want = swap(t, want, "{from: m1, show: solo, take: horn}", "{from: m2, show: solo, take: horn}")
	b.becomes("after its edge", want)
	b.Until(`document.querySelector('[data-id="see 1"]').textContent === "m2" && document.getElementById("job").hidden`)
	b.click(`[data-id="later 1"]`)
	b.Until(`document.querySelector('[data-id="see 1"]').textContent === "m2.2" && document.getElementById("job").hidden`)
	want = swap(t, want, "{from: m2, show: solo, take: horn}", "{from: m2.2, show: solo, take: horn}")
	b.becomes("after a beat", want)
	b.click(`[data-id="see 1"]`)
	b.Until(`document.getElementById("told").textContent === "Shot from m2.2: solo."`)
	b.shot("picture-solo.png")
	b.click(`[data-id="remove 1"]`)
	b.Until(`document.querySelectorAll(".shots li").length === 2`)
	want = swap(t, want, ", {from: m2.2, show: solo, take: horn}", "")
	b.becomes("after taking it away", want)
	b.Until(`document.getElementById("job").hidden && document.querySelector('[data-end="1"]')`)
	b.drag(`[data-end="1"]`, `[data-end="1"]`, -measure*0.96, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: end of shot 2"`)
	want = swap(t, want, "to: m5,", "to: m4,")
	b.becomes("after its end", want)
	for range 7 {
		eval[bool](b, `document.getElementById("told").textContent = "", true`)
		b.click("#undo")
		b.Until(`document.getElementById("told").textContent.startsWith("Taken back")`)
	}
	b.Until(`document.getElementById("undo").disabled`)
	b.becomes("taken back", placedRound)
	b.Until(`document.getElementById("job").hidden`)
	b.pinch()
	b.quiet()
}

// TestPictureByKeyboard does such things with keys alone.
func TestPictureByKeyboard(t *testing.T) {
	b := openPicture(t, placedRound)
	want := placedRound
	b.Press(kb.ArrowRight, kb.ArrowRight, kb.ArrowDown, "+")
	b.Until(`document.getElementById("undo").textContent === "Undo: crop of horn"`)
	x, y, zoom := cropOf(t, b.manifest())
	if math.Abs(zoom-1.05) > 0.02 || math.Abs(x-0.52) > 0.03 || math.Abs(y-0.51) > 0.05 {
		t.Errorf("two to the right, one down and one nearer keep %v, %v, %v", x, y, zoom)
	}
	want = swap(t, want, "drift_ppm: 0}, pan: -100}",
		fmt.Sprintf("drift_ppm: 0}, pan: -100, crop: {x: %s, y: %s, zoom: %s}}",
			number(x), number(y), number(zoom)))
	b.becomes("after a crop", want)
	b.Until(`document.getElementById("job").hidden`)
	b.Press("n", "w", "n", "w")
	b.Until(`document.getElementById("undo").textContent === "Undo: seats of flute and viola"`)
	want = swap(t, want, "mutes: [{from: m2, to: m3}]} # a cough", "mutes: [{from: m2, to: m3}], seat: 3} # a cough")
	want = swap(t, want, "intake/viola.wav, offset: -0.5}\n", "intake/viola.wav, offset: -0.5}\n    seat: 2\n")
	b.becomes("after two seats", want)
	b.Until(`document.querySelector('.tile[data-take="viola"]').getAttribute("aria-label") === "viola, seat 2" && document.getElementById("job").hidden`)
	b.tabTo("into 1")
	b.Press("d") // a list chooses by the first letter
	b.Until(`document.getElementById("undo").textContent === "Undo: transition of shot 2"`)
	want = swap(t, want, "show: solo, take: viola}", "show: solo, take: viola, transition: {kind: dissolve, beats: 1}}")
	b.becomes("after a transition", want)
	b.Until(`document.getElementById("job").hidden`)
	b.tabTo("earlier 1")
	b.Press(kb.Enter)
	b.Until(`document.getElementById("undo").textContent === "Undo: beginning of shot 2"`)
	want = swap(t, want, "{from: m3, to: m5,", "{from: m2.4, to: m5,")
	b.becomes("after a beat", want)
	b.Until(`document.getElementById("job").hidden`)
	b.tabTo("end-later 1")
	b.Press(kb.Enter)
	b.Until(`document.getElementById("undo").textContent === "Undo: end of shot 2"`)
	want = swap(t, want, "{from: m2.4, to: m5,", "{from: m2.4, to: m5.2,")
	b.becomes("after a beat at its end", want)
	b.quiet()
}

// tabTo walks with the tab key until a control has the focus.
func (b *tab) tabTo(id string) {
	b.t.Helper()
	for range 200 {
		if eval[string](b, `document.activeElement.dataset.id || ""`) == id {
			return
		}
		b.Press(kb.Tab)
	}
	b.t.Fatalf("the tab key does not reach %q", id)
}

// pinch brings the picture nearer with two fingers, and what they leave is written.
func (b *tab) pinch() {
	b.t.Helper()
	at := eval[[]float64](b, `(() => { const s = document.querySelector("#still"); s.scrollIntoView({block: "center"});
		const r = s.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()`)
	touch := func(kind input.DispatchTouchEventType, apart ...float64) {
		p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
		for i, by := range apart {
			id := float64(i)
			p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: at[0] + by, Y: at[1], ID: &id})
		}
		call(b, input.DispatchTouchEvent, p)
	}
	touch(input.DispatchTouchEventTypeTouchStart, -20)
	touch(input.DispatchTouchEventTypeTouchStart, -20, 20)
	touch(input.DispatchTouchEventTypeTouchMove, -30, 30)
	touch(input.DispatchTouchEventTypeTouchMove, -40, 40)
	touch(input.DispatchTouchEventTypeTouchEnd, -40)
	touch(input.DispatchTouchEventTypeTouchEnd)
	b.Until(`document.getElementById("undo").textContent === "Undo: crop of horn"`)
	if _, _, zoom := cropOf(b.t, b.manifest()); zoom < 1.9 || zoom > 2.1 {
		b.t.Errorf("twice as far apart is %v times nearer", zoom)
	}
}
