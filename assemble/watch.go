package assemble

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
)

// WatchOptions set up Watch.
type WatchOptions struct {
	// Adopt writes arrivals whose take is clear into the manifest. Without it
	// they are only proposed.
	Adopt bool
	// Once ends the watch as soon as everything that lies there is dealt with.
	Once bool
	// Settled is how many looks in a row must find a file unchanged before it
	// counts as complete; less than 2 is 2.
	Settled int
	// Tick tells when to look again. The watch ends when it is closed.
	Tick <-chan time.Time
}

// Kinds of WatchEvent.
const (
	WatchBegan    = "began"    // the roll as it is
	WatchArrived  = "arrived"  // a file that is complete, and whose it is
	WatchUnclear  = "unclear"  // a file nobody can be found for
	WatchWaiting  = "waiting"  // a file that cannot be read yet
	WatchFinished = "finished" // check, sync and rough cut after a change
	WatchTrouble  = "trouble"  // something failed; the watch goes on
)

// WatchEvent is one thing a watch has to tell.
type WatchEvent struct {
	Event   string        `json:"event"`
	File    string        `json:"file,omitempty"` // relative to the production's folder
	Take    string        `json:"take,omitempty"` // whose it is
	Role    string        `json:"role,omitempty"`
	Line    int           `json:"line,omitempty"` // of the manifest
	Text    string        `json:"text,omitempty"` // that line as it has to read
	Adopted bool          `json:"adopted,omitempty"`
	Why     string        `json:"why,omitempty"` // of unclear, waiting and trouble
	Hint    string        `json:"hint,omitempty"`
	Roll    *RollResult   `json:"roll,omitempty"`
	Changes []string      `json:"changes,omitempty"` // in words, since the last event with a roll
	Rough   *RenderResult `json:"rough,omitempty"`
}

// watch is a running Watch.
type watch struct {
	set     Settings
	o       WatchOptions
	tell    func(WatchEvent)
	files   map[string]*watched // by path relative to the folder
	ran     string              // what the production was made of when the verbs last ran
	pending string              // what it is made of now, while that differs
	seen    int                 // looks in a row that found pending
	faulty  int                 // looks in a row that could not read the manifest
	sorrow  string              // the trouble told last
	last    *snapshot
	faults  []Bad
}

// watched is what is known of one file.
type watched struct {
	size    int64
	mtime   time.Time
	settled int  // looks in a row that found it like this
	done    bool // dealt with until it or the manifest changes
	said    string
}

// Watch looks at a production's folder at every tick. A new recording that has
// stopped growing, can be read and is clearly one take's by its name (see
// manifest.Production.TakesFor) is proposed for the manifest, or written into
// it. Whenever the manifest or a file it names has changed and settled, check,
// sync and rough cut run, and tell hears what is different. The production is
// only taken while something is done with it, so other runs are not kept out.
//
// What fails is told and does not end the watch; the end of ctx does, with its
// error. With Once the result holds the faults of the last check.
func Watch(ctx context.Context, set Settings, o WatchOptions, tell func(WatchEvent)) ([]Bad, error) {
	w := &watch{set: set, o: o, tell: tell, files: map[string]*watched{}}
	w.o.Settled = max(2, o.Settled)
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, err
	}
	w.set.Dir = man.Dir
	if w.ran, err = w.fingerprint(man); err != nil {
		return nil, err
	}
	if err := w.begin(ctx); err != nil {
		return nil, err
	}
	for {
		busy, err := w.look(ctx)
		if err != nil || w.o.Once && !busy {
			return w.faults, err
		}
		select {
		case <-ctx.Done():
			return w.faults, ctx.Err()
		case _, open := <-w.o.Tick:
			if !open {
				return w.faults, nil
			}
		}
	}
}

