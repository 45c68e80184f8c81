package desk_test

import (
	"context"
	"flag"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"ripieno/assemble"
	"ripieno/assemble/desk"
	"ripieno/assemble/progress"
	"ripieno/assemble/report/pagetest"
)

var shots = flag.String("screenshots", "", "keep screenshots of the desk in this folder, to be looked at")

// tab is a browser's tab with a desk in it.
type tab struct {
	*pagetest.Tab
	t    *testing.T
	ctx  context.Context // that of the tab
	host string          // of the desk
	path string          // of the manifest
	tick chan time.Time
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
	b := &tab{Tab: pagetest.Open(t), t: t, path: filepath.Join(dir, "production.yaml"), tick: make(chan time.Time)}
	b.ctx = b.Ctx
	address := b.serve(dir, work)
	at, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	b.host = at.Host
	run(b, chromedp.EmulateViewport(1280, 1000))
	call(b, network.SetCookie, network.SetCookieParams{Name: "ripieno-tour", Value: "seen", Domain: "127.0.0.1"})
	b.Navigate(address)
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

// quiet checks that the page asked for nothing but its desk and complained about
// nothing.
func (b *tab) quiet() {
	b.t.Helper()
	requests, messages := b.Heard()
	if len(requests) < 5 {
		b.t.Errorf("only %d requests were seen", len(requests))
	}
	for _, r := range requests {
		if at, err := url.Parse(r); err != nil || at.Host != b.host {
			b.t.Errorf("the page asked for %s", r)
		}
	}
	for _, m := range messages {
		b.t.Errorf("the page said %s", m)
	}
}

// call sends a command of the protocol.
func call[P, R any](b *tab, cmd cdp.Command[P, R], params P) R {
	b.t.Helper()
	return pagetest.Call(b.Tab, cmd, params)
}

// run runs one action.
func run[T any](b *tab, a chromedp.Action[T]) T {
	b.t.Helper()
	return pagetest.Run(b.Tab, a)
}

// eval returns the value of an expression in the page.
func eval[T any](b *tab, expression string) T {
	b.t.Helper()
	return pagetest.Eval[T](b.Tab, expression)
}

// click clicks with the mouse into the middle of what a selector finds.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.ClickAt(selector, 0.5, 0.5)
}

// scheme shows the page in light or dark.
func (b *tab) scheme(name string) {
	b.t.Helper()
	b.Media("", name)
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
