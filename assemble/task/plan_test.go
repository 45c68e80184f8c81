package task

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
)

func TestPlanSaysWhy(t *testing.T) {
	s, j := openStore(t, t.TempDir()), &journal{}
	plan := func(tasks []Task) string {
		t.Helper()
		p, err := Runner{Store: s}.Plan(t.Context(), tasks)
		if err != nil {
			t.Fatal(err)
		}
		var lines []string
		for _, x := range p {
			if x.Runs {
				lines = append(lines, x.String())
			}
		}
		return strings.Join(lines, "\n")
	}
	cold := plan(j.film("1", "a"))
	if strings.Count(cold, ": not made yet") != 5 || !strings.HasPrefix(cold, "run    step conform/oboe: ") {
		t.Errorf("cold:\n%s", cold)
	}
	res, err := Run(t.Context(), s, nil, 2, j.film("1", "a"))
	if err != nil {
		t.Fatal(err)
	}
	j.take()
	if got := plan(j.film("1", "a")); got != "" {
		t.Errorf("warm:\n%s", got)
	}
	if got, want := plan(j.film("2", "a")), "run    step mix: arg arg: was \"1\", is \"2\"\n"+
		"run    step film: arg through: was \"1a\", is \"2a\""; got != want {
		t.Errorf("gain:\n%s\nwant\n%s", got, want)
	}
	if err := os.Truncate(res.Path("picture"), 2); err != nil {
		t.Fatal(err)
	}
	// A damaged step is made again only when something needs it.
	if got := plan(j.film("1", "a")); got != "" {
		t.Errorf("damaged step below a sound film:\n%s", got)
	}
	if err := os.Truncate(res.Path("film"), 2); err != nil {
		t.Fatal(err)
	}
	want := "run    step picture: its output has 2 bytes instead of 36\nrun    step film: its output has 2 bytes " +
		"instead of 76"
	if got := plan(j.film("1", "a")); got != want {
		t.Errorf("damaged:\n%s\nwant\n%s", got, want)
	}
	if j.take() != "" {
		t.Error("planning ran something")
	}
	p, _ := Runner{Store: s}.Plan(t.Context(), j.film("1", "a"))
	if p[0].Runs || p[0].String() != "reuse  step conform/oboe" ||
		p[0].Key != j.film("1", "a")[0].Action.ID().String() {
		t.Errorf("%+v", p[0])
	}
}

// TestPlanIsWhatRuns: for random graphs with a random part of their outputs
// removed, exactly what was planned runs, and the outputs are right.
func TestPlanIsWhatRuns(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for round := range 12 {
		s, j := openStore(t, t.TempDir()), &journal{}
		var tasks []Task
		for i := range 2 + r.IntN(10) {
			var after []string
			for k := range i {
				if r.IntN(3) == 0 {
					after = append(after, fmt.Sprint("t", k))
				}
			}
			tasks = append(tasks, j.step(fmt.Sprint("t", i), "", after...))
			tasks[i].Keep = r.IntN(5) == 0
		}
		first, err := Run(t.Context(), s, nil, 1+r.IntN(4), tasks)
		if err != nil {
			t.Fatal(err)
		}
		want := map[string]string{}
		for _, x := range tasks {
			want[x.ID] = text(t, first.Path(x.ID))
			if r.IntN(2) == 0 {
				if err := s.Remove(x.Action.ID()); err != nil {
					t.Fatal(err)
				}
			}
		}
		j.take()
		runner := Runner{Store: s, Workers: 1 + r.IntN(4)}
		plan, err := runner.Plan(t.Context(), tasks)
		if err != nil {
			t.Fatal(err)
		}
		res, err := runner.Run(t.Context(), tasks)
		if err != nil {
			t.Fatal(err)
		}
		ran := strings.Fields(j.take())
		for i, p := range plan {
			if p.Runs != slices.Contains(ran, p.ID) || p.Runs != (res.Outcomes[i].State == Made) {
				t.Errorf("round %d: %s planned %v, ran %v", round, p.ID, p.Runs, ran)
			}
			if path := res.Path(p.ID); path != "" && text(t, path) != want[p.ID] {
				t.Errorf("round %d: %s is %q", round, p.ID, text(t, path))
			}
			if (tasks[i].Keep || i == len(tasks)-1) && res.Path(p.ID) == "" {
				t.Errorf("round %d: %s was asked for and is not there", round, p.ID)
			}
		}
		if res.Stats.Run+res.Stats.Reused != len(tasks) || res.Stats.Run != len(ran) {
			t.Errorf("round %d: %+v, ran %v", round, res.Stats, ran)
		}
	}
}
