package desk

import (
	"cmp"
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"path"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/remark/kept"
	"ripieno/assemble/report/script"
	"ripieno/assemble/session"
	"ripieno/assemble/strict"
)

// page are the files of the page. They are served as they are.
//
//go:embed page
var page embed.FS

// kinds are the types of the page's files by their endings.
var kinds = map[string]string{".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
	".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

// desk is a running desk.
type desk struct {
	work    Work
	out     string // the folder of outputs
	history *history
	jobs    *jobs
	news    news

	serial  atomic.Uint64
	reading sync.Mutex // films are read one at a time
	known   []film     // those that were read

	mu      sync.Mutex
	seen    string // version of the manifest that pages were told of last
	placing *audition.Placing
	mixing  *audition.Mixing
	looking *audition.Looking
	looked  string
	judging *audition.Judging
	judged  string
	placed  string // what of the manifest these were made of: see placesOf and voicesOf
	mixed   string
	measure *Measured
	heard   string // version that was measured
	strips  map[string][]byte
	busy    chan struct{} // holds one while the program does something: one call runs at a time
}

// newDesk opens the desk of a production whose manifest can be read.
func newDesk(ctx context.Context, o Options) (*desk, error) {
	man, err := manifest.Load(o.Dir)
	if err != nil {
		return nil, err
	}
	d := &desk{work: o.Work, out: cmp.Or(o.Out, filepath.Join(man.Dir, session.OutFolder)),
		history: newHistory(man.Dir, man.Path), strips: map[string][]byte{}, busy: make(chan struct{}, 1)}
	d.jobs = &jobs{ctx: ctx, tell: d.news.tell}
	return d, nil
}

// routes are the addresses of the desk. None of them holds a name of a file.
func (d *desk) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) { servePage(w, "index.html") })
	mux.HandleFunc("GET /page/{file}", func(w http.ResponseWriter, r *http.Request) {
		servePage(w, r.PathValue("file"))
	})
	mux.HandleFunc("GET /api/state", func(w http.ResponseWriter, r *http.Request) { answer(w, d.state()) })
	mux.HandleFunc("GET /api/events", d.events)
	mux.HandleFunc("GET /api/place", d.getPlace)
	mux.HandleFunc("GET /api/mix", d.getMix)
	mux.HandleFunc("GET /api/look", d.getLook)
	mux.HandleFunc("GET /api/sound/{id}", d.getSound)
	mux.HandleFunc("GET /api/voices/{id}", d.getVoices)
	mux.HandleFunc("GET /api/still/{take}", d.getStill)
	mux.HandleFunc("GET /api/strip/{take}", d.getStrip)
	mux.HandleFunc("GET /api/judge", d.getJudge)
	mux.HandleFunc("GET /api/review", d.getReview)
	mux.HandleFunc("GET /api/film/{name}", d.getFilm)
	mux.HandleFunc("POST /api/said", d.postSaid)
	mux.HandleFunc("POST /api/change", d.postChange)
	mux.HandleFunc("POST /api/place", d.postPlace)
	mux.HandleFunc("POST /api/undo", func(w http.ResponseWriter, r *http.Request) { d.postBack(w, r, false) })
	mux.HandleFunc("POST /api/redo", func(w http.ResponseWriter, r *http.Request) { d.postBack(w, r, true) })
	mux.HandleFunc("POST /api/run", d.postRun)
	mux.HandleFunc("POST /api/cancel", func(w http.ResponseWriter, r *http.Request) {
		d.jobs.cancel()
		answer(w, d.state())
	})
	return mux
}

// servePage serves a file of the page by its name, of which there are few.
func servePage(w http.ResponseWriter, name string) {
	kind, ok := kinds[path.Ext(name)]
	data, err := page.ReadFile("page/" + name)
	if name == "copy.js" {
		data, err = []byte(script.CopyModule()), nil
	}
	if err != nil || !ok {
		http.Error(w, "there is no such file", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data)
}

// watch tells pages when somebody else has changed the manifest, until the context
// ends.
func (d *desk) watch(ctx context.Context, tick <-chan time.Time) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick:
		}
		data, err := d.history.read()
		if err != nil {
			continue // an editor may be in the middle of writing it
		}
		now := d.stand(version(data))
		d.mu.Lock()
		changed := d.seen != "" && d.seen != now
		d.seen = now
		d.mu.Unlock()
		if changed {
			d.news.tell()
		}
	}
}

// stand names what the page shows of files, as they are, for a version of the manifest.
func (d *desk) stand(version string) string {
	return version + " " + kept.Version(d.history.man.Dir) + " " + filmStand(d.out)
}

