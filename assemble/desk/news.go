package desk

import (
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// news tells all open pages that something has changed. What it is they ask for by
// themselves, so that nothing is lost when a page is slow.
type news struct {
	mu    sync.Mutex
	pages map[chan struct{}]bool
}

// tell wakes every page that waits for news, and waits for none of them: a page that has not
// read the last news yet will read all of it at once.
func (n *news) tell() {
	n.mu.Lock()
	defer n.mu.Unlock()
	for page := range n.pages {
		select {
		case page <- struct{}{}:
		default: // it is awake already
		}
	}
}

// listen returns a page's wake-up and how to end it.
func (n *news) listen() (wake <-chan struct{}, stop func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	page := make(chan struct{}, 1)
	if n.pages == nil {
		n.pages = map[chan struct{}]bool{}
	}
	n.pages[page] = true
	return page, func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		delete(n.pages, page)
	}
}

// calm is how long a page is left alone after it was told something: work that
// advances tells it a hundred times a second.
const calm = 150 * time.Millisecond

// events sends the state of the desk whenever it changes, as server-sent events
// (HTML standard, 9.2).
func (d *desk) events(w http.ResponseWriter, r *http.Request) {
	wake, stop := d.news.listen()
	defer stop()
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	for {
		data, err := json.Marshal(d.state())
		if err != nil {
			return
		}
		if _, err := fmt.Fprintf(w, "data: %s\n\n", data); err != nil || out.Flush() != nil {
			return
		}
		pause := time.NewTimer(calm)
		select {
		case <-r.Context().Done():
			pause.Stop()
			return
		case <-pause.C:
		}
		select {
		case <-r.Context().Done():
			return
		case <-wake:
		}
	}
}
