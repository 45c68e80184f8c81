package desk_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"ripieno/assemble"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/assemble/progress"
)

// wholeRound is the production of the tests with a film so small that it is made in a
// moment.
var wholeRound = strings.Replace(round, "mix: {room: 0, clean: off}\n",
	"mix: {room: 0.2, clean: off}\npicture: {fps: 24}   # as in the cinema\ndeliver: [{name: final, "+
		"canvas: 160x90}]\n", 1)

// openWhole opens the desk for it.
func openWhole(t *testing.T) *tab {
	t.Helper()
	dir := writeRound(t)
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(wholeRound), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(filepath.Join(dir, "out")); os.Remove(filepath.Join(dir, "remarks.yaml")) })
	b := openDesk(t, dir)
	b.placed()
	return b
}

// decided is what a person has decided in a run.
type decided struct {
	places map[string]shown
	crop   [3]float64
}

// text returns the manifest with all of it, as a person would have written it.
func (d decided) text(t *testing.T) string {
	t.Helper()
	at := func(take string) string {
		s := d.places[take]
		return ", offset: " + number(s.Offset) + ", drift_ppm: " + number(s.Drift)
	}
	want := swap(t, wholeRound, "{file: intake/horn.mp4}", "{file: intake/horn.mp4"+at("horn")+"}")
	want = swap(t, want, "{file: intake/flute.wav}", "{file: intake/flute.wav"+at("flute")+"}")
	want = swap(t, want, "      file: intake/viola.wav\n", "      file: intake/viola.wav\n      offset: "+
		number(d.places["viola"].Offset)+"\n      drift_ppm: "+number(d.places["viola"].Drift)+"\n")
	want = swap(t, want, `{"file": "intake/bassoon.wav"}`, `{"file": "intake/bassoon.wav", "offset": `+
		number(d.places["bassoon"].Offset)+`, "drift_ppm": `+number(d.places["bassoon"].Drift)+`}`)
	want = swap(t, want, "    gain: -2   ", "    gain: -6   ")
	crop := fmt.Sprintf(", crop: {x: %s, y: %s, zoom: %s}", number(d.crop[0]), number(d.crop[1]), number(d.crop[2]))
	want = swap(t, want, "drift_ppm: "+number(d.places["horn"].Drift)+"}}  # her", "drift_ppm: "+
		number(d.places["horn"].Drift)+"}"+crop+"}  # her")
	want = swap(t, want, "pan: 30}", "pan: 30, seat: 2}")
	want = swap(t, want, "# a recorder of her own\n", "# a recorder of her own\n    seat: 5\n")
	return strings.TrimSuffix(want, "\n") +
		"\nshots: [{from: start, show: tutti}, {from: m1, show: solo, take: bell}]\n"
}

// look reads what the manifest has of the crop, and holds all of it against what it has
// to be.
func (b *tab) look(d decided) {
	b.t.Helper()
	d.crop[0], d.crop[1], d.crop[2] = cropOf(b.t, b.manifest())
	b.expect("at the end", d.text(b.t))
	said := b.remarks()
	for _, want := range []string{`"place":"m1","by":"Cora Lind","text":"softer"`,
		`"place":"m2","for":"horn","by":"Cora Lind","text":"late?"`,
		`"place":"m3","by":"Cora Lind","text":"all together"`} {
		if strings.Count(said, want) != 1 {
			b.t.Errorf("%s is not once in\n%s", want, said)
		}
	}
	if strings.Count(said, `"id"`) != 3 {
		b.t.Errorf("three things were said, and there is\n%s", said)
	}
	b.quiet()
}

