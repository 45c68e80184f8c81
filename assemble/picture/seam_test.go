package picture

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// round is a small production: two takes, then a solo of the second.
const round = `version: 1
title: Test Round
release: yes
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
  - {name: oboe, player: Ada, part: Oboe, video: {file: intake/oboe.mp4, offset: 0}}
  - {name: horn, player: Ben, part: Horn, video: {file: intake/horn.mp4, offset: 0}}
picture: {fps: 30, aspect: 16:9, lead_in: 1, tail: 1, background: "#204060"}
shots: [{from: start, show: tutti}, {from: m3, show: solo, take: horn}]
deliver: [{name: final, canvas: 1280x720}]
`

// recorder is a tool that keeps the arguments it is given and makes nothing.
type recorder struct{ args []string }

var errRecorded = errors.New("recorded")

func (r *recorder) tool() *ffmpeg.Tool {
	return ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), []string{"zscale"}, func(c ffmpeg.Command) error {
		r.args = c.Args
		return errRecorded
	})
}

// planned plans the production with words of its manifest replaced, and returns
// the tasks of its film.
func planned(t *testing.T, r *recorder, changes ...string) (*plan.Plan, Film, []task.Task) {
	t.Helper()
	pl := plantest.Plan(t, round, true, changes...)
	f, err := New(r.tool(), nil, pl, &Assets{}, nil).Film(pl.Films[0], heard())
	if err != nil {
		t.Fatal(err)
	}
	return pl, f, task.Collect(f.Edges...)
}

// heard returns the film's sound, which something else makes.
func heard() task.Ref[string] {
	return task.Path(task.Task{ID: "sound", Action: store.NewAction("sound").Ext(".m4a")})
}

// stages counts tasks by stage.
func stages(tasks []task.Task) map[string]int {
	n := map[string]int{}
	for _, t := range tasks {
		n[t.Stage]++
	}
	return n
}

// A film is its pictures, its drawings, its segments and what joins them, each
// behind what it reads and depending on nothing else.
func TestFilmAsTasks(t *testing.T) {
	pl, f, tasks := planned(t, &recorder{})
	n := stages(tasks)
	// Both takes in the grid and the soloist once more, larger.
	if n["conform"] != 3 || n["compose"] != len(pl.Films[0].Segments) || n["join"] != 1 || n["flashes"] != 1 ||
		n["poster"] != 0 {
		t.Fatalf("stages %v of %d segments", n, len(pl.Films[0].Segments))
	}
	at := map[string]int{}
	for i, x := range tasks {
		for _, id := range x.After {
			if k, ok := at[id]; !ok || k >= i {
				t.Errorf("%s stands before %s, which it reads", x.ID, id)
			}
		}
		at[x.ID] = i
	}
	join := f.Joined.Task()
	if len(join.After) != 1+len(pl.Films[0].Segments) || join.After[0] != "sound" {
		t.Errorf("the film is joined of %q", join.After)
	}
	for _, x := range tasks {
		if x.Stage != "compose" {
			continue
		}
		pictures := 0
		for _, id := range x.After {
			if strings.HasPrefix(id, "conform/") {
				pictures++
			}
		}
		want := 2
		if !strings.HasSuffix(x.Name, "from 0.0 s") && !strings.HasSuffix(x.Name, "from 2.5 s") { // the solo
			want = 1
		}
		if pictures != want {
			t.Errorf("%s shows %d pictures, want %d", x.Name, pictures, want)
		}
	}
}

// What is asked of ffmpeg follows from the plan: the take's file behind its
// limits, its size, its clock and its frames.
func TestArgumentsOfConforming(t *testing.T) {
	r := &recorder{}
	_, f, tasks := planned(t, r)
	for i, c := range f.Conforms {
		made := *f.Conformed[i].Task()
		if !slices.ContainsFunc(tasks, func(x task.Task) bool { return x.ID == made.ID }) {
			t.Fatalf("%s is none of the film's tasks", made.ID)
		}
		tmp := filepath.Join(t.TempDir(), "out.mp4")
		if err := made.Make(t.Context(), nil, tmp, func(float64) {}); !errors.Is(err, errRecorded) {
			t.Fatal(err)
		}
		line := strings.Join(r.args, " ")
		for _, want := range []string{"-i file:/takes/" + c.Take + ".mp4", "-protocol_whitelist",
			"-/filter_complex " + tmp + ".graph", "file:" + tmp} {
			if !strings.Contains(line, want) {
				t.Errorf("%s: no %q in %s", c.Take, want, line)
			}
		}
		graph, err := os.ReadFile(tmp + ".graph")
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(graph), fmt.Sprint(c.W)) || !strings.Contains(string(graph), fmt.Sprint(c.H)) {
			t.Errorf("%s: %dx%d is not in %s", c.Take, c.W, c.H, graph)
		}
	}
}

