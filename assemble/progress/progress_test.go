package progress

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// rig is a reporter whose clock and ticks only the test moves.
type rig struct {
	Reporter
	t     *testing.T
	out   *buffer
	nanos atomic.Int64
	ticks chan time.Time
}

// buffer may be written and read by several goroutines.
type buffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

// take returns what was written since the last call.
func (b *buffer) take() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.buf.String()
	b.buf.Reset()
	return s
}

func newRig(t *testing.T, mode Mode) *rig {
	t.Helper()
	r := &rig{t: t, out: &buffer{}, ticks: make(chan time.Time)}
	now := func() time.Time { return time.Unix(1000, r.nanos.Load()) }
	r.Reporter = Options{Mode: mode, Workers: 1, Width: 72, Now: now, ticks: r.ticks}.New(r.out)
	t.Cleanup(r.Close)
	return r
}

// pass lets time go by.
func (r *rig) pass(seconds float64) { r.nanos.Add(int64(seconds * 1e9)) }

// tick does what the ticking goroutine does, in this one.
func (r *rig) tick() {
	r.Reporter.(*reporter).do(func(float64) event { return event{kind: ticked} })
}

func (r *rig) want(lines ...string) {
	r.t.Helper()
	want := strings.Join(lines, "\n")
	if len(lines) > 0 {
		want += "\n"
	}
	if got := r.out.take(); got != want {
		r.t.Errorf("printed\n%q\nwant\n%q", got, want)
	}
}

func TestLines(t *testing.T) {
	r := newRig(t, Lines)
	a, b := r.Add("conform", "oboe-1", 10), r.Add("conform", "horn-2", 10)
	m := r.Add("mix", "master", 20)
	r.want()
	a.Start()
	r.pass(2)
	a.Advance(0.5)
	r.want() // too early for a line
	r.pass(3)
	a.Advance(0.5)
	r.want("12 %, conform 0/2, mix 0/1, 35s left")
	r.pass(1)
	a.Finish(nil)
	b.Start()
	r.Message("horn-2 is clipped\n")
	r.want("horn-2 is clipped")
	r.pass(2)
	b.Finish(nil)
	r.want("conform: 2 done in 8s") // first start to last finish
	m.Start()
	r.pass(6)
	r.tick() // nothing reports, a line comes all the same
	r.want("50 %, mix 0/1, 3s left")
	m.Finish(errors.New("no space left"))
	r.want("mix master failed", "mix: 1 done in 6s")
	r.Close()
	r.Message("too late")
	r.Add("late", "late", 1).Start()
	r.want()
}

// TestLinesStayFew: an hour of busy reporting gives a readable log.
func TestLinesStayFew(t *testing.T) {
	r := newRig(t, Lines)
	w := r.Add("encode", "film", 3600)
	w.Start()
	for i := range 36000 {
		r.pass(0.1)
		w.Advance(float64(i) / 36000)
	}
	log := r.out.take()
	if n := strings.Count(log, "\n"); n < 60 || n > 120 {
		t.Errorf("%d lines in an hour", n)
	}
	if strings.ContainsAny(log, "\r\x1b") {
		t.Error("control characters in a log")
	}
}

func TestJSON(t *testing.T) {
	r := newRig(t, JSON)
	a := r.Add("conform", "oboe-1", 10)
	r.Add("conform", "horn-2", 10)
	r.pass(0.1)
	a.Start()
	r.pass(1.5)
	a.Advance(0.25)
	a.Advance(0.26) // within half a second: no second line
	r.Message("note")
	r.pass(0.1)
	a.Finish(errors.New(`bad "take"`))
	r.Close()
	got := r.out.take()
	want := `{"event":"start","t":0.1,"stage":"conform","name":"oboe-1"}
{"event":"progress","t":1.6,"fraction":0.125,"done":0,"total":2,"left_s":11.735}
`
	// 1.5 s for 2.5 of the cost: the stage's pace is 0.679, its own 0.6.
	if !strings.HasPrefix(got, `{"event":"progress","t":0,"fraction":0,"done":0,"total":1}`+"\n"+want) {
		t.Errorf("begins\n%s\nwant\n%s", got, want)
	}
	wantEnd := `{"event":"message","t":1.6,"text":"note"}
{"event":"finish","t":1.7,"stage":"conform","name":"oboe-1","seconds":1.6,"error":"bad \"take\""}
{"event":"end","t":1.7,"fraction":0.5,"done":1,"total":2}
`
	if !strings.HasSuffix(got, wantEnd) {
		t.Errorf("ends\n%s\nwant\n%s", got, wantEnd)
	}
	for line := range strings.Lines(got) {
		var v map[string]any
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Errorf("%q: %v", line, err)
		}
	}
}

func TestQuietAndNothing(t *testing.T) {
	var out buffer
	for _, r := range []Reporter{New(&out, Quiet), New(nil, Lines)} {
		w := r.Add("a", "b", 1)
		w.Start()
		w.Advance(0.5)
		w.Finish(errors.New("x"))
		r.Message("y")
		r.Close()
	}
	if got := out.take(); got != "" {
		t.Errorf("quiet printed %q", got)
	}
}

