package desk_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"ripieno/assemble"
	"ripieno/assemble/media"
	"ripieno/assemble/progress"
	"ripieno/mix/audio"
)

// placedRound is the production with places that a person has written, and with
// everything that the bus applies to a strip. It is soft enough that no limiter works.
const placedRound = `version: 1
title: The Lamplighter's Round
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 6
release: yes
sections: [{name: winds}, {name: strings, gain: -1.5}]   # the strings sat near
takes:
  - {name: horn, section: winds, video: {file: intake/horn.mp4, offset: -1.5, drift_ppm: 0}, pan: -100}
  - {name: flute, section: winds, audio: {file: intake/flute.wav, offset: -2.25}, mutes: [{from: m2, to: m3}]} # a cough
  - name: viola
    section: strings
    gain: -2                           # loud
    audio: {file: intake/viola.wav, offset: -0.5}
  - {"name": "bassoon", "section": "winds", "audio": {"file": "intake/bassoon.wav", "offset": -3}}
  - {name: bell, section: strings, audio: {file: intake/bell.wav, offset: -1}, pan: 40, width: 1.5}
mix: {room: 0, loudness: -30, solo_lift: 5, fade_in: 3, fade_out: 2, clean: off}
shots: [{from: start, show: tutti}, {from: m3, to: m5, show: solo, take: viola}]
`

// openMix opens the room of the mix for a manifest.
func openMix(t *testing.T, manifest string) *tab {
	t.Helper()
	dir := writeRound(t)
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(manifest), 0o600); err != nil {
		t.Fatal(err)
	}
	b := openDesk(t, dir)
	b.placed()
	eval[bool](b, `location.hash = "mix", true`)
	b.Until(`document.querySelectorAll(".strip").length === 5 && document.getElementById("job").hidden`)
	return b
}

// windows is how long levels are compared over, in seconds.
const windows = 0.25

// levels renders the mix with the page's own modules through an OfflineAudioContext
// and returns what each side measures, in windows, as root mean squares.
const levels = `(async () => {
	const { Mixer } = await import("/page/mixer.js");
	const mixing = await (await fetch("/api/mix")).json();
	const frames = Math.round(mixing.length * 48000), ctx = new OfflineAudioContext(2, frames, 48000);
	const mixer = await Mixer.make(ctx, mixing);
	await mixer.renderAll(mixing.start, frames);
	const heard = await ctx.startRendering();
	const n = 12000, out = [];
	for (let c = 0; c < 2; c++) {
		const x = heard.getChannelData(c), list = [];
		for (let i = 0; i + n <= frames; i += n) {
			let sum = 0;
			for (let k = i; k < i + n; k++) sum += x[k] * x[k];
			list.push(Math.sqrt(sum / n));
		}
		out.push(list);
	}
	return out;
})()`