// TestTheWholeWayByMouse: four takes of which nobody is sure, a gain, a crop, two seats, a
// new shot, an undo and three remarks, and then the film is made from the page.
func TestTheWholeWayByMouse(t *testing.T) {
	b := openWhole(t)
	d := decided{places: map[string]shown{}}
	for i, take := range []string{"horn", "flute", "viola", "bassoon"} {
		b.left(4 - i)
		b.click(`[data-take="` + take + `"]`)
		d.places[take] = b.shown(take, 0)
		b.click("#accept")
		b.Until(`document.getElementById("undo").textContent.includes("` + take + `")`)
	}
	b.Until(`document.querySelector("#room h2").textContent === "All takes are placed"`)
	b.click(`[href="#mix"]`)
	b.Until(`document.querySelectorAll(".strip").length === 5 && document.getElementById("job").hidden`)
	b.ClickAt(`[data-id="gain viola"]`, 0.5, 0.5)
	b.Until(`document.getElementById("undo").textContent === "Undo: gain of viola"`)
	b.click(`[href="#picture"]`)
	b.Until(`document.querySelectorAll(".films figure").length === 3 && document.getElementById("job").hidden`)
	b.Until(`[...document.querySelectorAll(".tile img, .still img")].every((i) => i.complete && i.naturalWidth) && document.querySelector("#still")`)
	b.drag("#still", "#still", 20, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: crop of horn"`)
	b.Until(`document.getElementById("job").hidden`)
	b.drag(`.tile[data-take="flute"]`, `.tile[data-take="bell"]`, 0, 0)
	b.Until(`document.getElementById("undo").textContent === "Undo: seats of flute and bell"`)
	b.Until(`document.getElementById("job").hidden && document.querySelector('.tile[data-take="bell"]').getAttribute("aria-label").endsWith("seat 2")`)
	b.click(`.tile[data-take="bell"]`)
	b.click(`[data-id="add 0"]`)
	b.Until(`document.getElementById("undo").textContent === "Undo: a new shot"`)
	b.Until(`document.getElementById("job").hidden && document.querySelector('[data-id="later 1"]')`)
	b.click(`[data-id="later 1"]`)
	b.Until(`document.getElementById("undo").textContent === "Undo: beginning of shot 2"`)
	b.click("#undo") // it was right before
	b.Until(`document.getElementById("undo").textContent === "Undo: a new shot"`)

	b.click(`[href="#review"]`)
	b.Until(`document.querySelector('[data-id="rough"]')`)
	b.Until(`document.getElementById("job").hidden`)
	b.click(`[data-id="rough"]`)
	b.Until(`document.querySelector("#film")?.readyState >= 1 && document.getElementById("job").hidden`)
	b.click(`[data-id="]"]`) // the film begins before the music
	b.Until(`document.querySelector("#film-where b").textContent.startsWith("Count-in, measure 4")`)
	for i, text := range []string{"softer", "late?", "all together"} {
		b.click(`[data-id="]"]`)
		b.Until(`document.querySelector("#film-where b").textContent === "Measure ` + strconv.Itoa(i+1) + `, beat 1"`)
		if i == 0 {
			b.click("#by")
			b.Press("Cora Lind")
		}
		whom := ""
		if i == 1 {
			whom = "horn"
		}
		eval[bool](b, `document.querySelector("#whom").value = "`+whom+`", true`) // a list of the system's own
		b.click("#text")
		b.Press(text)
		b.click(`[data-id="add"]`)
		b.Until(`document.querySelectorAll("[data-remark]").length === ` + strconv.Itoa(i+1))
	}
	b.look(d)
	b.click(`[data-id="render"]`)
	b.Until(`document.getElementById("told").textContent === "Made final.mp4."`)
	b.filmed()
}

// filmed checks the film that was made from the page: it is the one that render makes of
// the manifest, with nothing left to do, and it shows the shots that were decided.
func (b *tab) filmed() {
	t := b.t
	t.Helper()
	film := filepath.Join(filepath.Dir(b.path), "out", "final.mp4")
	info, err := media.Probe(t.Context(), ffmpegtest.Tool(t), film)
	if err != nil || info.Video.W != 160 || info.Video.H != 90 || info.Duration < 12 {
		t.Errorf("the film is %+v, %v", info, err)
	}
	// Everybody before measure 1, among them the horn, whose picture alone is no card; the bell
	// alone, a card, from then on: by how far red, green and blue are apart on the average.
	if first, later := colours(t, film, "0.2"), colours(t, film, "9"); first < 20 || later > first/2 {
		t.Errorf("colours are %.1f apart in the first shot and %.1f in the second", first, later)
	}
	was, err := os.ReadFile(film)
	if err != nil {
		t.Fatal(err)
	}
	p, err := assemble.Open(t.Context(), assemble.Settings{Dir: filepath.Dir(b.path),
		Report: progress.New(nil, progress.Quiet)})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	r, err := p.Render(t.Context(), assemble.RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if now, err := os.ReadFile(film); err != nil || r.Tasks.Run != 0 || !bytes.Equal(was, now) {
		t.Errorf("render runs %d tasks more for %d bytes, and the page has made %d: %v", r.Tasks.Run, len(now), len(was),
			err)
	}
}

// colours returns how far the largest and the smallest of red, green and blue are apart,
// from 0 to 255, on the average over the frame of a film at some seconds.
func colours(t *testing.T, film, at string) float64 {
	t.Helper()
	var pix bytes.Buffer
	err := ffmpegtest.Tool(t).Run(t.Context(), ffmpeg.Command{Args: []string{"-ss", at, "-i", "file:" + film, "-frames:v", "1",
		"-f", "rawvideo", "-pix_fmt", "rgb24", "pipe:1"}, Stdout: &pix})
	if err != nil || pix.Len() == 0 {
		t.Fatalf("no frame at %s s: %v", at, err)
	}
	sum := 0.0
	for p := pix.Bytes(); len(p) >= 3; p = p[3:] {
		sum += float64(max(p[0], p[1], p[2]) - min(p[0], p[1], p[2]))
	}
	return sum / float64(pix.Len()/3)
}

// TestTheWholeWayByKeyboard does the same with keys alone.
func TestTheWholeWayByKeyboard(t *testing.T) {
	b := openWhole(t)
	writeRough(t, filepath.Dir(b.path), "32x18")
	d := decided{places: map[string]shown{}}
	for i, take := range []string{"horn", "flute", "viola", "bassoon"} {
		b.Until(fmt.Sprintf(`document.querySelector("#room h2").textContent.startsWith("%d of 5")`, 4-i))
		b.Press("b", "b", "b", "b", "b") // the first of those that need review
		d.places[take] = b.shown(take, 0)
		b.Press("y")
		b.Until(`document.getElementById("undo").textContent.includes("` + take + `")`)
	}
	b.Until(`document.querySelector("#room h2").textContent === "All takes are placed"`)
	alt := func(room string) { run(b, chromedp.KeyEvent(room, chromedp.KeyModifiers(chromedp.ModifierAlt))) }
	alt("3")
	b.Until(`document.querySelectorAll(".strip").length === 5 && document.getElementById("job").hidden`)
	b.Press("n", "n")
	b.Until(`document.activeElement.dataset.id === "gain viola"`)
	b.Press("-", "-", "-", "-", "-", "-", "-", "-")
	b.Until(`document.getElementById("undo").textContent === "Undo: gain of viola"`)
	alt("4")
	b.Until(`document.querySelectorAll(".films figure").length === 3 && document.getElementById("job").hidden`)
	b.Until(`document.querySelector("#still img")?.naturalWidth`)
	b.Press(kb.ArrowRight, kb.ArrowRight, "+")
	b.Until(`document.getElementById("undo").textContent === "Undo: crop of horn"`)
	b.Until(`document.getElementById("job").hidden`)
	b.Press("n", "w", "n", "n", "n", "w")
	b.Until(`document.getElementById("undo").textContent === "Undo: seats of flute and bell"`)
	b.Until(`document.getElementById("job").hidden && document.querySelector('.tile[data-take="bell"]').getAttribute("aria-label").endsWith("seat 2")`)
	b.tabTo("add 0")
	b.Press(kb.Enter)
	b.Until(`document.getElementById("undo").textContent === "Undo: a new shot"`)
	b.Until(`document.getElementById("job").hidden && document.querySelector('[data-id="later 1"]')`)
	b.tabTo("later 1")
	b.Press(kb.Enter)
	b.Until(`document.getElementById("undo").textContent === "Undo: beginning of shot 2"`)
	run(b, chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Until(`document.getElementById("undo").textContent === "Undo: a new shot"`)

	alt("5")
	b.Until(`document.querySelector("#film")?.readyState >= 1`)
	b.strike("]") // the film begins before the music
	b.Until(`document.querySelector("#film-where b").textContent.startsWith("Count-in, measure 4")`)
	for i, text := range []string{"softer", "late?", "all together"} {
		b.strike("]")
		b.Until(`document.querySelector("#film-where b").textContent === "Measure ` + strconv.Itoa(i+1) + `, beat 1"`)
		if i > 0 { // the list stands before the text
			b.strike("r")
			run(b, chromedp.KeyEvent(kb.Tab, chromedp.KeyModifiers(chromedp.ModifierShift)))
			b.Press(map[int]string{1: "i", 2: "f"}[i]) // Ilse Brandt, or for all
			b.Press(kb.Tab)
		} else {
			b.strike("r")
		}
		b.Until(`document.activeElement.id === "text"`)
		b.Press(text)
		if i == 0 {
			b.Press(kb.Tab)
			b.Press("Cora Lind")
			b.Press(kb.Tab, kb.Enter)
		} else {
			run(b, chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierCtrl)))
		}
		b.Until(`document.querySelectorAll("[data-remark]").length === ` + strconv.Itoa(i+1))
		b.Press(kb.Escape)
		b.Until(`document.activeElement.dataset.id === "p"`)
	}
	b.look(d)
}
