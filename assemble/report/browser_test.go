package report

import (
	"context"
	"flag"
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
)

var shots = flag.String("screenshots", "", "keep screenshots of the pages in this folder, to be looked at")

// browser is a headless browser with one tab that remembers what its page
// asked for and complained about.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	requests []string
	messages []string
}

// browserNames are what the program is called on one system or another.
var browserNames = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// openBrowser starts a browser. Where there is none the test is skipped, and
// fails under CI, so that nobody mistakes a run without it for a passing one.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	path := ""
	for _, name := range browserNames {
		if p, err := exec.LookPath(name); err == nil && path == "" {
			path = p
		}
	}
	if path == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no browser; sh cmd/setup.sh --tests installs one")
		}
		t.Skip("no browser; sh cmd/setup.sh --tests installs one")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.DisableGPU,
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-domain-reliability", true),
		chromedp.UserDataDir(t.TempDir()))
	if os.Getuid() == 0 { // its sandbox refuses to be run by root
		options = append(options, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(alloc)
	t.Cleanup(closeTab)
	// A browser that hangs must not hang the tests.
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	call(b, network.Enable, network.EnableParams{})
	call(b, log.Enable, cdp.Empty{})
	return b
}

// hear notes what the page does. It runs between the browser's messages.
func (b *browser) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *network.EventRequestWillBeSent:
		b.requests = append(b.requests, e.Request.URL)
	case *runtime.EventConsoleAPICalled:
		b.messages = append(b.messages, "console: "+string(e.Type))
	case *runtime.EventExceptionThrown:
		b.messages = append(b.messages, "exception: "+e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		b.messages = append(b.messages, "log: "+e.Entry.Text)
	}
}

// call sends a command of the protocol.
func call[P, R any](b *browser, cmd cdp.Command[P, R], params P) R {
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, cmd, params)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

// open writes a page to a file of its own and opens it.
func (b *browser) open(html string) {
	b.t.Helper()
	b.openIn(b.t.TempDir(), html)
}

// openIn is open in a folder where there may be other files.
func (b *browser) openIn(dir, html string) {
	b.t.Helper()
	path := filepath.Join(dir, "page.html")
	if err := os.WriteFile(path, []byte(html), 0o666); err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	b.requests, b.messages = nil, nil
	b.mu.Unlock()
	if err := chromedp.Do(b.ctx, chromedp.Navigate((&url.URL{Scheme: "file", Path: path}).String())); err != nil {
		b.t.Fatal(err)
	}
}

// heard returns what the page asked for besides itself, and what it complained
// about.
func (b *browser) heard() (requests, messages []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, r := range b.requests {
		if i > 0 && !strings.HasPrefix(r, "data:") {
			requests = append(requests, r)
		}
	}
	return requests, b.messages
}

// media emulates a medium, "screen" or "print", and a light or dark scheme.
func (b *browser) media(medium, scheme string) {
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Media: medium, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
}

// run runs one action.
func run[T any](b *browser, a chromedp.Action[T]) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, a)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

// keep writes a picture where a person can look at it.
func keep(t *testing.T, name string, data []byte) {
	t.Helper()
	if *shots == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(*shots, name), data, 0o666); err != nil {
		t.Fatal(err)
	}
}
