package task

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

func openStore(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// journal notes which tasks started and ended, in order.
type journal struct {
	mu      sync.Mutex
	entries []string
	running int
	most    int
}

func (j *journal) start(id string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.entries = append(j.entries, id)
	j.running++
	j.most = max(j.most, j.running)
}

func (j *journal) end() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.running--
}

func (j *journal) take() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	s := strings.Join(j.entries, " ")
	j.entries = nil
	return s
}

// step returns a task that writes its ID and the contents of its inputs.
func (j *journal) step(id, arg string, after ...string) Task {
	return Task{
		ID: id, After: after, Cost: 1, Action: store.NewAction("step").For(id).Arg("arg", arg).Arg("id",
			id).Ext(".txt"),
		Make: func(ctx context.Context, in Inputs, tmp string, advance func(float64)) error {
			j.start(id)
			defer j.end()
			text := id + arg
			for _, a := range after {
				b, err := os.ReadFile(in[a])
				if err != nil {
					return err
				}
				text += "(" + string(b) + ")"
			}
			advance(0.5)
			return os.WriteFile(tmp, []byte(text), 0o666)
		},
	}
}

// film returns a small production: two takes, a mix, a film.
func (j *journal) film(gain, label string) []Task {
	return []Task{
		j.step("conform/oboe", "", nil...),
		j.step("conform/horn", ""),
		j.step("mix", gain, "conform/oboe", "conform/horn"),
		j.keyed(j.step("picture", label, "conform/oboe", "conform/horn"), label),
		j.keyed(j.step("film", "", "mix", "picture"), gain+label),
	}
}

// keyed adds to the key what reaches the output through the inputs.
func (j *journal) keyed(t Task, through string) Task {
	t.Action = t.Action.Arg("through", through)
	return t
}

