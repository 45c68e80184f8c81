// Package progress tells a person, or another program, how far a run is.
//
// Workers talk to a [Reporter]: they announce pieces of work with an estimated
// cost, start them, advance them and finish them, from any goroutine. What is
// shown depends on the [Mode]: one bar with the time left on a terminal, a
// plain line now and then in a log, one JSON object a line for programs, or
// nothing. All output goes through one lock to one writer, and a message
// between two updates never breaks the bar's line.
//
// Costs are seconds of one core as far as anybody can know beforehand; only
// their ratios matter, because the time left is corrected by what finished
// work really took, stage by stage. Work may be added while the run goes on:
// the fraction done then drops, and the time left grows.
//
// The package prints progress and nothing else: results and errors are the
// caller's.
//
// # JSON lines
//
// Every object has "event" and "t", seconds since the reporter was made.
//
//	{"event":"start","t":0.1,"stage":"conform","name":"oboe-1"}
//	{"event":"progress","t":1.6,"fraction":0.43,"done":12,"total":25,"left_s":80.2}
//	{"event":"finish","t":2.0,"stage":"conform","name":"oboe-1","seconds":1.9}
//	{"event":"finish","t":2.0,"stage":"conform","name":"horn-2","seconds":0.2,"error":"…"}
//	{"event":"message","t":2.1,"text":"…"}
//	{"event":"end","t":9.7,"fraction":1,"done":25,"total":25}
//
// "progress" comes at most twice a second; "left_s" is absent while unknown.
package progress

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"
	"unicode"

	"golang.org/x/term"
)

// Reporter is what workers call. All methods may be called from any goroutine
// and never fail: progress that cannot be shown must not stop a run.
type Reporter interface {
	// Add announces work: its stage (a short word many pieces share), its
	// name for people, and its cost in estimated seconds of one core. A cost
	// that is not a positive number counts as next to nothing.
	Add(stage, name string, cost float64) Work
	// Message prints text on lines of its own.
	Message(text string)
	// Close ends the reporting and leaves the terminal's line clean. Calls
	// after it do nothing.
	Close()
}

// Work is one announced piece. It is started once, advanced any number of
// times and finished once; calls out of order do nothing.
type Work interface {
	// Start says that it runs from now on.
	Start()
	// Advance gives the fraction that is done, 0 to 1. It never goes back:
	// smaller values and NaN are ignored.
	Advance(fraction float64)
	// Finish says that it ended, with err when it failed. Work that never
	// started may be finished too: it will not be done.
	Finish(err error)
}

// Mode is the way of showing.
type Mode int

// The modes.
const (
	Auto  Mode = iota // Bar on a terminal, Lines elsewhere
	Bar               // one bar that is redrawn
	Lines             // a line per finished stage and every few seconds
	JSON              // one JSON object a line
	Quiet             // nothing at all
)

var modeNames = []string{"auto", "bar", "lines", "json", "quiet"}

// String returns the word [ParseMode] reads.
func (m Mode) String() string {
	if m < 0 || int(m) >= len(modeNames) {
		return fmt.Sprintf("mode %d", int(m))
	}
	return modeNames[m]
}

// ParseMode reads auto, bar, lines, json or quiet. Any other word fails.
func ParseMode(s string) (Mode, error) {
	for i, n := range modeNames {
		if s == n {
			return Mode(i), nil
		}
	}
	return Auto, fmt.Errorf("invalid progress mode %q: not one of %s", s, strings.Join(modeNames, ", "))
}

// Options set up a Reporter.
type Options struct {
	Mode    Mode
	Workers int              // pieces that run at once, for the first guess of the time left; 0 is 1
	Now     func() time.Time // nil is time.Now
	Width   int              // columns of the terminal; 0 asks it

	ticks <-chan time.Time // tests drive the clock
}

// New returns what [Options.New] returns for a mode, with everything else left as it is.
func New(w io.Writer, mode Mode) Reporter { return Options{Mode: mode}.New(w) }

// New returns a Reporter that writes to w, or shows nothing when w is nil. It
// must be closed.
func (o Options) New(w io.Writer) Reporter {
	if o.Mode == Auto {
		o.Mode = Lines
		if isTerminal(w) {
			o.Mode = Bar
		}
	}
	if o.Mode == Quiet || w == nil {
		return quiet{}
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	r := &reporter{now: o.Now, began: o.Now(), shown: -1, est: newEstimator(o.Workers), stop: make(chan struct{})}
	switch o.Mode {
	case Bar:
		r.out = newBar(w, o.Width)
	case JSON:
		r.out = &jsonLines{w: w}
	default:
		r.out = &lines{w: w}
	}
	r.tick(o.ticks)
	return r
}

// isTerminal reports whether w can redraw a line.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb"
}

// printer shows what happens. The reporter calls it with its lock held and
// with times that never go back.
type printer interface {
	event(e event, s state)
	close(s state)
}

