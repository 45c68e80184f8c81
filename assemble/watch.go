package assemble

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"ripieno/assemble/arrival"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
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
	Role    takes.Role    `json:"role,omitempty"`
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
	folder  arrival.Folder
	ran     string // what the production was made of when the verbs last ran
	pending string // what it is made of now, while that differs
	seen    int    // looks in a row that found pending
	faulty  int    // looks in a row that could not read the manifest
	trouble string // told last
	last    *roll.Snapshot
	faults  []Bad
}

// Watch looks at a production's folder at every tick. A new recording that has
// stopped growing, can be read and is clearly one take's by its name (see
// manifest.TakesFor) is proposed for the manifest, or written into
// it. Whenever the manifest or a file it names has changed and settled, check,
// sync and rough cut run, and tell hears what is different. The production is
// only taken while something is done with it, so other runs are not kept out.
//
// What fails is told and does not end the watch; the end of ctx does, with its
// error. With Once the result holds the faults of the last check.
func Watch(ctx context.Context, set Settings, o WatchOptions, tell func(WatchEvent)) ([]Bad, error) {
	w := &watch{set: set, o: o, tell: tell}
	w.o.Settled = max(2, o.Settled)
	w.folder = arrival.Folder{Out: set.Out, Settled: w.o.Settled}
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, err
	}
	w.set.Dir = man.Dir
	if w.ran, err = arrival.Fingerprint(man); err != nil {
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
	if len(p.Manifest().Takes) == 0 {
		return p.Manifest().NeedTakes()
	}
	if w.last, err = takeSnapshot(ctx, p); err != nil {
		return err
	}
	w.faults = w.last.Roll.Faults
	w.tell(WatchEvent{Event: WatchBegan, Roll: &w.last.Roll})
	return nil
}

// look returns one look at the folder; busy says that something is not settled yet.
func (w *watch) look(ctx context.Context) (busy bool, err error) {
	man, err := manifest.Load(w.set.Dir)
	if err != nil {
		// An editor may be in the middle of writing it.
		if w.faulty++; w.faulty < w.o.Settled {
			return true, ctx.Err()
		}
		w.fail(err)
		return false, ctx.Err()
	}
	w.faulty = 0
	if err := w.folder.Scan(man); err != nil {
		w.fail(err)
		return false, ctx.Err()
	}
	complete, busy := w.folder.Complete()
	for _, path := range complete {
		changed, err := w.arrive(ctx, man, path)
		if err != nil {
			return false, err
		}
		if changed {
			if man, err = manifest.Load(w.set.Dir); err != nil {
				return false, err
			}
		}
	}
	now, err := arrival.Fingerprint(man)
	switch {
	case err != nil:
		w.fail(err)
	case now == w.ran:
		w.pending = ""
	case now != w.pending:
		w.pending, w.seen, busy = now, 1, true
	case w.seen+1 < w.o.Settled || busy:
		w.seen, busy = w.seen+1, true
	default:
		w.ran, w.pending, w.trouble = now, "", ""
		busy = w.folder.Again()
		w.run(ctx)
	}
	return busy, ctx.Err()
}

// arrive deals with a complete file and tells whether the manifest changed.
func (w *watch) arrive(ctx context.Context, man *production.Production, rel string) (changed bool, err error) {
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
		w.tellOnce(rel, e)
		return false, nil
	}
	e.Role = takes.Audio
	if info.Video != nil {
		e.Role = takes.Video
	}
	if e.Take, e.Why, e.Hint = arrival.Match(man, e.File, info.Video != nil); e.Why != "" {
		e.Event = WatchUnclear
		w.tellOnce(rel, e)
		return false, nil
	}
	if err := w.adopt(ctx, man, &e); err != nil {
		w.failWith(e, err)
		return false, ctx.Err()
	}
	w.tellOnce(rel, e)
	return w.o.Adopt, nil
}

// adopt finds the line that an arrival changes, and writes it when it may.
func (w *watch) adopt(ctx context.Context, man *production.Production, e *WatchEvent) error {
	change := func(data []byte) ([]byte, error) {
		adopted, err := manifest.Adopt(data, man, manifest.Arrival{Take: e.Take, Role: e.Role, Path: e.File})
		e.Line, e.Text, e.Adopted = adopted.Line, adopted.Text, w.o.Adopt && err == nil
		return adopted.Data, err
	}
	if w.o.Adopt {
		return session.ChangeManifest(ctx, man, change)
	}
	data, err := os.ReadFile(man.Path)
	if err == nil {
		_, err = change(data)
	}
	return err
}

// tellOnce tells what became of a file unless that was told before.
func (w *watch) tellOnce(path string, e WatchEvent) {
	if w.folder.IsNews(path, fmt.Sprint(e.Event, e.Take, e.Text, e.Why)) {
		w.tell(e)
	}
}

// run checks, places and makes the rough cut.
func (w *watch) run(ctx context.Context) {
	p, err := Open(ctx, w.set)
	if err != nil {
		w.fail(err)
		return
	}
	defer p.Close()
	now, err := takeSnapshot(ctx, p)
	if err != nil {
		w.fail(err)
		return
	}
	e := WatchEvent{Event: WatchFinished, Roll: &now.Roll, Changes: w.last.Changes(now)}
	w.last, w.faults = now, now.Roll.Faults
	rough, err := p.Render(ctx, RenderOptions{Rough: true})
	if err != nil {
		w.tell(e)
		w.fail(err)
		return
	}
	e.Rough = &rough
	w.faults = append(slices.Clone(now.Roll.Faults), roll.Besides(rough.Faults, now.Roll.Faults)...)
	w.tell(e)
}

func (w *watch) fail(err error) { w.failWith(WatchEvent{}, err) }

// failWith tells of a failure, once until the production changes.
func (w *watch) failWith(e WatchEvent, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	e.Event, e.Why = WatchTrouble, err.Error()
	if e.Why == w.trouble {
		return
	}
	w.trouble = e.Why
	var f *fault.Fault
	if errors.As(err, &f) {
		e.Hint = f.Hint
	}
	w.tell(e)
}
