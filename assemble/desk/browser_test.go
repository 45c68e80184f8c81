package desk_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"ripieno/assemble"
	"ripieno/assemble/desk"
	"ripieno/assemble/progress"
)

var shots = flag.String("screenshots", "", "keep screenshots of the desk in this folder, to be looked at")

// browserNames are what the program is called on one system or another.
var browserNames = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// tab is a browser's tab with a desk in it. It remembers what the page asked for and
// complained about.
type tab struct {
	t    *testing.T
	ctx  context.Context
	host string // of the desk
	path string // of the manifest
	tick chan time.Time

	mu       sync.Mutex
	requests []string
	messages []string
}

// openDesk serves the desk of the production in dir and opens it in a browser. Where
// there is none the test is skipped, and fails under CI.
func openDesk(t *testing.T, dir string) *tab {
	t.Helper()
	return openDeskFor(t, dir, assemble.DeskWork(assemble.Settings{Dir: dir, Workers: 2,
		Report: progress.New(nil, progress.Quiet)}))
}

// openDeskFor is openDesk with work of the test's own.
func openDeskFor(t *testing.T, dir string, work desk.Work) *tab {
	t.Helper()
	program := ""
	for _, name := range browserNames {
		if p, err := exec.LookPath(name); err == nil && program == "" {
			program = p
		}
	}
	if program == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no browser; sh cmd/setup.sh --tests installs one")
		}
		t.Skip("no browser; sh cmd/setup.sh --tests installs one")
	}
	b := &tab{t: t, path: filepath.Join(dir, "production.yaml"), tick: make(chan time.Time)}
	address := b.serve(dir, work)
	at, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	b.host = at.Host
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program), chromedp.DisableGPU,
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-domain-reliability", true),
		chromedp.UserDataDir(t.TempDir()))
	if os.Getuid() == 0 { // its sandbox refuses to be run by root
		options = append(options, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(alloc)
	t.Cleanup(closeTab)
	ctx, cancel := context.WithTimeout(ctx, 8*time.Minute) // a browser that hangs must not hang the tests
	t.Cleanup(cancel)
	b.ctx = ctx
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	call(b, network.Enable, network.EnableParams{})
	call(b, log.Enable, cdp.Empty{})
	run(b, chromedp.EmulateViewport(1280, 1000))
	call(b, network.SetCookie, network.SetCookieParams{Name: "ripieno-tour", Value: "seen", Domain: "127.0.0.1"})
	if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
		t.Fatal(err)
	}
	return b
}

// serve serves a desk until the test ends and returns its address.
func (b *tab) serve(dir string, work desk.Work) string {
	b.t.Helper()
	ctx, stop := context.WithCancel(b.t.Context())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- desk.Serve(ctx, desk.Options{Dir: dir, Work: work, Tick: b.tick,
			Ready: func(a string) { ready <- a }})
	}()
	b.t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			b.t.Errorf("the desk ended with %v", err)
		}
	})
	select {
	case address := <-ready:
		return address
	case err := <-ended:
		ended <- nil
		b.t.Fatal(err)
	}
	return ""
}

// hear notes what the page does. It runs between the browser's messages.
func (b *tab) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *network.EventRequestWillBeSent:
		b.requests = append(b.requests, e.Request.URL)
	case *runtime.EventConsoleAPICalled:
		b.messages = append(b.messages, "console: "+string(e.Type))
	case *runtime.EventExceptionThrown:
		b.messages = append(b.messages, fmt.Sprintf("exception: %s %s", e.ExceptionDetails.Text,
			e.ExceptionDetails.URL))
	case *log.EventEntryAdded:
		b.messages = append(b.messages, "log: "+e.Entry.Text+" "+e.Entry.URL)
	}
}

// quiet checks that the page asked for nothing but its desk and complained about
// nothing.
func (b *tab) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.requests) < 5 {
		b.t.Errorf("only %d requests were seen", len(b.requests))
	}
	for _, r := range b.requests {
		if at, err := url.Parse(r); err != nil || at.Host != b.host {
			b.t.Errorf("the page asked for %s", r)
		}
	}
	for _, m := range b.messages {
		b.t.Errorf("the page said %s", m)
	}
}

// call sends a command of the protocol.
func call[P, R any](b *tab, cmd cdp.Command[P, R], params P) R {
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, cmd, params)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

// run runs one action.
func run[T any](b *tab, a chromedp.Action[T]) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, a)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

// eval returns the value of an expression in the page.
func eval[T any](b *tab, expression string) T {
	b.t.Helper()
	return run(b, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// until waits until an expression is true in the page.
func (b *tab) until(expression string) {
	b.t.Helper()
	const patience = 120_000 // milliseconds; far more than anything takes
	ok := eval[bool](b, fmt.Sprintf(`new Promise((done) => { const end = Date.now() + %d; const look = () => {
		let is = false; try { is = Boolean(%s); } catch {}
		if (is || Date.now() > end) done(is); else requestAnimationFrame(look); }; look(); })`, patience, expression))
	if !ok {
		b.t.Fatalf("it never became true: %s\nthe page says %q, %q", expression,
			eval[string](b, `document.getElementById('told').textContent`),
			eval[string](b, `document.getElementById('problem').textContent`))
	}
}

// click clicks with the mouse into the middle of what a selector finds.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.clickAt(selector, 0.5, 0.5)
}

// clickAt clicks with the mouse at a share of the width and height of an element.
func (b *tab) clickAt(selector string, x, y float64) {
	b.t.Helper()
	quoted, _ := json.Marshal(selector)
	b.until(fmt.Sprintf("document.querySelector(%s)", quoted))
	at := eval[[]float64](b,
		fmt.Sprintf(`(() => { const e = document.querySelector(%s); e.scrollIntoView({block: "center"});
		const r = e.getBoundingClientRect(); return [r.left + r.width * %v, r.top + r.height * %v]; })()`, quoted, x, y))
	run(b, chromedp.MouseClickXY(at[0], at[1]))
}

// press types keys.
func (b *tab) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		run(b, chromedp.KeyEvent(k))
	}
}

// scheme shows the page in light or dark.
func (b *tab) scheme(name string) {
	b.t.Helper()
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}},
	})
}

// shot keeps a picture of the page when asked to.
func (b *tab) shot(name string) {
	b.t.Helper()
	if *shots == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(*shots, name), run(b, chromedp.FullScreenshot(100)), 0o666); err != nil {
		b.t.Fatal(err)
	}
}

// manifest returns the file as it is.
func (b *tab) manifest() string {
	b.t.Helper()
	data, err := os.ReadFile(b.path)
	if err != nil {
		b.t.Fatal(err)
	}
	return string(data)
}

// expect holds the manifest against what it has to be, byte for byte.
func (b *tab) expect(when, want string) {
	b.t.Helper()
	if got := b.manifest(); got != want {
		b.t.Errorf("%s the manifest is\n%s\nwant\n%s\nfirst difference at %q", when, got, want, difference(got, want))
	}
}

// difference returns what follows the first byte in which texts differ.
func difference(a, b string) string {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	rest, _, _ := strings.Cut(a[i:], "\n")
	return rest
}
