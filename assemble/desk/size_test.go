package desk_test

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"ripieno/assemble/desk"
	"ripieno/assemble/desk/audition"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

var sizes = flag.String("sizes", "", "measure the page with these numbers of takes of five minutes, such as 60,200")

// large is the work of a desk with many takes, all of which are one file: what is
// measured is the page and what it fetches, with everything made.
type large struct {
	man     *production.Production
	paths   []string
	proxies []string
	still   []byte
}

func (l *large) Place(context.Context, progress.Reporter) (*audition.Placing, error) {
	music, err := audition.MusicOf(l.man)
	if err != nil {
		return nil, err
	}
	p := &audition.Placing{Beats: music.Beats, Start: music.Start, End: music.End, FPS: 30, Faults: []takes.Fault{},
		Places: []audition.Window{{Title: "the clap", At: 4}, {Title: "measure 1", At: music.Start},
			{Title: "measure 75", At: 156}}}
	if p.Guide, err = p.Open(l.paths[0], true, 0); err != nil {
		return nil, err
	}
	for i, t := range l.man.Takes {
		s, err := p.Open(l.paths[i], true, 0)
		if err != nil {
			return nil, err
		}
		one := audition.PlacedTake{Player: t.Player, Part: t.Part, Sound: &s, Picture: true,
			Asks: "clap at 4.00 s (60 %) or 2.00 s (40 %)"}
		one.Name, one.Role, one.File, one.Sure = t.Name, string(production.Audio), t.Name+".wav", i%10 > 0
		one.Candidates = []takes.Candidate{}
		if one.Sure {
			one.Asks = ""
		}
		p.Takes = append(p.Takes, one)
	}
	return p, nil
}

func (l *large) Strip(context.Context, *audition.Placing, string, float64) ([]byte, error) {
	return l.still, nil
}

func (l *large) Mix(context.Context, progress.Reporter) (*audition.Mixing, error) {
	music, err := audition.MusicOf(l.man)
	if err != nil {
		return nil, err
	}
	m := &audition.Mixing{Start: music.Zero, Length: music.End - music.Zero, Target: -16, Beats: music.Beats,
		Hall:     []audition.Sound{},
		Sections: []audition.Section{}, Strips: []audition.Strip{}}
	for i, t := range l.man.Takes {
		s, err := audition.OpenVoice(l.proxies[i], 0, 300*audio.Rate)
		if err != nil {
			return nil, err
		}
		loud := -20.0
		m.Strips = append(m.Strips, audition.Strip{Take: t.Name, Player: t.Player, Part: t.Part, Law: "power",
			Width: 1, Sound: &s, Loudness: &loud, Lifts: []audition.Lift{}})
	}
	m.ID = m.Identify()
	return m, nil
}

func (l *large) Look(context.Context, progress.Reporter) (*audition.Looking, error) {
	return nil, os.ErrInvalid
}
func (l *large) Judge(context.Context, progress.Reporter) (*audition.Judging, error) {
	return nil, os.ErrInvalid
}
func (l *large) Make(context.Context, string, progress.Reporter) (string, error) {
	return "", os.ErrInvalid
}
func (l *large) Measure(context.Context, progress.Reporter) (desk.Measured, error) {
	return desk.Measured{}, os.ErrInvalid
}

// writeLarge writes a production of so many takes and the one file that all of them are.
func writeLarge(t *testing.T, takes int) (string, *large) {
	t.Helper()
	dir := t.TempDir()
	var text strings.Builder
	text.WriteString("version: 1\ntitle: The Long Round\ntempo:\n  count_in: {measures: 4}\n" +
		"  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 146\ntakes:\n")
	for i := range takes {
		fmt.Fprintf(&text, "  - {name: player-%d, player: Player Number %d, part: Part %d, expected: true}\n", i, i,
			i%12)
	}
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	man, err := manifest.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	wave := make([]float64, 300*audio.Rate)
	for i := range wave {
		wave[i] = 0.1 * math.Sin(float64(i)*0.05) * math.Exp(-math.Mod(float64(i), 24000)/8000)
	}
	first := filepath.Join(dir, "take.wav")
	if _, err := media.CreateWAV(t.Context(), first, audio.NewMemory(audio.Block{wave}, audio.Rate),
		media.Float32); err != nil {
		t.Fatal(err)
	}
	small := filepath.Join(dir, "take.aac")
	cmd, err := graph.Proxy("file:"+first, 1, "file:"+small)
	if err == nil {
		err = ffmpegtest.Tool(t).RunGraph(t.Context(), cmd, small, 0, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	l := &large{man: man}
	for i := range takes {
		path := filepath.Join(dir, fmt.Sprintf("take-%d", i))
		if err := errors.Join(os.Link(first, path+".wav"), os.Link(small, path+".aac")); err != nil {
			t.Fatal(err)
		}
		l.paths, l.proxies = append(l.paths, path+".wav"), append(l.proxies, path+".aac")
	}
	var still bytes.Buffer
	if err := jpeg.Encode(&still, image.NewRGBA(image.Rect(0, 0, 1000, 112)), nil); err != nil {
		t.Fatal(err)
	}
	l.still = still.Bytes()
	return dir, l
}

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
	for _, p := range tr.stop() {
		t.Logf("%d takes: %s", n, p)
	}
	t.Logf("%d takes: %.0f MB of JavaScript, %s MB in the page's process, %s", n,
		eval[float64](b, `performance.memory.usedJSHeapSize / 1e6`), resident(t), load(t))
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