// begin calls the roll, which everything that changes is held against.
func (w *watch) begin(ctx context.Context) error {
	p, err := Open(ctx, w.set)
	if err != nil {
		return err
	}
	defer p.Close()
	if len(p.man.Takes) == 0 {
		return p.man.NeedTakes()
	}
	if w.last, err = p.snapshot(ctx); err != nil {
		return err
	}
	w.faults = w.last.roll.Faults
	w.tell(WatchEvent{Event: WatchBegan, Roll: &w.last.roll})
	return nil
}

// look is one look at the folder; busy says that something is not settled yet.
func (w *watch) look(ctx context.Context) (busy bool, err error) {
	man, err := manifest.Load(w.set.Dir)
	if err != nil {
		// An editor may be in the middle of writing it.
		if w.faulty++; w.faulty < w.o.Settled {
			return true, ctx.Err()
		}
		w.trouble(err)
		return false, ctx.Err()
	}
	w.faulty = 0
	if err := w.scan(man); err != nil {
		w.trouble(err)
		return false, ctx.Err()
	}
	for _, path := range slices.Sorted(maps.Keys(w.files)) {
		f := w.files[path]
		switch {
		case f.done:
		case f.settled < w.o.Settled:
			busy = true
		default:
			f.done = true
			changed, err := w.arrive(ctx, man, path, f)
			if err != nil {
				return false, err
			}
			if changed {
				if man, err = manifest.Load(w.set.Dir); err != nil {
					return false, err
				}
			}
		}
	}
	now, err := w.fingerprint(man)
	switch {
	case err != nil:
		w.trouble(err)
	case now == w.ran:
		w.pending = ""
	case now != w.pending:
		w.pending, w.seen, busy = now, 1, true
	case w.seen+1 < w.o.Settled || busy:
		w.seen, busy = w.seen+1, true
	default:
		w.ran, w.pending, w.sorrow = now, "", ""
		for _, f := range w.files {
			f.done = false // there may be a place for it now
		}
		w.run(ctx)
		busy = len(w.files) > 0
	}
	return busy, ctx.Err()
}

// scan notes the recordings that the manifest does not name.
func (w *watch) scan(man *manifest.Production) error {
	named := map[string]bool{}
	for _, f := range filesOf(man) {
		named[filepath.Clean(f)] = true
	}
	seen := map[string]bool{}
	err := walkRecordings(man.Dir, w.set.Out, func(rel string, info fs.FileInfo) {
		if named[rel] || info.Size() == 0 {
			return
		}
		seen[rel] = true
		f := w.files[rel]
		if f == nil || f.size != info.Size() || !f.mtime.Equal(info.ModTime()) {
			w.files[rel] = &watched{size: info.Size(), mtime: info.ModTime(), settled: 1}
			return
		}
		f.settled++
	})
	maps.DeleteFunc(w.files, func(rel string, _ *watched) bool { return !seen[rel] })
	return err
}

// fingerprint is what the production is made of: the manifest's bytes and the
// sizes and times of the files it names.
func (w *watch) fingerprint(man *manifest.Production) (string, error) {
	data, err := os.ReadFile(man.Path)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.Write(data)
	for _, f := range filesOf(man) {
		if info, err := os.Stat(filepath.Join(man.Dir, f)); err == nil {
			fmt.Fprintf(&b, "\x00%s %d %d", f, info.Size(), info.ModTime().UnixNano())
		}
	}
	return b.String(), nil
}

