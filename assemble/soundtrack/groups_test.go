package soundtrack

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
)

// crowd is the production with so many takes.
func crowd(n int) string {
	head, _, _ := strings.Cut(round, "takes:")
	var b strings.Builder
	b.WriteString(head + "takes:\n")
	for i := range n {
		fmt.Fprintf(&b,
			"  - {name: p%03d, part: Oboe, section: winds, audio: {file: intake/p%03d.wav, offset: 0}}\n", i, i)
	}
	return b.String()
}

// Up to 149 strips there is one sum; of 150 and more, groups of fifty in the order of strips,
// each strip in one, and their voices may go when a group is there.
func TestAVeryLargeMixIsAddedUpInGroups(t *testing.T) {
	for _, c := range []struct{ takes, groups int }{{149, 0}, {150, 3}, {163, 4}} {
		pl := plantest.Plan(t, crowd(c.takes), false)
		var sounds []Sound
		for _, s := range pl.Strips {
			made := task.File(task.Task{ID: task.ID("sound", s.Take), Action: store.NewAction("sound").Arg("take",
				s.Take).Files("sound.wav")}, "sound.wav")
			sounds = append(sounds, Sound{Samples: made, Name: s.Take, File: s.Take + ".wav", Seconds: 60})
		}
		track := New(plainTool(nil), 2, pl, sounds, nil, Casting{})
		var groups, voices []string
		passing := 0
		for _, x := range task.Collect(track.Master) {
			if strings.HasPrefix(x.ID, "sum/") {
				groups = append(groups, x.ID)
				for _, id := range x.After {
					if strings.HasPrefix(id, "voice/") {
						voices = append(voices, id)
					}
				}
			}
			if x.Passing {
				passing++
			}
		}
		if len(groups) != c.groups || c.groups > 0 && (len(voices) != c.takes || passing != c.takes ||
			!slices.IsSorted(voices)) || c.groups == 0 && passing > 0 {
			t.Errorf("%d takes: groups %q with %d voices, %d pass", c.takes, groups, len(voices), passing)
		}
	}
}

// Groups add up to what all strips are together, room included, and say the same of every strip.
func TestGroupsAddUpToTheSum(t *testing.T) {
	like := map[string]audio.Block{"oboe": sine(1000, 0.25, 9), "cello": sine(2000, 0.25, 9),
		"bass": sine(3000, 0.25, 9)}
	var sums []audio.Block
	var reports []Report
	for _, limit := range []int{4, 3} {
		var folder task.Ref[string]
		_, res := mixed(t, like, nil, func(t *Track) []task.Edge {
			folder = task.Path(t.sumTasks(limit, 2))
			return []task.Edge{folder}
		})
		dir, ok, err := folder.Result(res)
		if err != nil || !ok {
			t.Fatalf("%v, %v: %+v", ok, err, res.Outcomes)
		}
		rep, err := store.Load[soundReport](filepath.Join(dir, reportFile))
		if err != nil {
			t.Fatal(err)
		}
		sums, reports = append(sums, read(t, filepath.Join(dir, sumWAV))), append(reports, rep)
	}
	if sums[0].Frames() == 0 || sums[0].Frames() != sums[1].Frames() {
		t.Fatalf("%d and %d frames", sums[0].Frames(), sums[1].Frames())
	}
	worst := 0.0
	for c := range sums[0] {
		for i, v := range sums[0][c] {
			worst = max(worst, math.Abs(v-sums[1][c][i]))
		}
	}
	if worst > math.Pow(2, -23) || rms(sums[1][0]) < 0.003 { // half a step of float32 at full scale for each of two
		t.Errorf("they differ by %g; the sum has %g", worst, rms(sums[1][0]))
	}
	a, b := reports[0], reports[1]
	if fmt.Sprint(a.Gains, a.Strips, a.Voices) != fmt.Sprint(b.Gains, b.Strips, b.Voices) || len(b.Strips) != 3 ||
		math.Abs(float64(a.Sum.Integrated-b.Sum.Integrated)) > 1e-4 {
		t.Errorf("%+v\n%+v", a, b)
	}
}

// A group that ends early would leave its players out from there on.
func TestUnequalGroupsAreRefused(t *testing.T) {
	dir := t.TempDir()
	var list []*media.WAV
	for i, n := range []int{1000, 999} {
		path := filepath.Join(dir, fmt.Sprint(i))
		if _, err := media.CreateWAV(context.Background(), path, audio.NewMemory(audio.NewBlock(2, n), audio.Rate),
			media.Float32); err != nil {
			t.Fatal(err)
		}
		wav, err := media.OpenWAV(path)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, wav)
	}
	all := &added{list: list, even: true}
	defer all.Close()
	b := audio.NewBlock(2, 700)
	if n, err := all.Read(b); n != 700 || err != nil {
		t.Fatal(n, err)
	}
	if n, err := all.Read(b); err == nil || err == io.EOF {
		t.Errorf("%d frames, %v", n, err)
	}
}
