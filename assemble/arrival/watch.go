package arrival

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
)

// Options set up Watch.
type Options struct {
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

// Kinds of [Event].
const (
	Began    = "began"    // the roll as it is
	Arrived  = "arrived"  // a file that is complete, and whose it is
	Unclear  = "unclear"  // a file nobody can be found for
	Strayed  = "strayed"  // a recording among the outputs; see [Astray]
	Waiting  = "waiting"  // a file that cannot be read yet
	Finished = "finished" // check, sync and rough cut after a change
	Trouble  = "trouble"  // something failed; the watch goes on
)

// Event is one thing a watch has to tell. R is what a rough cut returns.
type Event[R any] struct {
	Event   string     `json:"event"`
	File    string     `json:"file,omitempty"` // relative to the production's folder
	Take    string     `json:"take,omitempty"` // whose it is
	Role    takes.Role `json:"role,omitempty"`
	Line    int        `json:"line,omitempty"` // of the manifest
	Text    string     `json:"text,omitempty"` // that line as it has to read
	Adopted bool       `json:"adopted,omitempty"`
	Why     string     `json:"why,omitempty"` // of unclear, strayed, waiting and trouble
	Hint    string     `json:"hint,omitempty"`
	Roll    *roll.Roll `json:"roll,omitempty"`
	Changes []string   `json:"changes,omitempty"` // in words, since the last event with a roll
	Rough   *R         `json:"rough,omitempty"`
}

// Rounds is what a watch does with the production, which it takes for each by itself.
type Rounds[R any] struct {
	// Begin calls the roll and places what is there.
	Begin func(ctx context.Context, set session.Settings) (*roll.Snapshot, error)
	// Run does that too, tells it, and makes the rough cut, with the faults of that.
	Run func(ctx context.Context, set session.Settings, tell func(now *roll.Snapshot)) (R, []takes.Fault, error)
}

// watch is a running [Watch].
type watch[R any] struct {
	set     session.Settings
	rounds  Rounds[R]
	o       Options
	tell    func(Event[R])
	folder  Folder
	ran     string // what the production was made of when the verbs last ran
	pending string // what it is made of now, while that differs
	seen    int    // looks in a row that found pending
	faulty  int    // looks in a row that could not read the manifest
	trouble string // told last
	last    *roll.Snapshot
	astray  []string // told of among the outputs
	faults  []takes.Fault
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
func Watch[R any](ctx context.Context, set session.Settings, o Options, rounds Rounds[R],
	tell func(Event[R])) ([]takes.Fault, error) {
	w := &watch[R]{set: set, o: o, rounds: rounds, tell: tell}
	w.o.Settled = max(2, o.Settled)
	w.folder = Folder{Out: set.Out, Settled: w.o.Settled}
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, err
	}
	w.set.Dir = man.Dir
	if w.ran, err = Fingerprint(man); err != nil {
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
func (w *watch[R]) begin(ctx context.Context) (err error) {
	if w.last, err = w.rounds.Begin(ctx, w.set); err != nil {
		return err
	}
	w.faults = w.last.Roll.Faults
	w.tell(Event[R]{Event: Began, Roll: &w.last.Roll})
	return nil
}

// look returns one look at the folder; busy says that something is not settled yet.
func (w *watch[R]) look(ctx context.Context) (busy bool, err error) {
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
	w.tellAstray(man)
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
	now, err := Fingerprint(man)
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
func (w *watch[R]) arrive(ctx context.Context, man *production.Production, rel string) (changed bool, err error) {
	e := Event[R]{Event: Arrived, File: filepath.ToSlash(rel)}
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
		e.Event, e.Why, e.Hint = Waiting, err.Error(), "it is looked at again when it changes"
		w.tellOnce(rel, e)
		return false, nil
	}
	e.Role = takes.Audio
	if info.Video != nil {
		e.Role = takes.Video
	}
	if e.Take, e.Why, e.Hint = Match(man, e.File, info.Video != nil); e.Why != "" {
		e.Event = Unclear
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
func (w *watch[R]) adopt(ctx context.Context, man *production.Production, e *Event[R]) error {
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

// tellAstray tells of recordings that lie among the outputs, of each once.
func (w *watch[R]) tellAstray(man *production.Production) {
	for _, path := range Astray(man, w.set.Out) {
		if !slices.Contains(w.astray, path) {
			w.astray = append(w.astray, path)
			w.tell(Event[R]{Event: Strayed, File: path, Why: "it lies among the outputs", Hint: AstrayHint})
		}
	}
}

// tellOnce tells what became of a file unless that was told before.
func (w *watch[R]) tellOnce(path string, e Event[R]) {
	if w.folder.IsNews(path, fmt.Sprint(e.Event, e.Take, e.Text, e.Why)) {
		w.tell(e)
	}
}

// run checks, places and makes the rough cut.
func (w *watch[R]) run(ctx context.Context) {
	var e Event[R]
	rough, faults, err := w.rounds.Run(ctx, w.set, func(now *roll.Snapshot) {
		e = Event[R]{Event: Finished, Roll: &now.Roll, Changes: w.last.Changes(now)}
		w.last, w.faults = now, now.Roll.Faults
	})
	if err != nil {
		if e.Event != "" {
			w.tell(e)
		}
		w.fail(err)
		return
	}
	e.Rough = &rough
	w.faults = append(slices.Clone(w.faults), roll.Besides(faults, w.faults)...)
	w.tell(e)
}

func (w *watch[R]) fail(err error) { w.failWith(Event[R]{}, err) }

// failWith tells of a failure, once until the production changes.
func (w *watch[R]) failWith(e Event[R], err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	e.Event, e.Why = Trouble, err.Error()
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