// arrive deals with a complete file and tells whether the manifest changed.
func (w *watch) arrive(ctx context.Context, man *manifest.Production, rel string, f *watched) (changed bool, err error) {
	e := WatchEvent{Event: WatchArrived, File: filepath.ToSlash(rel)}
	tool, err := w.set.Programs.Find(ctx)
	if err != nil {
		return false, err
	}
	abs, err := media.Resolve(man.Dir, rel)
	var info media.Info
	if err == nil {
		info, err = media.Probe(ctx, tool, abs)
	}
	if ctx.Err() != nil {
		return false, ctx.Err()
	}
	if err != nil {
		e.Event, e.Why, e.Hint = WatchWaiting, err.Error(), "it is looked at again when it changes"
		w.tellOnce(f, e)
		return false, nil
	}
	e.Role = roleAudio
	if info.Video != nil {
		e.Role = roleVideo
	}
	if !w.match(man, &e) {
		w.tellOnce(f, e)
		return false, nil
	}
	data, err := os.ReadFile(man.Path)
	if err != nil {
		return false, err
	}
	adopted, err := manifest.Adopt(data, man, manifest.Arrival{Take: e.Take, Role: e.Role, Path: e.File})
	if err != nil {
		w.troubleWith(e, err)
		return false, nil
	}
	e.Line, e.Text, e.Adopted = adopted.Line, adopted.Text, w.o.Adopt
	if w.o.Adopt {
		if err := rewriteManifest(ctx, man.Path, adopted.Data); err != nil {
			w.troubleWith(e, err)
			return false, ctx.Err()
		}
	}
	w.tellOnce(f, e)
	return w.o.Adopt, nil
}

// tellOnce tells what became of a file unless that was told before.
func (w *watch) tellOnce(f *watched, e WatchEvent) {
	if said := fmt.Sprint(e.Event, e.Take, e.Text, e.Why); said != f.said {
		f.said = said
		w.tell(e)
	}
}

// match finds the take of an arrival, or says why it cannot.
func (w *watch) match(man *manifest.Production, e *WatchEvent) bool {
	names := man.TakesFor(e.File)
	var waiting []string
	for _, t := range man.Takes {
		if t.Expected {
			waiting = append(waiting, t.Name)
		}
	}
	e.Hint = "write the file into the manifest where it belongs, or give it the take's name"
	switch len(names) {
	case 0:
		e.Event, e.Why = WatchUnclear, fmt.Sprintf("no take, player or part is called like that; takes still to come: %q", waiting)
		return false
	case 1:
	default:
		e.Event, e.Why = WatchUnclear, fmt.Sprintf("it could be of any of %q", names)
		return false
	}
	e.Take = names[0]
	for _, t := range man.Takes {
		if t.Name == e.Take && (e.Role == roleVideo && t.Video != nil || e.Role == roleAudio && t.Audio != nil) {
			e.Event, e.Why = WatchUnclear, fmt.Sprintf("take %q has a %s already", e.Take, e.Role)
			e.Hint = "if this is a better one, write its name in place of the other's"
			return false
		}
	}
	e.Hint = ""
	return true
}

// run checks, places and makes the rough cut.
func (w *watch) run(ctx context.Context) {
	p, err := Open(ctx, w.set)
	if err != nil {
		w.trouble(err)
		return
	}
	defer p.Close()
	now, err := p.snapshot(ctx)
	if err != nil {
		w.trouble(err)
		return
	}
	e := WatchEvent{Event: WatchFinished, Roll: &now.roll, Changes: w.last.changes(now)}
	w.last, w.faults = now, now.roll.Faults
	rough, err := p.Render(ctx, RenderOptions{Rough: true})
	if err != nil {
		w.tell(e)
		w.trouble(err)
		return
	}
	e.Rough = &rough
	w.faults = append(slices.Clone(now.roll.Faults), unlike(rough.Faults, now.roll.Faults)...)
	w.tell(e)
}

// unlike is the faults of list about takes of which known says nothing.
func unlike(list, known []Bad) []Bad {
	var rest []Bad
	for _, b := range list {
		if !slices.ContainsFunc(known, func(k Bad) bool { return k.Take == b.Take }) {
			rest = append(rest, b)
		}
	}
	return rest
}

func (w *watch) trouble(err error) { w.troubleWith(WatchEvent{}, err) }

// troubleWith tells of a failure, once until the production changes.
func (w *watch) troubleWith(e WatchEvent, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	e.Event, e.Why = WatchTrouble, err.Error()
	if e.Why == w.sorrow {
		return
	}
	w.sorrow = e.Why
	var f *fault.Fault
	if errors.As(err, &f) {
		e.Hint = f.Hint
	}
	w.tell(e)
}
