// Package browsertest opens pages in a headless browser for tests: those that are
// served and those that are files. It remembers what a page asked for and what it
// complained about, so that a test can say that it did neither.
//
// A test that needs a browser is skipped where there is none, unless the environment
// variable CI is set: there a missing browser is a failure, so that nobody mistakes a
// run without it for a passing one.
package browsertest

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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

// names are what the program is called on one system or another.
var names = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// program returns the path of the first browser on the search path, "" for none.
func program() string {
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// Tab is a headless browser with one tab. It may be asked from one goroutine.
type Tab struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	requests []string
	messages []string
}

// Page is a tab or what embeds one.
type Page interface{ Page() *Tab }

// Page implements [Page].
func (b *Tab) Page() *Tab { return b }

// Open starts a browser, which ends with the test or after patience: one that hangs
// must not hang the tests.
func Open(t *testing.T, patience time.Duration) *Tab {
	t.Helper()
	path := program()
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
	ctx, cancel := context.WithTimeout(ctx, patience)
	t.Cleanup(cancel)
	b := &Tab{t: t, ctx: ctx}
	b.Listen(b.hear)
	Call(b, network.Enable, network.EnableParams{})
	Call(b, log.Enable, cdp.Empty{})
	return b
}

// hear notes what the page does. It runs between the browser's messages.
func (b *Tab) hear(ev any) {
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

// Listen calls hear with every event of the tab, between the browser's messages.
func (b *Tab) Listen(hear func(ev any)) {
	b.t.Helper()
	if err := chromedp.Listen(b.ctx, hear); err != nil {
		b.t.Fatal(err)
	}
}

// Heard returns the addresses that the page asked for since it was opened, its own
// first, and what it complained about.
func (b *Tab) Heard() (requests, messages []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.requests), slices.Clone(b.messages)
}

// Navigate forgets what was heard, opens an address and waits until the page is there.
func (b *Tab) Navigate(address string) {
	b.t.Helper()
	b.mu.Lock()
	b.requests, b.messages = nil, nil
	b.mu.Unlock()
	b.Do(chromedp.Navigate(address))
}

// Do runs an action that returns nothing.
func (b *Tab) Do(action chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, action); err != nil {
		b.t.Fatal(err)
	}
}

// Show emulates a medium, "screen" or "print" or "" for what it is, in a "light" or a
// "dark" scheme.
func (b *Tab) Show(medium, scheme string) {
	b.t.Helper()
	Call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Media: medium, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
}

// Shot keeps a picture of the whole page when -screenshots says where.
func (b *Tab) Shot(name string) {
	b.t.Helper()
	if Keeping() {
		Keep(b.t, name, Run(b, chromedp.FullScreenshot(100)))
	}
}

// Keeping reports whether pictures are kept, so that more of them may be worth making.
func Keeping() bool { return *shots != "" }

// Keep writes a picture where a person can look at it, when -screenshots says where.
func Keep(t *testing.T, name string, data []byte) {
	t.Helper()
	if !Keeping() {
		return
	}
	if err := os.WriteFile(filepath.Join(*shots, name), data, 0o666); err != nil {
		t.Fatal(err)
	}
}

// Call sends a command of the browser's protocol and returns its answer.
func Call[P, R any](page Page, cmd cdp.Command[P, R], params P) R {
	b := page.Page()
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, cmd, params)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

// Run runs one action and returns what it found.
func Run[T any](page Page, action chromedp.Action[T]) T {
	b := page.Page()
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, action)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}
