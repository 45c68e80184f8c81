package session

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/interchange"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// write returns a task that writes a text, or fails.
func write(id, text string, err error) task.Task {
	return task.Task{ID: id, Name: id + " of the test", Stage: "test", Action: store.NewAction("test").Arg("id", id),
		Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			if err != nil {
				return err
			}
			return os.WriteFile(tmp, []byte(text), 0o666)
		}}
}

func TestCountsAdd(t *testing.T) {
	if got := (Count{1, 2, 3}).Add(Count{10, 20, 30}); got != (Count{11, 22, 33}) {
		t.Errorf("%+v", got)
	}
	data, err := json.Marshal(Count{Run: 1})
	if err != nil || string(data) != `{"run":1,"reused":0}` { // as JSON had it before machines could be borrowed
		t.Errorf("%s, %v", data, err)
	}
}

// What stops a run is what is no take's fault: a full disk, a program that is not
// there. What ffmpeg itself fails at, or what is wrong with a file, is one take's.
func TestWhatIsFatal(t *testing.T) {
	exit := &ffmpeg.ExitError{Program: "ffmpeg", Code: 1}
	for _, c := range []struct {
		what string
		err  error
		want bool
	}{
		{"nothing", nil, false},
		{"a bug", errors.New("index out of range"), false},
		{"a full disk", fault.New(fault.Failed, "/p", "the disk is full", ""), true},
		{"a full disk under other words", fmt.Errorf("compose: %w", fault.New(fault.Failed, "/p", "full", "")), true},
		{"no ffmpeg", fault.New(fault.FFmpeg, "", "ffmpeg is not there", ""), true},
		{"ffmpeg failed", fault.New(fault.FFmpeg, "a.mov", "cannot be decoded", "").Because(exit), false},
		{"ffmpeg failed under other words", fault.New(fault.FFmpeg, "", "x", "").Because(fmt.Errorf("x: %w", exit)),
			false},
		{"a file", fault.New(fault.Media, "a.mov", "no sound", ""), false},
		{"the manifest", fault.New(fault.Manifest, "", "", ""), false},
		{"a decision", fault.New(fault.Decision, "", "", ""), false},
		{"cancelled", context.Canceled, false},
		{"an exit by itself", exit, false},
	} {
		if got := IsFatal(c.err); got != c.want {
			t.Errorf("%s is fatal: %v", c.what, got)
		}
	}
}

