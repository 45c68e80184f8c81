package task

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/store"
)

// ID joins the words that tell a task from all others of its graph: what it
// does, and for whom. It stays the same from run to run.
func ID(words ...string) string { return strings.Join(words, "/") }

// Ref is a task as others depend on it: the key of its output, the edge of the
// graph and the way to read the output, in one value. [Task.Needs] and
// [Task.Reads] state the dependency, [Ref.Read] reads it.
type Ref[T any] struct {
	task *Task
	load func(path string) (T, error)
}

// Of returns a reference to t, whose output load reads. t is complete by then.
func Of[T any](t Task, load func(path string) (T, error)) Ref[T] { return Ref[T]{&t, load} }

// Value returns a reference to a task that stores one value; see [store.Save].
func Value[T any](t Task) Ref[T] { return Of(t, store.Load[T]) }

// Path returns a reference to a task whose readers want the output's path.
func Path(t Task) Ref[string] { return Of(t, func(path string) (string, error) { return path, nil }) }

// File returns a reference to a task whose readers want the path of one file of
// an output of several; see [store.Action.Files].
func File(t Task, name string) Ref[string] {
	return Of(t, In(name, func(path string) (string, error) { return path, nil }))
}

// In returns a function that reads one file of an output of several; see
// [store.Action.Files].
func In[T any](name string, load func(path string) (T, error)) func(string) (T, error) {
	return func(folder string) (T, error) { return load(filepath.Join(folder, name)) }
}

// IsZero reports whether r refers to nothing.
func (r Ref[T]) IsZero() bool { return r.task == nil }

// Action returns the description of the output.
func (r Ref[T]) Action() store.Action { return r.task.Action }

// Task returns the task whose output r refers to, as it is once all its ingredients are
// stated; nil for the zero Ref.
func (r Ref[T]) Task() *Task { return r.task }

// Read returns what the task has made. It fails when the reader did not state
// that it depends on r.
func (r Ref[T]) Read(in Inputs) (T, error) {
	path, err := r.Path(in)
	if err != nil {
		var none T
		return none, err
	}
	return r.load(path)
}

// Path returns where the output lies. It fails when the reader did not state
// that it depends on r.
func (r Ref[T]) Path(in Inputs) (string, error) {
	path, ok := in[r.task.ID]
	if !ok {
		return "", fmt.Errorf("task: %s is read by a task that does not depend on it", r.task.ID)
	}
	return path, nil
}

// ReadAll returns what each of refs has made, in their order. It fails with the first
// that cannot be read.
func ReadAll[T any](refs []Ref[T], in Inputs) ([]T, error) {
	list := make([]T, len(refs))
	for i, r := range refs {
		var err error
		if list[i], err = r.Read(in); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Outcome returns what became of the task in a run; the zero Outcome when it
// was no part of it.
func (r Ref[T]) Outcome(res Result) Outcome {
	if r.task == nil {
		return Outcome{}
	}
	return res.Of(r.task.ID)
}

// Result returns what the task has made in a run. ok is false when there is no output,
// which the outcome tells more of. It fails when the output cannot be read.
func (r Ref[T]) Result(res Result) (value T, ok bool, err error) {
	path := r.Outcome(res).Path
	if path == "" {
		return value, false, nil
	}
	value, err = r.load(path)
	return value, err == nil, err
}

// Edge is a [Ref] whatever its output.
type Edge interface{ Task() *Task }

// Needs states that t reads the output of e, which is an ingredient of its key
// by the name given.
func (t *Task) Needs(name string, e Edge) {
	t.Action = t.Action.Input(name, e.Task().Action.ID())
	t.Reads(e)
}

// Reads states that t reads the output of e. Whatever changes that output
// changes t's key by other ingredients.
func (t *Task) Reads(e Edge) {
	before := e.Task()
	if slices.Contains(t.After, before.ID) {
		return
	}
	t.After = append(t.After, before.ID)
	t.before = append(t.before, before)
}

// Collect returns the tasks that edges refer to and all that those depend on,
// each once and behind what it depends on, in the order of the edges. Two tasks
// of one ID that are not the same computation stay two, which no run accepts.
func Collect(edges ...Edge) []Task {
	var list []Task
	known := map[string]store.ID{}
	var add func(t *Task)
	add = func(t *Task) {
		if key, met := known[t.ID]; met && key == t.Action.ID() {
			return
		}
		known[t.ID] = t.Action.ID()
		for _, b := range t.before {
			add(b)
		}
		list = append(list, *t)
	}
	for _, e := range edges {
		add(e.Task())
	}
	return list
}
