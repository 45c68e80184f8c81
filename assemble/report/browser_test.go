package report

import (
	"flag"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"

	"ripieno/assemble/report/pagetest"
)

var shots = flag.String("screenshots", "", "keep screenshots of the pages in this folder, to be looked at")

// TestMain ends the browser.
func TestMain(m *testing.M) {
	code := m.Run()
	pagetest.Close()
	os.Exit(code)
}

// browser is a tab of a browser that shows pages of this package.
type browser struct {
	*pagetest.Tab
	t *testing.T
}

// openBrowser opens a tab; see [pagetest.Open].
func openBrowser(t *testing.T) *browser {
	t.Helper()
	return &browser{pagetest.Open(t), t}
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
	b.Forget()
	b.Navigate((&url.URL{Scheme: "file", Path: path}).String())
}

// heard returns what the page asked for besides itself, and what it complained
// about.
func (b *browser) heard() (requests, messages []string) {
	all, messages := b.Heard()
	for i, r := range all {
		if i > 0 && !strings.HasPrefix(r, "data:") {
			requests = append(requests, r)
		}
	}
	return requests, messages
}

// call sends a command of the protocol.
func call[P, R any](b *browser, cmd cdp.Command[P, R], params P) R {
	b.t.Helper()
	return pagetest.Call(b.Tab, cmd, params)
}

// run runs one action.
func run[T any](b *browser, a chromedp.Action[T]) T {
	b.t.Helper()
	return pagetest.Run(b.Tab, a)
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
