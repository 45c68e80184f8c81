package task

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/store"
)

// chain returns a source, two tasks that read it and one that reads both of them,
// by references alone.
func chain() (source, left, right, both Ref[string]) {
	write := func(text string, refs ...Ref[string]) func(context.Context, Inputs, string, func(float64)) error {
		return func(_ context.Context, in Inputs, tmp string, _ func(float64)) error {
			for _, r := range refs {
				more, err := r.Read(in)
				if err != nil {
					return err
				}
				text += "(" + more + ")"
			}
			return os.WriteFile(tmp, []byte(text), 0o666)
		}
	}
	read := func(path string) (string, error) {
		b, err := os.ReadFile(path)
		return string(b), err
	}
	source = Of(Task{ID: ID("source", "a"), Action: store.NewAction("source").Ext(".txt"), Make: write("s")}, read)
	step := func(id string, refs ...Ref[string]) Ref[string] {
		t := Task{ID: id, Action: store.NewAction("step").Arg("id", id), Make: write(id, refs...)}
		for _, r := range refs {
			t.Needs("from", r)
			t.Needs("again", r) // is one edge
		}
		t.Action = t.Action.Ext(".txt")
		return Of(t, read)
	}
	left, right = step("left", source), step("right", source)
	return source, left, right, step("both", left, right)
}

// A dependency that is stated once is the edge, the ingredient of the key and
// the way to read; collecting finds everything from the end.
func TestRefs(t *testing.T) {
	source, left, right, both := chain()
	tasks := Collect(both, left)
	var ids []string
	for _, x := range tasks {
		ids = append(ids, x.ID)
	}
	if want := []string{"source/a", "left", "right", "both"}; !slices.Equal(ids, want) {
		t.Fatalf("collected %q, want %q", ids, want)
	}
	if got := both.Task().After; !slices.Equal(got, []string{"left", "right"}) {
		t.Errorf("both comes after %q", got)
	}
	for _, before := range []Ref[string]{left, right} {
		if !strings.Contains(both.Action().String(), before.Action().ID().String()) {
			t.Errorf("the key of both has nothing of %s", before.Task().ID)
		}
	}
	s := openStore(t, t.TempDir())
	res, err := Run(t.Context(), s, nil, 2, tasks)
	if err != nil {
		t.Fatal(err)
	}
	if got, ok, err := both.Result(res); got != "both(left(s))(right(s))" || !ok || err != nil {
		t.Errorf("%q, %v, %v", got, ok, err)
	}
	if got, ok, err := (Ref[string]{}).Result(res); got != "" || ok || err != nil {
		t.Errorf("nothing: %q, %v, %v", got, ok, err)
	}
	if _, err := source.Read(Inputs{"left": "x"}); err == nil || !strings.Contains(err.Error(), "source/a") {
		t.Errorf("an input that was not stated: %v", err)
	}
}

// Two computations under one ID are a mistake that a run reports.
func TestCollectKeepsWhatIsNotTheSame(t *testing.T) {
	make := func(context.Context, Inputs, string, func(float64)) error { return nil }
	a := Path(Task{ID: "a", Action: store.NewAction("x").Arg("n", 1), Make: make})
	b := Path(Task{ID: "a", Action: store.NewAction("x").Arg("n", 2), Make: make})
	tasks := Collect(a, a, b)
	if len(tasks) != 2 {
		t.Fatalf("%d tasks, want 2", len(tasks))
	}
	_, err := Run(t.Context(), openStore(t, t.TempDir()), nil, 1, tasks)
	if err == nil || !strings.Contains(err.Error(), `ID "a" is empty or used twice`) {
		t.Errorf("%v", err)
	}
}

// One file of an output of several is read by its name.
func TestRefToOneFile(t *testing.T) {
	r := File(Task{ID: "x"}, "a.wav")
	if got, err := r.Read(Inputs{"x": "/store/ab"}); err != nil || got != filepath.Join("/store/ab", "a.wav") {
		t.Errorf("%q, %v", got, err)
	}
	if r.IsZero() || !(Ref[int]{}).IsZero() {
		t.Error("only the zero reference refers to nothing")
	}
}
