package report

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/desk/browser/browsertest"
)

// browser is a headless browser that opens pages which are files.
type browser struct {
	*browsertest.Tab
	t *testing.T
}

// openBrowser starts a browser.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	return &browser{browsertest.Open(t, 2*time.Minute), t}
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
