package session

import (
	"context"
	"errors"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// Count is how much work a run did.
type Count struct {
	Run    int `json:"run"`
	Reused int `json:"reused"`
	Away   int `json:"away,omitempty"` // of Run: by other machines
}

// Add returns the work of both.
func (c Count) Add(o Count) Count { return Count{c.Run + o.Run, c.Reused + o.Reused, c.Away + o.Away} }

// Run makes what the store lacks of tasks; failures of single ones are left in
// the result. It fails when the run was cancelled or for what is nobody's take:
// a full disk, a missing program.
func (s *Session) Run(ctx context.Context, tasks []task.Task) (task.Result, error) {
	runner := s.runner()
	runner.Progress = s.set.Report
	res, err := runner.Run(ctx, tasks)
	s.differ.note(tasks, res)
	var failed task.Failures
	if errors.As(err, &failed) {
		for _, f := range failed {
			if IsFatal(f.Err) {
				return res, f.Err
			}
		}
		return res, nil
	}
	return res, err
}

// Plan tells what [Session.Run] would do with tasks now. It fails for tasks that are no
// graph, which is a bug, and when ctx ends.
func (s *Session) Plan(ctx context.Context, tasks []task.Task) ([]task.Planned, error) {
	return s.runner().Plan(ctx, tasks)
}

// Forecast tells what [Session.Run] would take with tasks now. It fails as
// [Session.Plan] does.
func (s *Session) Forecast(ctx context.Context, tasks []task.Task) (task.Forecast, error) {
	return s.runner().Forecast(ctx, tasks)
}

func (s *Session) runner() task.Runner {
	r := task.Runner{Store: s.kept, Workers: s.set.Workers, Memory: s.set.Memory, Verify: s.differ != nil, Away: s.away}
	if s.ran != nil {
		r.Observe = s.ran.add
	}
	return r
}

// IsFatal tells a full disk or a missing program, which is nobody's take, from
// what is wrong with one file.
func IsFatal(err error) bool {
	var f *fault.Fault
	var exit *ffmpeg.ExitError
	if !errors.As(err, &f) {
		return false
	}
	return f.Kind == fault.Failed || f.Kind == fault.FFmpeg && !errors.As(err, &exit)
}

// FirstFailure returns the first error of a run whose result is missing.
func FirstFailure(res task.Result) error {
	for _, o := range res.Outcomes {
		if o.State == task.Failed {
			return o.Err
		}
	}
	return errors.New("the run ended without a result and without an error")
}

// Differing is an output that came out otherwise when it was made again.
type Differing struct {
	ID      string `json:"id"`
	Name    string `json:"name"`
	Stage   string `json:"stage"`
	File    string `json:"file,omitempty"` // of an output of several
	Stored  string `json:"stored"`         // SHA-256
	Rebuilt string `json:"rebuilt"`
}

// Differences are the outputs that came out otherwise.
type Differences struct{ List []Differing }

// Has reports whether the output of a task is among them.
func (d *Differences) Has(id string) bool {
	return slices.ContainsFunc(d.List, func(o Differing) bool { return o.ID == id })
}

// note takes down what a verifying run has found.
func (d *Differences) note(tasks []task.Task, res task.Result) {
	if d == nil {
		return
	}
	for _, t := range tasks {
		var differs *store.Difference
		if !d.Has(t.ID) && errors.As(res.Of(t.ID).Err, &differs) {
			d.List = append(d.List, Differing{
				ID: t.ID, Name: t.Name, Stage: t.Stage, File: differs.File, Stored: differs.Stored.String(),
				Rebuilt: differs.Rebuilt.String(),
			})
		}
	}
}

// Verifying returns the same session whose runs make again what is stored and
// compare the bytes, and the differences that they find. Nothing stored is
// changed. The session that it came from is the one to close.
func (s *Session) Verifying() (*Session, *Differences) {
	v := *s
	v.differ = &Differences{}
	return &v, v.differ
}

// Borrowing returns the same session whose runs have tasks made elsewhere as well. The
// session that it came from is the one to close.
func (s *Session) Borrowing(away task.Away) *Session {
	b := *s
	b.away = away
	return &b
}

// Cached returns the stored value of an action, which compute gives when it is
// not there. The value's type has been numbered; see [store.Number].
func Cached[T any](ctx context.Context, s *store.Store, key store.Action, compute func() (T, error)) (T, error) {
	var value T
	path, err := s.Put(ctx, key, func(tmp string) error {
		v, err := compute()
		if err != nil {
			return err
		}
		return store.Save(tmp, v)
	})
	if err != nil {
		return value, err
	}
	return store.Load[T](path)
}