// A task that fails stops nobody else, unless it fails for what is nobody's take;
// what a run made, the next one finds.
func TestRunsGoOn(t *testing.T) {
	s, _ := opened(t, Settings{Workers: 1})
	bad := fault.New(fault.Media, "b.mov", "no sound", "")
	tasks := []task.Task{write("a", "one", nil), write("b", "", bad), write("c", "three", nil)}
	for k, want := range []task.Stats{{Run: 2}, {Reused: 2}} {
		res, err := s.Run(t.Context(), tasks)
		if err != nil || res.Stats.Run != want.Run || res.Stats.Reused != want.Reused {
			t.Fatalf("run %d: %+v, %v", k, res.Stats, err)
		}
		if got := FirstFailure(res); !errors.Is(got, bad) {
			t.Errorf("run %d: the first failure is %v", k, got)
		}
		if data, err := os.ReadFile(res.Path("c")); err != nil || string(data) != "three" {
			t.Errorf("run %d: %q, %v", k, data, err)
		}
	}
	full := fault.New(fault.Failed, "/p", "the disk is full", "free some of it")
	if _, err := s.Run(t.Context(), []task.Task{write("d", "", full)}); err != error(full) {
		t.Errorf("a full disk: %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Run(ended, []task.Task{write("e", "five", nil)}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := s.Run(t.Context(), []task.Task{write("f", "", nil), write("f", "", nil)}); err == nil ||
		!strings.Contains(err.Error(), `"f"`) {
		t.Errorf("one ID twice: %v", err)
	}
}

// A run that is only planned makes nothing, and says what each task would do.
func TestPlanningMakesNothing(t *testing.T) {
	s, _ := opened(t, Settings{})
	tasks := []task.Task{write("a", "one", nil), write("b", "two", nil)}
	if _, err := s.Run(t.Context(), tasks[:1]); err != nil {
		t.Fatal(err)
	}
	planned, err := s.Plan(t.Context(), tasks)
	if err != nil || len(planned) != 2 || planned[0].ID != "a" || planned[1].ID != "b" {
		t.Fatalf("%+v, %v", planned, err)
	}
	if _, err := s.Store().Get(t.Context(), tasks[1].Action); err == nil {
		t.Error("planning made something")
	}
	if _, err := s.Forecast(t.Context(), tasks); err != nil {
		t.Error(err)
	}
	if _, err := s.Plan(t.Context(), []task.Task{{}}); err == nil {
		t.Error("a task without an ID is planned")
	}
}

// A result that is missing has a reason; where there is none that is a bug, and said.
func TestFirstFailure(t *testing.T) {
	one, two := errors.New("one"), errors.New("two")
	for _, c := range []struct {
		outcomes []task.Outcome
		want     error
	}{
		{[]task.Outcome{{State: task.Made}, {State: task.Failed, Err: one}, {State: task.Failed, Err: two}}, one},
		{[]task.Outcome{{State: task.Skipped, Err: one}, {State: task.Failed, Err: two}}, two},
	} {
		if got := FirstFailure(task.Result{Outcomes: c.outcomes}); got != c.want {
			t.Errorf("%v, want %v", got, c.want)
		}
	}
	for _, none := range [][]task.Outcome{nil, {{State: task.Made}}, {{State: task.Skipped, Err: one}}} {
		if err := FirstFailure(task.Result{Outcomes: none}); err == nil ||
			!strings.Contains(err.Error(), "without an error") {
			t.Errorf("%v: %v", none, err)
		}
	}
}

// Verifying makes again what is stored, keeps the first bytes, and names each output
// that came out otherwise once, however often it is run.
func TestVerifying(t *testing.T) {
	s, _ := opened(t, Settings{Workers: 2})
	before := []task.Task{write("a", "one", nil), write("b", "two", nil)}
	if _, err := s.Run(t.Context(), before); err != nil {
		t.Fatal(err)
	}
	v, found := s.Verifying()
	now := []task.Task{write("a", "one", nil), write("b", "2", nil)}
	for range 2 {
		if _, err := v.Run(t.Context(), now); err != nil {
			t.Fatal(err)
		}
	}
	if len(found.List) != 1 || !found.Has("b") || found.Has("a") || found.Has("") {
		t.Fatalf("%+v", found.List)
	}
	// SHA-256 of "two" and of "2", by coreutils' sha256sum.
	want := Differing{ID: "b", Name: "b of the test", Stage: "test",
		Stored:  "3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3",
		Rebuilt: "d4735e3a265e16eee03f59718b9b5d03019c07d8b6c51f90da3a666eec13ab35"}
	if found.List[0] != want {
		t.Errorf("%+v, want %+v", found.List[0], want)
	}
	res, err := s.Run(t.Context(), now) // the session it came from verifies nothing
	if err != nil || res.Stats.Reused != 2 {
		t.Errorf("%+v, %v", res.Stats, err)
	}
	if data, err := os.ReadFile(res.Path("b")); err != nil || string(data) != "two" {
		t.Errorf("what was stored is %q, %v", data, err)
	}
	var nobody *Differences
	nobody.note(now, res)
}

// A value is computed once and then found, but not when computing it failed.
func TestCachedValues(t *testing.T) {
	s, _ := opened(t, Settings{})
	type thing = cachedForTest
	key := store.NewAction("thing").Arg("of", "test")
	computed := 0
	no := errors.New("not today")
	for k, fails := range []error{no, nil, nil, no} {
		got, err := Cached(t.Context(), s.Store(), key, func() (thing, error) {
			computed++
			return thing{Name: "x", List: []float64{1, 2}}, fails
		})
		switch {
		case k == 0:
			if !errors.Is(err, no) || got.Name != "" {
				t.Errorf("a failure gives %+v, %v", got, err)
			}
		case err != nil || got.Name != "x" || !slices.Equal(got.List, []float64{1, 2}):
			t.Errorf("time %d: %+v, %v", k, got, err)
		}
	}
	if computed != 2 {
		t.Errorf("computed %d times, want 2: once in vain, once for good", computed)
	}
}

// cachedForTest is a stored type that no program stores.
type cachedForTest struct {
	Name string
	List []float64
}

var _ = store.Number(900_001, cachedForTest{})

// What ran is written where the profile is asked for, and nowhere without.
func TestProfiles(t *testing.T) {
	s, _ := opened(t, Settings{Workers: 1})
	if _, err := s.Run(t.Context(), []task.Task{write("a", "one", nil)}); err != nil {
		t.Fatal(err)
	}
	if s.Events() != nil || s.WriteProfile(t.Context()) != nil {
		t.Error("nobody asked for a profile")
	}
	s.ran, s.set.Profile = &profile{}, filepath.Join(t.TempDir(), "deep", "profile.json")
	bad := errors.New("broken")
	if _, err := s.Run(t.Context(), []task.Task{write("a", "one", nil), write("b", "two", nil),
		write("c", "", bad)}); err != nil {
		t.Fatal(err)
	}
	events := s.Events()
	if len(events) != 2 { // a is stored
		t.Fatalf("%+v", events)
	}
	slices.SortFunc(events, func(a, b event) int { return strings.Compare(a.Name, b.Name) })
	if e := events[0]; e.Category != "test" || e.Name != "b of the test" || e.Lane != 0 || e.To.Before(e.From) ||
		e.Error != "" {
		t.Errorf("%+v", e)
	}
	if e := events[1]; e.Name != "c of the test" || !strings.Contains(e.Error, "broken") {
		t.Errorf("%+v", e)
	}
	if err := s.WriteProfile(t.Context()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(s.set.Profile)
	var read struct {
		Events []struct{ Name, Ph string } `json:"traceEvents"`
	}
	if err := errors.Join(err, json.Unmarshal(data, &read)); err != nil || len(read.Events) != 3 ||
		read.Events[0].Ph != "M" || read.Events[1].Ph != "X" {
		t.Errorf("%s, %v", data, err)
	}
	s.set.Profile = filepath.Dir(s.set.Profile) // a folder
	if err := s.WriteProfile(t.Context()); !isFault(err, fault.Failed, "deep", "a folder", "") {
		t.Errorf("into a folder: %v", err)
	}
}

// Of an earlier run's files those go that this one does not write, unless somebody
// changed them; a file that is not in the record never goes.
func TestReplace(t *testing.T) {
	s, _ := opened(t, Settings{})
	dir := t.TempDir()
	folder := Folder{Dir: dir, Ours: isSound}
	if err := os.MkdirAll(filepath.Join(dir, "takes"), 0o777); err != nil {
		t.Fatal(err)
	}
	put := func(name, text string) Written {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, "takes", name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return Written{store.ID(sha(t, text)), "takes/" + name}
	}
	deliver := func(files ...string) ([]Written, func() error) {
		var list []Written
		for _, f := range files {
			list = append(list, Written{store.ID(sha(t, f)), "takes/" + f + ".wav"})
		}
		return list, func() error {
			for _, f := range files {
				put(f+".wav", f)
			}
			return nil
		}
	}
	put("by hand.wav", "somebody's own")
	now, write := deliver("oboe", "horn", "viola")
	if out, err := s.Replace(t.Context(), folder, now, write); err != nil || out.Removed != nil || out.Notes != nil {
		t.Fatalf("the first time: %+v, %v", out, err)
	}
	put("viola.wav", "edited since")
	if err := os.Remove(filepath.Join(dir, "takes", "horn.wav")); err != nil {
		t.Fatal(err)
	}
	put("oboe.wav", "oboe")
	now, write = deliver("flute")
	out, err := s.Replace(t.Context(), folder, now, write)
	if err != nil || !slices.Equal(out.Removed, []string{filepath.Join(dir, "takes", "oboe.wav")}) ||
		len(out.Notes) != 1 || !strings.Contains(out.Notes[0], "viola.wav is of an earlier run") {
		t.Errorf("%+v, %v", out, err)
	}
	for name, there := range map[string]bool{"oboe": false, "horn": false, "viola": true, "flute": true,
		"by hand": true} {
		if _, err := os.Stat(filepath.Join(dir, "takes", name+".wav")); (err == nil) != there {
			t.Errorf("%s is there: %v", name, err)
		}
	}
	// A delivery that fails forgets nothing: the next one still tidies up.
	fails := errors.New("no room")
	now, _ = deliver("harp")
	if _, err := s.Replace(t.Context(), folder, now, func() error { return fails }); !errors.Is(err, fails) {
		t.Errorf("a delivery that fails: %v", err)
	}
	record, err := os.ReadFile(filepath.Join(dir, RecordName))
	if err != nil || strings.Count(string(record), "\n") != 2 || !strings.Contains(string(record), "takes/flute.wav") ||
		!strings.Contains(string(record), "takes/harp.wav") {
		t.Errorf("the record is %q, %v", record, err)
	}
	out, err = s.Replace(t.Context(), folder, nil, func() error { return nil })
	if err != nil || !slices.Equal(out.Removed, []string{filepath.Join(dir, "takes", "flute.wav")}) {
		t.Errorf("nothing more is written: %+v, %v", out, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "takes", "flute.wav")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the flute is there: %v", err)
	}
}

// A record that is no file is told as the folder's.
func TestARecordThatCannotBeRead(t *testing.T) {
	s, _ := opened(t, Settings{})
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, RecordName), 0o777); err != nil {
		t.Fatal(err)
	}
	called := false
	_, err := s.Replace(t.Context(), Folder{dir, isSound}, nil, func() error { called = true; return nil })
	if !isFault(err, fault.Failed, dir, "cannot be written", "--out") || called {
		t.Errorf("delivered %v, %v", called, err)
	}
}

// Trimming tells what it took away, and nothing when nothing had to go.
func TestTrimming(t *testing.T) {
	s, said := opened(t, Settings{Store: 10})
	if _, err := s.Run(t.Context(), []task.Task{write("a", strings.Repeat("x", 30), nil)}); err != nil {
		t.Fatal(err)
	}
	s.Trim(t.Context()) // what this run made stays
	if got := said.all(); len(got) != 0 {
		t.Fatalf("said %q", got)
	}
	again, err := store.Open(s.Store().Dir())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := again.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.kept = again
	s.Trim(t.Context())
	if got := said.all(); !slices.Equal(got, []string{"removed 1 result that was not used for longest (0.0 MB)"}) {
		t.Errorf("said %q", got)
	}
}

// event is a slice of time, under a short name.
type event = interchange.Slice

// sha returns the SHA-256 of a text.
func sha(t *testing.T, text string) [32]byte {
	t.Helper()
	return sha256.Sum256([]byte(text))
}
