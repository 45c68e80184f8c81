package desk_test

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

var sizes = flag.String("sizes", "", "measure the page with these numbers of takes of five minutes, such as 60,200")

// hearSound has the page note the moment at which what is played begins to be heard: a
// source of its own, or what the thread for sound is told to play.
const hearSound = `(() => {
	const soon = (ctx, when) => { window.sounded ??= performance.now() + 1000 * Math.max(0, when - ctx.currentTime); };
	const start = AudioScheduledSourceNode.prototype.start;
	AudioBufferSourceNode.prototype.start = function (when, ...more) { soon(this.context, when || 0); return start.call(this, when, ...more); };
	const post = MessagePort.prototype.postMessage;
	MessagePort.prototype.postMessage = function (message, ...more) {
		if (message?.what === "play") window.sounded ??= performance.now() + 20; // it says: in 20 ms
		return post.call(this, message, ...more);
	};
	return true; })()`

// TestSizes measures the page; it asserts nothing and runs only when asked for.
func TestSizes(t *testing.T) {
	if *sizes == "" {
		t.Skip("-sizes 60,200 measures the page with so many takes")
	}
	for _, word := range strings.Split(*sizes, ",") {
		n, err := strconv.Atoi(word)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(word, func(t *testing.T) { measureSize(t, n) })
	}
}

// measureSize opens the desk with so many takes and tells what it took.
func measureSize(t *testing.T, n int) {
	dir, work := writeLarge(t, n)
	b := openDeskFor(t, dir, work)
	b.placed()
	// Everything is made: what follows is a page that is opened again.
	if err := chromedp.Do(b.ctx, chromedp.Navigate("http://"+b.host+"/#place")); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(b.ctx, chromedp.Reload()); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d takes: first useful picture after %.0f ms", n, eval[float64](b,
		`new Promise((done) => { const look = () => document.querySelector("#sheet")?.dataset.drawn &&
		document.querySelector("#stills")?.naturalWidth ? done(performance.now()) : requestAnimationFrame(look); look(); })`))
	eval[bool](b, hearSound)
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 1500))`) // a person looks before a key is pressed
	tr := b.startTrace()
	heard := func(what string, does func()) {
		tr.phase(what)
		eval[bool](b, `(window.sounded = window.struck = undefined, ["keydown", "change"].forEach((kind) =>
			addEventListener(kind, () => { window.struck ??= performance.now(); }, { capture: true, once: true })), true)`)
		does()
		b.Until(`window.sounded`)
		t.Logf("%d takes: %s sounds after %.0f ms", n, what, eval[float64](b, `window.sounded - window.struck`))
	}
	sound := func(key string) { heard("key "+key, func() { b.Press(key) }) }
	for _, key := range []string{"c", "k", "a", "o"} {
		sound(key)
	}
	b.Press("s")
	tr.phase("twenty takes on")
	for range 20 {
		b.Press("n")
	}
	tr.phase("the mix is drawn")
	eval[bool](b, `location.hash = "mix", true`)
	b.Until(fmt.Sprintf(`document.querySelectorAll(".strip h3").length === %d && document.getElementById("job").hidden`,
		n))
	tr.phase("idle")
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 1500))`)
	sound("p")
	before := processorOf()
	tr.phase("eight seconds of it")
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 8000))`)
	for kind, after := range processorOf() {
		if took := after - before[kind]; took > 0.1 {
			t.Logf("%d takes: eight seconds take %.2f s of processor of %s", n, took, kind)
		}
	}
	t.Logf("%d takes: it is at %s s", n, eval[string](b, `document.querySelector("#at").value`))
	tr.phase("gains and a mute while it plays")
	b.Press("+", "+", "+", "n", "m")
	sound("]") // a measure of two seconds on, which is there
	sound("[")
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 1000))`)
	heard("a place far away", func() { // of which nothing is decoded
		eval[bool](b, `(() => { const bar = document.querySelector("#at"); bar.value = "200";
			return bar.dispatchEvent(new Event("change", { bubbles: true })); })()`)
	})
	tr.phase("after that")
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 1000))`)
	b.Press("s")
	measureRooms(b, tr, n)
	for _, p := range tr.stop() {
		t.Logf("%d takes: %s", n, p)
	}
	t.Logf("%d takes: %.0f MB of JavaScript, %s MB in the page's process, %s", n,
		eval[float64](b, `performance.memory.usedJSHeapSize / 1e6`), resident(t), load(t))
}

// measureRooms goes through the rooms of the takes and of the picture.
func measureRooms(b *tab, tr *trace, n int) {
	b.t.Helper()
	tr.phase("the takes are drawn")
	eval[bool](b, `location.hash = "takes", true`)
	b.Until(fmt.Sprintf(`document.querySelectorAll(".parts button").length === %d &&
		document.getElementById("letter")`, n))
	tr.phase("twenty of them on, and two verdicts")
	for range 20 {
		b.Press("n")
	}
	b.Press("k", "d")
	b.until(fmt.Sprintf("verdict on player-%d", 20))
	tr.phase("the picture is drawn")
	eval[bool](b, `location.hash = "picture", true`)
	b.Until(fmt.Sprintf(`document.querySelectorAll(".tile").length === %d &&
		[...document.querySelectorAll(".tile img")].every((i) => i.complete)`, 3*n))
	tr.phase("a crop is dragged")
	b.drag("#still", "#still", 40, 0)
	b.until("crop of player-0")
	b.Until(`document.getElementById("job").hidden`)
	tr.phase("ten takes on, and crops by keys")
	for range 10 {
		b.Press("n")
	}
	b.Press(kb.ArrowRight, kb.ArrowRight, "+")
	b.until("crop of player-10")
	tr.phase("four shots on")
	b.Press("]", "]", "]", "]")
	tr.phase("after the picture")
	eval[bool](b, `new Promise((done) => setTimeout(() => done(true), 1000))`)
}

// resident returns the largest memory of a process that draws pages, in MB: its
// proportional set size, in which what several share counts for each in part.
func resident(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("sh", "-c", `for p in $(pgrep -f -- --type=renderer); do `+
		`awk '/^Pss:/ {print int($2/1000)}' /proc/$p/smaps_rollup; done | sort -n | tail -1`).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// load returns how busy the machine is.
func load(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		t.Skip(err)
	}
	return "load " + strings.TrimSpace(string(data))
}
