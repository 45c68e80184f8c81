package task

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/store"
)

func TestOneBadTakeStopsOnlyItsOwn(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := j.film("1", "a")
	tasks = append(tasks, j.step("report/horn", "", "conform/horn"))
	bad := fault.New(fault.Media, "oboe.mov", "the recording did not finish", "ask for a new export")
	make := tasks[0].Make
	tasks[0].Make = func(context.Context, Inputs, string, func(float64)) error { return bad }
	tasks[0].Name = "oboe"
	res, err := Run(t.Context(), s, nil, 4, tasks)
	var failed Failures
	if !errors.As(err, &failed) || len(failed) != 1 || failed[0].ID != "conform/oboe" || !errors.Is(err, bad) {
		t.Fatalf("%v", err)
	}
	if got, want := err.Error(), "step oboe: oboe.mov: the recording did not finish"; got != want {
		t.Errorf("error %q, want %q", got, want)
	}
	want := "conform/oboe:failed conform/horn:made mix:skipped picture:skipped film:skipped report/horn:made"
	if got := states(res); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
	if o := res.Of("film"); o.Err == nil || o.Err.Error() != "step oboe failed" || res.Stats != (Stats{Run: 2}) {
		t.Errorf("%+v %+v", o, res.Stats)
	}
	tasks[0].Make = make
	j.take()
	if res, err = Run(t.Context(), s, nil, 1, tasks); err != nil || res.Stats != (Stats{Run: 4, Reused: 2}) {
		t.Errorf("after mending: %s, %v", states(res), err)
	}
}

func TestPanicIsOneTasksFailure(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := j.film("1", "a")
	tasks[1].Make = func(context.Context, Inputs, string, func(float64)) error { panic("index out of range") }
	res, err := Run(t.Context(), s, nil, 2, tasks)
	if err == nil || !strings.Contains(err.Error(), "conform/horn panicked: index out of range") ||
		res.Of("conform/oboe").State != Made {
		t.Errorf("%s, %v", states(res), err)
	}
}

// TestTimeLimitOfATaskIsItsFailure: a task that gives up on a limit of its own
// failed; the run was not cancelled.
func TestTimeLimitOfATaskIsItsFailure(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := []Task{j.step("a", ""), j.step("b", "")}
	tasks[0].Make = func(ctx context.Context, _ Inputs, _ string, _ func(float64)) error {
		limited, cancel := context.WithTimeout(ctx, 0)
		defer cancel()
		<-limited.Done()
		return limited.Err()
	}
	res, err := Run(t.Context(), s, nil, 1, tasks)
	if !errors.As(err, new(Failures)) || states(res) != "a:failed b:made" {
		t.Errorf("%s, %v", states(res), err)
	}
}

func TestCancel(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	ctx, cancel := context.WithCancel(t.Context())
	tasks := j.film("1", "a")
	make := tasks[1].Make
	tasks[1].Make = func(ctx context.Context, in Inputs, tmp string, advance func(float64)) error {
		if err := make(ctx, in, tmp, advance); err != nil {
			return err
		}
		cancel() // by now the output is whole, and still must not be kept
		<-ctx.Done()
		return nil
	}
	res, err := Run(ctx, s, nil, 1, tasks)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if got := states(res); got != "conform/oboe:made conform/horn:cancelled mix:cancelled picture:cancelled "+
		"film:cancelled" {
		t.Errorf("%s", got)
	}
	if _, err := s.Get(t.Context(), tasks[1].Action); err == nil {
		t.Error("the cancelled task's output was stored")
	}
	if j.running != 0 {
		t.Errorf("%d tasks still run", j.running)
	}
	if _, err := Run(ctx, s, nil, 1, tasks); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before the start: %v", err)
	}
	tasks[1].Make = make
	j.take()
	if res, err = Run(t.Context(), s, nil, 1, tasks); err != nil || j.take() != "conform/horn mix picture film" {
		t.Errorf("resumed: %s, %v", states(res), err)
	}
}

func TestFullDiskStopsTheRun(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	var tasks []Task
	for i := range 6 {
		tasks = append(tasks, j.step(fmt.Sprint("t", i), ""))
	}
	tasks[2].Make = func(context.Context, Inputs, string, func(float64)) error {
		return &os.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}
	}
	res, err := Run(t.Context(), s, nil, 1, tasks)
	if !store.IsNoSpace(err) || !strings.Contains(fault.Format(err),
		"cannot be written: no space left on device\n  hint: free some space") ||
		strings.Count(err.Error(), "\n") != 0 {
		t.Errorf("error %v", err)
	}
	if got := states(res); got != "t0:made t1:made t2:failed t3:skipped t4:skipped t5:skipped" ||
		!store.IsNoSpace(res.Of("t5").Err) {
		t.Errorf("%s", got)
	}
}

func TestVerify(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	tasks := j.film("1", "a")
	runner := Runner{Store: s, Workers: 2, Verify: true}
	if _, err := runner.Run(t.Context(), tasks); err != nil { // nothing stored: makes
		t.Fatal(err)
	}
	j.take()
	res, err := runner.Run(t.Context(), tasks)
	if err != nil || len(strings.Fields(j.take())) != 5 || res.Stats.Run != 5 ||
		text(t, res.Path("mix")) != "mix1(conform/oboe)(conform/horn)" {
		t.Errorf("%s, %v", states(res), err)
	}
	tasks[0].Make = j.step("conform/oboe", "otherwise").Make // the key does not know
	res, err = runner.Run(t.Context(), tasks)
	var d *store.Difference
	if !errors.As(err, &d) || d.Action.Subject() != "conform/oboe" {
		t.Errorf("error %v", err)
	}
	// What comes after was rebuilt from the stored input, and fits.
	if got := states(res); got != "conform/oboe:failed conform/horn:made mix:made picture:made film:made" {
		t.Errorf("%s", got)
	}
}

func TestWrongGraphs(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	none := j.step("b", "")
	none.Make = nil
	wrong := j.step("b", "")
	wrong.Action = store.NewAction("r").Arg("x", func() {})
	for want, tasks := range map[string][]Task{
		`ID "a" is empty or used twice`:                {j.step("a", ""), j.step("a", "")},
		`ID "" is empty or used twice`:                 {j.step("", "")},
		`b comes after "c", which is not in the graph`: {j.step("b", "", "c")},
		"in or behind a circle: a, b, c": {j.step("a", "", "b"), j.step("b", "", "a"),
			j.step("c", "", "a"), j.step("d", "")},
		"b has nothing to do":     {none},
		"cannot be part of a key": {wrong},
	} {
		_, err := Run(t.Context(), s, nil, 1, tasks)
		_, err2 := Runner{Store: s}.Plan(t.Context(), tasks)
		if err == nil || !strings.Contains(err.Error(), want) || err2 == nil || err.Error() != err2.Error() {
			t.Errorf("got %v and %v, want %q", err, err2, want)
		}
	}
	if res, err := Run(t.Context(), s, nil, 1, nil); err != nil || res.Stats != (Stats{}) {
		t.Errorf("nothing to do: %+v, %v", res, err)
	}
}
