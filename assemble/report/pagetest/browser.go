// Package pagetest opens pages in a real browser, for tests: one browser for all tests of
// a package, and for each a tab with cookies and a memory of its own. A [Tab] remembers
// what its page asks for and complains about; [Tab.Audit] and its neighbours say what of a
// page a person could not see, hear or reach. A package that uses it calls [Close] in its
// TestMain.
package pagetest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
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

// programs are what a browser is called on one system or another.
var programs = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// running is the browser of this process.
var running struct {
	once sync.Once
	ctx  context.Context
	stop func()
	err  error
}

// errNone says that there is no browser.
var errNone = errors.New("no browser; sh cmd/setup.sh --tests installs one")

// find returns the path of a browser; "" for none.
func find() string {
	for _, name := range programs {
		for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
			path := filepath.Join(dir, name)
			if st, err := os.Stat(path); err == nil && st.Mode().IsRegular() && st.Mode()&0o111 != 0 {
				return path
			}
		}
	}
	return ""
}

// start starts the browser of this process. It fails where there is none, with errNone.
func start() error {
	program := find()
	if program == "" {
		return errNone
	}
	dir, err := os.MkdirTemp("", "browser-")
	if err != nil {
		return err
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program), chromedp.DisableGPU, chromedp.UserDataDir(dir),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-domain-reliability", true))
	if os.Getuid() == 0 { // its sandbox refuses to be run by root
		options = append(options, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, end := chromedp.NewContext(alloc)
	running.ctx, running.stop = ctx, func() {
		end()
		stop()
		os.RemoveAll(dir)
	}
	return chromedp.Do(ctx, chromedp.Navigate("about:blank"))
}

// Close ends the browser, if one was started.
func Close() {
	if running.stop != nil {
		running.stop()
	}
}

// Tab is a tab of the browser.
type Tab struct {
	T   *testing.T
	Ctx context.Context // for package chromedp

	mu       sync.Mutex
	requests []string
	messages []string
}

// Open opens an empty tab. Where there is no browser the test is skipped, and fails under
// CI, so that nobody mistakes a run without one for a passing one.
func Open(t *testing.T) *Tab {
	t.Helper()
	running.once.Do(func() { running.err = start() })
	if errors.Is(running.err, errNone) && os.Getenv("CI") == "" {
		t.Skip(running.err)
	}
	if running.err != nil {
		t.Fatal(running.err)
	}
	ctx, end := chromedp.NewContext(running.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(end)
	ctx, cancel := context.WithTimeout(ctx, 8*time.Minute) // a page that hangs must not hang the tests
	t.Cleanup(cancel)
	b := &Tab{T: t, Ctx: ctx}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	Call(b, network.Enable, network.EnableParams{})
	Call(b, log.Enable, cdp.Empty{})
	Call(b, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
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

// Heard returns the addresses that the page asked for and what it complained about, since
// the tab was opened or [Tab.Forget] was called.
func (b *Tab) Heard() (requests, messages []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), b.requests...), append([]string(nil), b.messages...)
}

// Forget forgets what the page asked for and complained about.
func (b *Tab) Forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.requests, b.messages = nil, nil
}

// Call sends a command of the browser's protocol. The test ends when it fails.
func Call[P, R any](b *Tab, cmd cdp.Command[P, R], params P) R {
	b.T.Helper()
	r, err := chromedp.Call(b.Ctx, cmd, params)
	if err != nil {
		b.T.Fatal(err)
	}
	return r
}

// Run runs one action. The test ends when it fails.
func Run[T any](b *Tab, a chromedp.Action[T]) T {
	b.T.Helper()
	v, err := chromedp.Run(b.Ctx, a)
	if err != nil {
		b.T.Fatal(err)
	}
	return v
}

// Eval returns the value of an expression in the page, or of the promise that it is.
func Eval[T any](b *Tab, expression string) T {
	b.T.Helper()
	return Run(b, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// Navigate opens an address.
func (b *Tab) Navigate(address string) {
	b.T.Helper()
	if err := chromedp.Do(b.Ctx, chromedp.Navigate(address)); err != nil {
		b.T.Fatal(err)
	}
}

// Until waits until an expression is true in the page; one that cannot be evaluated is
// not. The test ends when it never is. It looks now and then and not at every frame, which
// would have the browser draw frames all the time.
func (b *Tab) Until(expression string) {
	b.T.Helper()
	const patience = 120_000 // milliseconds; far more than anything takes
	if !Eval[bool](b, fmt.Sprintf(`new Promise((done) => { const end = Date.now() + %d; const look = () => {
		let is = false; try { is = Boolean(%s); } catch {}
		if (is || Date.now() > end) done(is); else setTimeout(look, 20); }; look(); })`, patience, expression)) {
		b.T.Fatalf("it never became true: %s\nthe page says %q", expression, Eval[string](b,
			`[...document.querySelectorAll("[role=status], [role=alert]")].map((e) => e.textContent).join(" | ")`))
	}
}

// ClickAt clicks with the mouse at a share of the width and height of what a selector
// finds, as soon as it is there, lies still and is what the mouse would meet: while a page
// is being drawn, things move away from where they were seen.
func (b *Tab) ClickAt(selector string, x, y float64) {
	b.T.Helper()
	quoted, _ := json.Marshal(selector) // a string can always be written
	b.Until(fmt.Sprintf(`(() => {
		const e = document.querySelector(%s);
		e.scrollIntoView({block: "center"});
		const r = e.getBoundingClientRect(), was = window.clickAt;
		const at = window.clickAt = [r.left + r.width * %v, r.top + r.height * %v];
		const hit = document.elementFromPoint(...at);
		return was?.join() === at.join() && hit && (e.contains(hit) || hit.contains(e));
	})()`, quoted, x, y))
	at := Eval[[]float64](b, `window.clickAt`)
	Run(b, chromedp.MouseClickXY(at[0], at[1]))
}

// Press types keys.
func (b *Tab) Press(keys ...string) {
	b.T.Helper()
	for _, k := range keys {
		Run(b, chromedp.KeyEvent(k))
	}
}

// Media emulates a medium, "screen" or "print", and a light or dark scheme.
func (b *Tab) Media(medium, scheme string) {
	b.T.Helper()
	Call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium,
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}