// event is one thing that happened.
type event struct {
	kind        eventKind
	stage, name string
	seconds     float64 // finished: how long it ran
	err         error   // finished: why it failed
	text        string  // message
}

// eventKind is what has happened: to a piece of work, or that a message came or that time
// passed.
type eventKind int

const (
	added eventKind = iota
	started
	advanced
	finished
	message
	ticked
)

// state is the whole run at one moment.
type state struct {
	at          float64 // seconds since the reporter was made
	fraction    float64 // done, by cost, 0 to 1
	left        float64 // seconds; negative while unknown
	done, total int
	stages      []stageState // in order of their first work
	current     string       // "stage name" of the youngest running piece
}

// stageState is what a printer shows of a stage.
type stageState struct {
	name        string
	done, total int
	seconds     float64 // from its first start to its last finish so far
}

// shownEvery is the least time in seconds between two updates that only move
// the bar.
const shownEvery = 0.05

// reporter is the only Reporter that shows something: it keeps the books and
// leaves the looks to a printer.
type reporter struct {
	mu     sync.Mutex
	now    func() time.Time
	began  time.Time
	last   float64
	shown  float64 // when the printer was last told
	est    *estimator
	out    printer
	closed bool
	stop   chan struct{}
	done   sync.WaitGroup
}

// piece implements Work; its books are in the estimator.
type piece struct {
	r *reporter
	w *work
}

// Add implements [Reporter].
func (r *reporter) Add(stage, name string, cost float64) Work {
	p := piece{r: r}
	r.do(func(at float64) event {
		p.w = r.est.add(printable(stage), printable(name), cost)
		return event{kind: added, stage: p.w.stage.name, name: p.w.name}
	})
	if p.w == nil { // closed
		return quiet{}
	}
	return p
}

// Message implements [Reporter].
func (r *reporter) Message(text string) {
	r.do(func(float64) event { return event{kind: message, text: printableLines(text)} })
}

// Close implements [Reporter].
func (r *reporter) Close() {
	r.mu.Lock()
	if r.closed {
		r.mu.Unlock()
		return
	}
	r.closed = true
	close(r.stop)
	at := r.elapsed()
	r.est.to(at)
	r.out.close(r.est.state(at))
	r.mu.Unlock()
	r.done.Wait()
}

// Start implements [Work].
func (p piece) Start() {
	p.r.do(func(at float64) event {
		if !p.w.start(at) {
			return event{kind: ticked}
		}
		return event{kind: started, stage: p.w.stage.name, name: p.w.name}
	})
}

// Advance implements [Work]. Many calls a second are cheap: the state is only worked out when
// it could be shown.
func (p piece) Advance(fraction float64) {
	p.r.do(func(float64) event {
		p.w.advance(fraction)
		return event{kind: advanced, stage: p.w.stage.name, name: p.w.name}
	})
}

// Finish implements [Work].
func (p piece) Finish(err error) {
	p.r.do(func(at float64) event {
		if !p.w.finish(at) {
			return event{kind: ticked}
		}
		return event{kind: finished, stage: p.w.stage.name, name: p.w.name, seconds: p.w.seconds(at), err: err}
	})
}

// do changes the books and shows the result, in one step of the clock.
func (r *reporter) do(change func(at float64) event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return
	}
	at := r.elapsed()
	r.est.to(at)
	e := change(at)
	// A worker may report every frame; the state is only worked out when it
	// could be shown.
	if (e.kind == advanced || e.kind == ticked || e.kind == added) && at < r.shown+shownEvery {
		return
	}
	r.shown = at
	r.out.event(e, r.est.state(at))
}

// elapsed never goes back, also when the clock does.
func (r *reporter) elapsed() float64 {
	r.last = max(r.last, r.now().Sub(r.began).Seconds())
	return r.last
}

// tick redraws while nothing reports, so that the time left counts down.
func (r *reporter) tick(ticks <-chan time.Time) {
	stop := func() {}
	if ticks == nil {
		t := time.NewTicker(500 * time.Millisecond)
		ticks, stop = t.C, t.Stop
	}
	r.done.Go(func() {
		defer stop()
		for {
			select {
			case <-r.stop:
				return
			case <-ticks:
				r.do(func(float64) event { return event{kind: ticked} })
			}
		}
	})
}

// quiet shows nothing.
type quiet struct{}

func (quiet) Add(string, string, float64) Work { return quiet{} }
func (quiet) Message(string)                   {}
func (quiet) Close()                           {}
func (quiet) Start()                           {}
func (quiet) Advance(float64)                  {}
func (quiet) Finish(error)                     {}

// printable replaces what could move the cursor or recolour the terminal:
// names come from files of strangers.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}

// printableLines returns printable line by line, without empty lines at the end.
func printableLines(s string) string {
	list := strings.Split(strings.TrimRight(s, "\n"), "\n")
	for i := range list {
		list[i] = printable(list[i])
	}
	return strings.Join(list, "\n")
}