func text(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func states(r Result) string {
	var s []string
	for _, o := range r.Outcomes {
		s = append(s, o.ID+":"+o.State.String())
	}
	return strings.Join(s, " ")
}

func TestRunMakesWhatChanged(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	for _, tt := range []struct {
		name, gain, label string
		ran               string
		stats             Stats
	}{
		{"cold", "1", "a", "conform/oboe conform/horn mix picture film", Stats{Run: 5}},
		{"nothing changed", "1", "a", "", Stats{Reused: 5}},
		{"gain", "2", "a", "mix film", Stats{Run: 2, Reused: 3}},
		{"label", "2", "b", "picture film", Stats{Run: 2, Reused: 3}},
		{"back", "1", "a", "", Stats{Reused: 5}},
	} {
		res, err := Run(t.Context(), s, nil, 1, j.film(tt.gain, tt.label))
		if err != nil {
			t.Fatal(err)
		}
		if ran := j.take(); ran != tt.ran {
			t.Errorf("%s: ran %q, want %q", tt.name, ran, tt.ran)
		}
		if res.Stats != tt.stats {
			t.Errorf("%s: %+v, want %+v", tt.name, res.Stats, tt.stats)
		}
		want := "film(mix" + tt.gain + "(conform/oboe)(conform/horn))(picture" + tt.label +
			"(conform/oboe)(conform/horn))"
		if got := text(t, res.Path("film")); got != want {
			t.Errorf("%s: film is %q, want %q", tt.name, got, want)
		}
		if filepath.Ext(res.Path("film")) != ".txt" {
			t.Errorf("path %q", res.Path("film"))
		}
	}
	if o := (Result{}).Of("nobody"); o != (Outcome{}) {
		t.Errorf("unknown: %+v", o)
	}
}

// TestTrimmedStepsAreNotMissed: a mezzanine that was trimmed away is not made
// again while the film that used it stands, unless somebody keeps it.
func TestTrimmedStepsAreNotMissed(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := j.film("1", "a")
	if _, err := Run(t.Context(), s, nil, 1, tasks); err != nil {
		t.Fatal(err)
	}
	j.take()
	drop := func(i int) {
		if err := s.Remove(tasks[i].Action.ID()); err != nil {
			t.Fatal(err)
		}
	}
	drop(0)
	drop(2)
	res, err := Run(t.Context(), s, nil, 1, tasks)
	if err != nil || j.take() != "" || res.Stats != (Stats{Reused: 5}) || res.Of("mix").State != Unneeded ||
		res.Path("mix") != "" {
		t.Errorf("%s, %v", states(res), err)
	}
	tasks[2].Keep = true // needs its input too
	res, err = Run(t.Context(), s, nil, 1, tasks)
	if ran := j.take(); err != nil || ran != "conform/oboe mix" || res.Stats != (Stats{Run: 2, Reused: 3}) {
		t.Errorf("ran %q: %s, %v", ran, states(res), err)
	}
	drop(4)
	if res, err = Run(t.Context(), s, nil, 1, tasks); err != nil || j.take() != "film" {
		t.Errorf("%s, %v", states(res), err)
	}
}

// TestWhatPassesMayGo: an output that only passes through a run may leave the store when all
// that read it have ended, and not before; the others stay as long as the run.
func TestWhatPassesMayGo(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := j.film("1", "a")
	tasks[0].Passing = true
	there := func() (list []string) {
		if _, err := s.Trim(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
		all, err := s.List(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range all {
			list = append(list, e.Subject)
		}
		slices.Sort(list)
		return list
	}
	var before []string
	plain := tasks[3].Make // the picture, which reads it last
	tasks[3].Make = func(ctx context.Context, in Inputs, tmp string, advance func(float64)) error {
		before = there()
		return plain(ctx, in, tmp, advance)
	}
	if _, err := Run(t.Context(), s, nil, 1, tasks); err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(before, "conform/oboe") {
		t.Errorf("while it was to be read there were %q", before)
	}
	if got := there(); slices.Contains(got, "conform/oboe") || !slices.Contains(got, "conform/horn") ||
		!slices.Contains(got, "film") {
		t.Errorf("at the end there are %q", got)
	}
	j.take()
	tasks[3].Make = plain
	if _, err := Run(t.Context(), s, nil, 1, tasks); err != nil || j.take() != "" {
		t.Errorf("the next run made something: %v", err)
	}
	// Who needs it again has it made again.
	if err := s.Remove(tasks[2].Action.ID()); err != nil {
		t.Fatal(err)
	}
	tasks[2].Keep = true
	if _, err := Run(t.Context(), s, nil, 1, tasks); err != nil || j.take() != "conform/oboe mix" {
		t.Errorf("not made again: %v", err)
	}
}

// TestSameBytesForAnyWorkers runs one graph with 1 and with 8 workers.
func TestSameBytesForAnyWorkers(t *testing.T) {
	var want string
	for _, workers := range []int{1, 8} {
		s, j := openStore(t, t.TempDir()), &journal{}
		var tasks []Task
		var all []string
		for i := range 20 {
			id := fmt.Sprintf("take-%02d", i)
			all = append(all, id)
			tasks = append(tasks, j.step(id, ""))
		}
		tasks = append(tasks, j.step("film", "", all...))
		res, err := Run(t.Context(), s, nil, workers, tasks)
		if err != nil {
			t.Fatal(err)
		}
		if j.most > workers {
			t.Errorf("%d ran at once with %d workers", j.most, workers)
		}
		got := text(t, res.Path("film"))
		if want == "" {
			want = got
		} else if got != want {
			t.Errorf("%d workers made %q, one made %q", workers, got, want)
		}
	}
}

// TestTaskWithoutOutput runs every time, after what it needs.
func TestTaskWithoutOutput(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	var saw []string
	tasks := append(j.film("1", "a"), Task{ID: "publish", After: []string{"film", "film"},
		Make: func(_ context.Context, in Inputs, tmp string, _ func(float64)) error {
			saw = append(saw, tmp, filepath.Ext(in["film"]))
			return nil
		}})
	for _, want := range []Stats{{Run: 6}, {Run: 1, Reused: 5}} {
		res, err := Run(t.Context(), s, nil, 2, tasks)
		if err != nil || res.Stats != want {
			t.Errorf("%+v, %v; want %+v", res.Stats, err, want)
		}
	}
	if !slices.Equal(saw, []string{"", ".txt", "", ".txt"}) {
		t.Errorf("publish saw %q", saw)
	}
	ctx, cancel := context.WithCancel(t.Context())
	tasks[5].Make = func(context.Context, Inputs, string, func(float64)) error { cancel(); return nil }
	if res, err := Run(ctx, s, nil, 2, tasks); !errors.Is(err, context.Canceled) ||
		res.Of("publish").State != Cancelled {
		t.Errorf("%s, %v", states(res), err)
	}
	plan, err := Runner{Store: s}.Plan(t.Context(), tasks)
	if err != nil || plan[5].String() != "run    other publish: runs every time" {
		t.Errorf("%v, %v", plan[5], err)
	}
}

// TestSameKeyTwice: two tasks with one key make one output.
func TestSameKeyTwice(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	a, b := j.step("a", ""), j.step("a", "")
	b.ID = "b"
	res, err := Run(t.Context(), s, nil, 2, []Task{a, b})
	if err != nil || res.Stats != (Stats{Run: 1, Reused: 1}) || res.Path("a") != res.Path("b") || j.take() != "a" {
		t.Errorf("%s, %v", states(res), err)
	}
}

// recorder is a Reporter that remembers.
type recorder struct {
	progress.Reporter
	mu     sync.Mutex
	events []string
}

type recorded struct {
	progress.Work
	r    *recorder
	name string
}

func (r *recorder) note(format string, args ...any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.events = append(r.events, fmt.Sprintf(format, args...))
}

func (r *recorder) Add(stage, name string, cost float64) progress.Work {
	r.note("add %s %s %g", stage, name, cost)
	return recorded{r: r, name: name}
}

func (w recorded) Start()            { w.r.note("start %s", w.name) }
func (w recorded) Advance(f float64) { w.r.note("advance %s %g", w.name, f) }
func (w recorded) Finish(err error)  { w.r.note("finish %s %v", w.name, err) }

func TestProgressIsTold(t *testing.T) {
	s, j, r := openStore(t, t.TempDir()), &journal{}, &recorder{}
	a, b, c := j.step("a", ""), j.step("b", "", "a"), j.step("c", "", "b")
	a.Name, a.Stage, a.Cost = "Oboe", "conform", 7
	b.Make = func(context.Context, Inputs, string, func(float64)) error { return errors.New("bad") }
	if _, err := Run(t.Context(), s, r, 1, []Task{a, b, c}); err == nil {
		t.Error("no error")
	}
	want := []string{"add conform Oboe 7", "add step b 1", "add step c 1",
		"start Oboe", "advance Oboe 0.5", "finish Oboe <nil>", "start b", "finish b bad", "finish c <nil>"}
	if !slices.Equal(r.events, want) {
		t.Errorf("told %q\nwant %q", r.events, want)
	}
}

func TestWords(t *testing.T) {
	if Skipped.String() != "skipped" || State(99).String() != "state 99" {
		t.Error(Skipped, State(99))
	}
}