// A segment opens every picture under a name of its own, even one that it shows
// twice, and none that it does not show.
func TestArgumentsOfComposing(t *testing.T) {
	r := &recorder{}
	_, _, tasks := planned(t, r)
	in := task.Inputs{"sound": "/store/sound.m4a"}
	for i, x := range tasks {
		in[x.ID] = fmt.Sprintf("/store/%03d", i)
	}
	for _, x := range tasks {
		if x.Stage != "compose" {
			continue
		}
		dir := filepath.Join(t.TempDir(), "segment")
		if err := os.MkdirAll(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		mine := task.Inputs{}
		for _, id := range x.After {
			mine[id] = in[id]
		}
		if err := x.Make(t.Context(), mine, dir, func(float64) {}); !errors.Is(err, errRecorded) {
			t.Fatalf("%s: %v", x.Name, err)
		}
		var inputs []string
		for i, a := range r.args {
			if a == "-i" {
				inputs = append(inputs, r.args[i+1])
			}
		}
		if got := slices.Compact(slices.Sorted(slices.Values(inputs))); len(got) != len(inputs) {
			t.Errorf("%s: an input is named twice in %q", x.Name, inputs)
		}
		opened := map[string]bool{}
		for _, path := range inputs {
			path = strings.TrimPrefix(path, "file:")
			if to, err := os.Readlink(path); err == nil {
				path = to
			}
			opened[path] = true
		}
		// The first is the plain background, which fills holes; there are none
		// here.
		for _, id := range x.After[1:] {
			if !opened[in[id]] {
				t.Errorf("%s depends on %s and does not open it", x.Name, id)
			}
		}
		if len(opened) != len(x.After)-1 {
			t.Errorf("%s opens %d things and depends on %d", x.Name, len(opened), len(x.After)-1)
		}
		// Without one of its inputs it says which.
		delete(mine, x.After[len(x.After)-1])
		if err := x.Make(t.Context(), mine, dir+"-less", func(float64) {}); err == nil || errors.Is(err, errRecorded) {
			t.Errorf("%s without an input: %v", x.Name, err)
		}
	}
}

// What a change of the manifest makes again, by the keys alone.
func TestWhatAChangeMakesAgain(t *testing.T) {
	_, _, was := planned(t, &recorder{})
	known := map[store.ID]bool{}
	for _, x := range was {
		known[x.Action.ID()] = true
	}
	for _, c := range []struct {
		what, old, new string
		again          map[string]bool // stages
	}{
		{"nothing", "Test Round", "Test Round", nil},
		{"a gain", "{name: oboe, ", "{name: oboe, gain: -3, ", nil},
		{"another title", "Test Round", "Other Round", map[string]bool{"join": true}},
		{"another name", "player: Ada", "player: Eve", map[string]bool{"draw": true, "compose": true, "join": true,
			"flashes": true}},
		{"another solo", "take: horn", "take: oboe", map[string]bool{"conform": true, "draw": true, "compose": true,
			"join": true, "flashes": true}},
		{"another background", "#204060", "#602040", map[string]bool{"draw": true, "compose": true, "join": true,
			"flashes": true}},
		{"an earlier solo", "from: m3", "from: m2", map[string]bool{"conform": true, "compose": true, "join": true,
			"flashes": true}},
	} {
		_, _, now := planned(t, &recorder{}, c.old, c.new)
		again := map[string]bool{}
		for _, x := range now {
			if !known[x.Action.ID()] {
				again[x.Stage] = true
			}
		}
		for stage := range again {
			if !c.again[stage] {
				t.Errorf("%s makes %s again", c.what, stage)
			}
		}
		for stage := range c.again {
			if !again[stage] && stage != "conform" {
				t.Errorf("%s does not make %s again", c.what, stage)
			}
		}
	}
}