// state is what every room of the page needs to know.
type state struct {
	Serial   uint64    `json:"serial"`  // a later one is newer; answers and events overtake each other
	Version  string    `json:"version"` // of the manifest
	Title    string    `json:"title"`
	Ensemble string    `json:"ensemble"`
	Takes    int       `json:"takes"`
	Undo     string    `json:"undo"` // what would be taken back; "" for nothing
	Redo     string    `json:"redo"`
	Placed   bool      `json:"placed"`             // the takes are placed, and what decides it has not changed
	Mixed    bool      `json:"mixed"`              // the voices of the mix are made, and so on
	Looked   bool      `json:"looked"`             // the picture is planned, and so on
	Judged   bool      `json:"judged"`             // the takes are checked, and so on
	Remarks  string    `json:"remarks"`            // version of what was said
	Films    string    `json:"films"`              // version of the films that are there
	Measured *Measured `json:"measured,omitempty"` // of the version that stands; absent when not known
	Job      *jobState `json:"job,omitempty"`
	Problem  *problem  `json:"problem,omitempty"` // of a manifest that cannot be read now
}

// state returns the state as it is.
func (d *desk) state() state {
	s := state{Serial: d.serial.Add(1)}
	data, err := d.history.read()
	var man *production.Production
	if err == nil {
		s.Version = version(data)
		d.history.tell(s.Version, data)
		man, err = manifest.Parse(d.history.man.Path, data)
	}
	if err != nil {
		p := problemOf(err)
		s.Problem = &p
	} else {
		s.Title, s.Ensemble, s.Takes = man.Title, man.Ensemble, len(man.Takes)
	}
	s.Undo, s.Redo = d.history.next()
	s.Remarks, s.Films = kept.Version(d.history.man.Dir), filmStand(d.out)
	s.Job = d.jobs.state()
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.seen == "" {
		d.seen = d.stand(s.Version)
	}
	if man != nil {
		s.Placed, s.Mixed, s.Looked = d.placed == placesOf(man), d.mixed == voicesOf(man), d.looked == looksOf(man)
		s.Judged = d.judged == judgedOf(man)
	}
	if d.heard == s.Version {
		s.Measured = d.measure
	}
	return s
}

// problem is an error as the page shows it.
type problem struct {
	What  string `json:"what"`
	Hint  string `json:"hint,omitempty"`
	Stale bool   `json:"stale,omitempty"` // the person has to look again first
}

// problemOf returns an error in words.
func problemOf(err error) problem {
	p := problem{What: err.Error(), Stale: errors.Is(err, errStale)}
	var list fault.List
	var f *fault.Fault
	switch {
	case errors.As(err, &list) && len(list) > 0:
		p.What, p.Hint = list[0].Error(), list[0].Hint
	case errors.As(err, &f):
		p.What, p.Hint = f.Error(), f.Hint
	}
	return p
}

// answer sends a value as JSON, with the status that says all went well.
func answer(w http.ResponseWriter, v any) { answerWith(w, http.StatusOK, v) }

// answerWith sends a value with a status.
func answerWith(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(data)
}

// fail sends an error: 409 for one that looking again helps, 413 for a body that is
// too large, 422 for all others.
func fail(w http.ResponseWriter, err error) {
	var large *http.MaxBytesError
	switch {
	case errors.Is(err, errStale):
		answerWith(w, http.StatusConflict, problemOf(err))
	case errors.As(err, &large):
		http.Error(w, "the request is too large", http.StatusRequestEntityTooLarge)
	default:
		answerWith(w, http.StatusUnprocessableEntity, problemOf(err))
	}
}

// read reads the one JSON value of a request.
func read(r *http.Request, into any) error {
	if err := strict.Read(r.Body, into); err != nil {
		return fmt.Errorf("the request cannot be read: %w", err)
	}
	return nil
}

// postChange writes decisions into the manifest.
func (d *desk) postChange(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Version string     `json:"version"`
		What    string     `json:"what"` // in words, for undo
		Changes []decision `json:"changes"`
	}
	err := read(r, &in)
	var changes []manifest.Change
	if err == nil {
		changes, err = changesOf(in.Changes)
	}
	if err == nil {
		err = d.history.change(r.Context(), in.Version, in.What, about(changes), func(data []byte) ([]byte, error) {
			return manifest.Apply(data, d.history.man, changes)
		})
	}
	d.changed(w, err)
}

// postPlace writes where a recording lies into the manifest.
func (d *desk) postPlace(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Version string `json:"version"`
		place
	}
	err := read(r, &in)
	if err == nil {
		err = d.history.change(r.Context(), in.Version, "the place of "+in.Take, in.about(),
			func(data []byte) ([]byte, error) {
				return in.write(data, d.history.man.Path)
			})
	}
	d.changed(w, err)
}

// postBack takes a change back, or makes it again.
func (d *desk) postBack(w http.ResponseWriter, r *http.Request, forth bool) {
	d.changed(w, d.history.back(r.Context(), forth))
}

// changed answers with the state after a change, or with what was wrong with it.
func (d *desk) changed(w http.ResponseWriter, err error) {
	if err != nil {
		fail(w, err)
		return
	}
	now := d.state()
	d.mu.Lock()
	d.seen = d.stand(now.Version)
	d.mu.Unlock()
	d.news.tell()
	answer(w, now)
}