// measured returns the same of a file, and what mastering has added to it taken away.
func measured(t *testing.T, path string, gain float64) [2][]float64 {
	t.Helper()
	wav, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	block := audio.NewBlock(2, int(windows*audio.Rate))
	var out [2][]float64
	for {
		n, err := wav.Read(block)
		if n < block.Frames() {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		for c, ch := range block {
			sum := 0.0
			for _, v := range ch {
				sum += v * v
			}
			out[c] = append(out[c], math.Sqrt(sum/float64(n))/audio.Decibels(gain).Gain())
		}
	}
}

// TestWhatIsHeardIsTheMix: gains, places, mutes, lifts and fades of the page are those
// of the mix, in every quarter of a second and on both sides, within 0.2 dB.
func TestWhatIsHeardIsTheMix(t *testing.T) {
	b := openMix(t, strings.Replace(strings.Replace(placedRound, "room: 0,", "room: 0.3, hall: {decay: 1.1},", 1),
		"pan: -100}", "pan: -100, send: 6}", 1))
	page := eval[[2][]float64](b, levels)
	p, err := assemble.Open(t.Context(), assemble.Settings{Dir: made, Report: progress.New(nil, progress.Quiet)})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	r, err := p.Mix(t.Context(), assemble.MixOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Master.Reduction != 0 {
		t.Fatalf("the limiter takes %.2f dB: the two cannot be compared", r.Master.Reduction)
	}
	film := measured(t, r.WAV, r.Master.Gain)
	compared, worst := 0, 0.0
	for c := range 2 {
		if d := len(film[c]) - len(page[c]); d < 0 || d > 1 {
			t.Fatalf("side %d: %d windows in the page, %d in the mix", c, len(page[c]), len(film[c]))
		}
		for i, heard := range page[c] {
			if max(heard, film[c][i]) < 1e-4 { // −80 dBFS: dither and silence
				continue
			}
			compared++
			d := 20 * math.Abs(math.Log10(heard/film[c][i]))
			worst = max(worst, d)
			if !(d <= 0.2) {
				t.Errorf("side %d at %.2f s: %.5f in the page, %.5f in the mix, %.2f dB", c, float64(i)*windows, heard,
					film[c][i], d)
			}
		}
	}
	t.Logf("%d windows, at most %.4f dB apart", compared, worst)
	if compared < 60 {
		t.Errorf("only %d windows could be compared", compared)
	}
	b.quiet()
}

// leap renders two seconds of the mix, in which it leaps forth after a half and back after
// another one, and the places to which it has leapt as they are without: it returns how far
// the samples are apart at most, how loud the loudest is, and how many times voices were
// fetched for the leaps.
const leap = `(async () => {
	const { Mixer } = await import("/page/mixer.js");
	const mixing = await (await fetch("/api/mix")).json(), rate = 48000;
	const render = async (from, then) => {
		const ctx = new OfflineAudioContext(2, 2 * rate, rate), mixer = await Mixer.make(ctx, mixing);
		await mixer.renderAll(from, 4 * rate);
		await then?.(ctx, mixer);
		return ctx.startRendering();
	};
	const from = mixing.start + mixing.fade_in + 0.5, fetched = window.fetch;
	let asked = 0, zero = [];
	const leapt = await render(from, (ctx, mixer) => {
		window.fetch = (...what) => { asked++; return fetched(...what); };
		[[0.5, from + 2], [1, from + 0.25]].forEach(([at, to], i) => ctx.suspend(at).then(async () => {
			await mixer.start(to);
			zero[i] = Math.round(mixer.began.zero * rate);
			const heard = new Promise((done) => { mixer.answered = done; });
			mixer.node.port.postMessage({ what: "nothing", answer: true });
			await heard;
			ctx.resume();
		}));
	});
	window.fetch = fetched;
	let apart = 0, top = 0;
	for (const [i, to] of [from + 2, from + 0.25].entries()) {
		const plain = await render(to);
		for (let c = 0; c < 2; c++) {
			const x = leapt.getChannelData(c), y = plain.getChannelData(c);
			for (let k = 0; k < 0.45 * rate; k++) {
				apart = Math.max(apart, Math.abs(x[zero[i] + k] - y[k]));
				top = Math.max(top, Math.abs(y[k]));
			}
		}
	}
	return [apart, top, asked];
})()`

// TestLeapsAreHeardAtOnce: near what plays nothing has to be fetched, and what is heard
// from there on is what is heard otherwise.
func TestLeapsAreHeardAtOnce(t *testing.T) {
	b := openMix(t, placedRound)
	got := eval[[3]float64](b, leap)
	if got[0] > 1e-5 || got[1] < 1e-3 || got[2] != 0 {
		t.Errorf("samples are %g apart, the loudest is %g, and it was fetched %g times", got[0], got[1], got[2])
	}
	b.quiet()
}

// TestMixingByMouse gives a gain, a place, a mute, a low cut and the gain of a section,
// and takes all of it back.
func TestMixingByMouse(t *testing.T) {
	b := openMix(t, placedRound)
	want := placedRound
	done := func(what, old, with string) {
		t.Helper()
		b.Until(`document.getElementById("undo").textContent === "Undo: ` + what + `"`)
		want = swap(t, want, old, with)
		b.expect("after "+what, want)
	}
	b.ClickAt(`[data-id="gain viola"]`, 0.5, 0.5) // the middle of −24 to 12
	done("gain of viola", "    gain: -2 ", "    gain: -6 ")
	b.ClickAt(`[data-id="pan bassoon"]`, 0.5, 0.5)
	done("pan of bassoon", `"offset": -3}}`, `"offset": -3}, "pan": 0}`)
	b.click(`[data-id="mute flute"]`)
	done("mute of flute", "to: m3}]}", "to: m3}], mute: true}")
	b.Until(`document.querySelector('[data-id="mute flute"]').getAttribute("aria-pressed") === "true"`)
	b.click(`[data-id="auto bell"]`)
	done("pan of bell", ", pan: 40", "")
	b.click(`[data-id="cut horn"]`)
	b.Press(kb.End, strings.Repeat(kb.Backspace, 4), "120", kb.Enter)
	done("low cut of horn", "pan: -100}", "pan: -100, low_cut: 120}")
	b.ClickAt(`[data-id="section strings"]`, 0.5, 0.5)
	done("gain of the strings", "gain: -1.5}", "gain: -6}")
	b.ClickAt(`[data-id="target"]`, 0.5, 0.5) // the middle of −36 to −6
	done("loudness of the film", "loudness: -30", "loudness: -21")
	b.Until(`document.querySelector(".whole").textContent.includes("heard at about −21.0 LUFS")`)
	b.Until(`document.getElementById("job").hidden`)
	b.click(`[data-id="solo viola"]`)
	b.Until(`document.getElementById("told").textContent === "Heard alone: viola."`)
	b.click(`[data-id="p"]`)
	b.Until(`document.getElementById("told").textContent.startsWith("Playing from")`)
	b.Until(`Number(document.getElementById("at").value) > Number(document.getElementById("at").min) + 0.3`)
	b.Until(`Number(document.querySelector('[data-take="viola"] .meter i').style.getPropertyValue("--level")) >= 0`)
	b.shot("mix-playing.png")
	b.click(`[data-id="s"]`)
	for b.manifest() != placedRound {
		text := eval[string](b, `document.getElementById("undo").textContent`)
		b.click("#undo")
		b.Until(`document.getElementById("undo").textContent !== ` + "`" + text + "`")
		if eval[bool](b, `document.getElementById("undo").disabled`) {
			break
		}
	}
	b.expect("taken back", placedRound)
	b.quiet()
}

// marks presses what other keyboards have: a bracket with AltGr, which browsers tell as Ctrl
// and Alt, one with the option key, and a digit with it, which writes something else.
func (b *tab) marks() {
	b.t.Helper()
	press := func(key, code, with string) {
		eval[bool](b, fmt.Sprintf(`(document.body.dispatchEvent(new KeyboardEvent("keydown", {key: %q, code: %q, bubbles: true, %s})), true)`,
			key, code, with))
	}
	at := `document.getElementById("at-text").textContent`
	was := eval[string](b, at)
	press("]", "Digit9", "ctrlKey: true, altKey: true, modifierAltGraph: true")
	b.Until(at + " !== `" + was + "`")
	press("[", "Digit5", "altKey: true")
	b.Until(at + " === `" + was + "`")
	press("¡", "Digit1", "altKey: true")
	b.Until(`location.hash === "#place"`)
	press("3", "Digit3", "altKey: true")
	b.Until(`location.hash === "#mix" && document.querySelectorAll(".strip").length === 5`)
}

// TestMixingByKeyboard does the same with keys alone, of which quick ones are one step.
func TestMixingByKeyboard(t *testing.T) {
	b := openMix(t, placedRound)
	want := placedRound
	done := func(what, old, with string) {
		t.Helper()
		b.Until(`document.getElementById("undo").textContent === "Undo: ` + what + `"`)
		want = swap(t, want, old, with)
		b.expect("after "+what, want)
	}
	b.Press("n", "n") // the viola
	b.Until(`document.activeElement.dataset.id === "gain viola"`)
	b.Press("-", "-", "-")
	b.until("gain of viola")
	want = swap(t, want, "    gain: -2 ", "    gain: -3.5 ") // by more than one step where keys are slow
	b.becomes("after three steps down", want)
	b.Press("n", "<", "<", "m")
	b.Until(`document.getElementById("undo").textContent === "Undo: mute of bassoon"`)
	// By its seat, the fourth of five, it stands 27.5 to the right; the keys go 5 at a time.
	want = swap(t, want, `"offset": -3}}`, `"offset": -3}, "pan": 18, "mute": true}`)
	b.expect("after two steps to the left and a mute", want)
	b.Press("b")
	b.Until(`document.activeElement.dataset.id === "gain viola"`)
	b.Press("x")
	b.Until(`document.getElementById("told").textContent === "Heard alone: viola."`)
	b.Press(kb.Tab, kb.Tab) // the low cut, past the place
	b.Until(`document.activeElement.dataset.id === "cut viola"`)
	b.Press(strings.Repeat(kb.Backspace, 4), "none", kb.Enter)
	done("low cut of viola", "intake/viola.wav, offset: -0.5}\n",
		"intake/viola.wav, offset: -0.5}\n    low_cut: none\n")
	b.Press(kb.Tab)
	b.Press("p")
	b.Until(`document.getElementById("told").textContent.startsWith("Playing from")`)
	b.Press("]")
	b.Until(`document.getElementById("at-text").textContent.startsWith("measure ")`)
	b.Press("s")
	b.marks()
	run(b, chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Until(`document.getElementById("undo").textContent === "Undo: mute of bassoon"`)
	b.quiet()
}