func TestAutoPicksLinesForAFile(t *testing.T) {
	f, err := os.CreateTemp(t.TempDir(), "log")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, w := range []*os.File{f} {
		r := New(w, Auto).(*reporter)
		if _, ok := r.out.(*lines); !ok {
			t.Errorf("picked %T", r.out)
		}
		r.Close()
	}
	r := New(&buffer{}, Auto).(*reporter)
	if _, ok := r.out.(*lines); !ok {
		t.Errorf("picked %T for a buffer", r.out)
	}
	r.Close()
}

// TestNamesCannotSteerTheTerminal: names come from strangers' files.
func TestNamesCannotSteerTheTerminal(t *testing.T) {
	evil := "\x1b[2J\rgone\nnext\u202e"
	for _, mode := range []Mode{Lines, Bar, JSON} {
		r := newRig(t, mode)
		w := r.Add(evil, evil, 1)
		w.Start()
		r.pass(10)
		r.tick()
		r.Message("a" + evil + "b")
		w.Finish(errors.New("x"))
		r.Close()
		clean := strings.ReplaceAll(r.out.take(), eraseLine, "")
		if bad := regexp.MustCompile(`[\x00-\x09\x0b-\x1f\x7f\x{202e}]`).FindString(clean); bad != "" {
			t.Errorf("%v: %q in %q", mode, bad, clean)
		}
	}
}

// TestOutOfOrder: calls that make no sense change nothing.
func TestOutOfOrder(t *testing.T) {
	r := newRig(t, Lines)
	rep := r.Reporter.(*reporter)
	w := r.Add("a", "b", math.NaN())
	w.Advance(0.9) // not started
	w.Start()
	w.Start()
	w.Advance(0.5)
	w.Advance(0.2)
	w.Advance(math.NaN())
	w.Advance(math.Inf(-1))
	if got := rep.est.works[0].fraction; got != 0.5 {
		t.Errorf("fraction %g", got)
	}
	w.Advance(7)
	w.Finish(nil)
	w.Finish(errors.New("again"))
	w.Start()
	w.Advance(0.1)
	r.Add("a", "never started", -3).Finish(nil)
	if s := rep.est.state(5); s.done != 2 || s.total != 2 || s.fraction != 1 || s.left != 0 {
		t.Errorf("%+v", s)
	}
	r.pass(-3600) // the clock is set back
	r.Add("c", "d", 1).Start()
	if s := rep.est.state(rep.elapsed()); s.at < 0 || s.left < 0 && s.left != -1 {
		t.Errorf("%+v", s)
	}
	r.out.take()
}

func TestParseMode(t *testing.T) {
	for m := Auto; m <= Quiet; m++ {
		if got, err := ParseMode(m.String()); err != nil || got != m {
			t.Errorf("%v: %v, %v", m, got, err)
		}
	}
	if _, err := ParseMode("loud"); err == nil || !strings.Contains(err.Error(), `"loud": not one of auto, bar`) {
		t.Errorf("got %v", err)
	}
	if got := Mode(9).String(); got != "mode 9" {
		t.Errorf("got %s", got)
	}
}

func TestDuration(t *testing.T) {
	for seconds, want := range map[float64]string{
		-5: "0s", 0: "0s", 0.4: "0s", 59.4: "59s", 59.6: "1m00s", 80: "1m20s", 3599.6: "1h00m", 3725: "1h02m",
		1e12: "277777h46m",
	} {
		if got := duration(seconds); got != want {
			t.Errorf("%g: %s, want %s", seconds, got, want)
		}
	}
}

// TestManyWorkers is for the race detector: every kind of call from many
// goroutines, with the real clock.
func TestManyWorkers(t *testing.T) {
	for _, mode := range []Mode{Bar, Lines, JSON} {
		var out buffer
		r := Options{Mode: mode, Workers: 8}.New(&out)
		var wg sync.WaitGroup
		for g := range 8 {
			wg.Go(func() {
				for i := range 50 {
					w := r.Add(fmt.Sprint("stage-", i%3), fmt.Sprint(g), 1)
					w.Start()
					w.Advance(0.5)
					r.Message("m")
					w.Finish(nil)
				}
			})
		}
		wg.Wait()
		r.Close()
		if mode == Lines {
			continue
		}
		if got := out.take(); strings.Count(got, "m\n")+strings.Count(got, `"text":"m"`) != 400 {
			t.Errorf("%v: messages were lost or broken", mode)
		}
	}
}

func BenchmarkAdvance(b *testing.B) {
	r := Options{Mode: Bar, Workers: 8, Width: 80}.New(&buffer{})
	defer r.Close()
	w := make([]Work, 1000)
	for i := range w {
		w[i] = r.Add("conform", "take", 10)
	}
	w[0].Start()
	f := 0.0
	for b.Loop() {
		f += 1e-9
		w[0].Advance(f)
	}
}

func BenchmarkDraw(b *testing.B) {
	e := newEstimator(8)
	for i := range 1000 {
		e.add(fmt.Sprint("stage-", i%6), "take", 10).start(0)
	}
	d := newBar(&buffer{}, 80)
	for b.Loop() {
		_ = d.line(e.state(100))
	}
}
