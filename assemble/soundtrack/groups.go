package soundtrack

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// A very large ensemble is added up in groups, in the order of its strips, and then the
// groups. So the voices of a group may leave the store when the group is there: those of a
// thousand takes of five minutes take 58 GB at once, of fifty 3. A sum of groups is that of
// all strips but for the rounding of float32, 150 dB below full scale; every group has the
// room of its own strips, and rooms add up as well. Smaller productions keep the one sum, so
// that what they have stays theirs.
const (
	groupedFrom = 150 // strips
	groupSize   = 50
)

// sumTasks returns the task that adds all strips up: at once when there are fewer than limit,
// else in groups of size. Tests ask for smaller limits.
func (t *Track) sumTasks(limit, size int) task.Task {
	if len(t.parts) < limit {
		return t.sumTask("sum", task.ID("sum"), t.parts)
	}
	total := task.Task{
		ID: task.ID("sum"), Name: "all strips", Stage: "mix", Bytes: 2 * sampleBytes * int64(t.line.AudioLen),
		Action: store.NewAction("total").Version(rule).Arg("length", t.line.AudioLen),
	}
	var groups []task.Ref[string]
	for from := 0; from < len(t.parts); from += size {
		to := min(from+size, len(t.parts))
		group := t.sumTask("group", task.ID("sum", fmt.Sprint(from+1)), t.parts[from:to])
		group.Name = fmt.Sprintf("strips %d to %d", from+1, to)
		groups = append(groups, task.Path(group))
		total.Needs("group", groups[len(groups)-1])
	}
	total.Action = total.Action.Files(sumWAV, reportFile)
	total.Cost = 0.1 + costSum*t.line.Duration()*float64(len(groups))
	total.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		return addGroups(ctx, in, groups, tmp)
	}
	return total
}

// addGroups adds the sums of groups up into a file in dir and joins their reports.
func addGroups(ctx context.Context, in task.Inputs, groups []task.Ref[string], dir string) (err error) {
	var rep soundReport
	all := &added{even: true}
	defer func() { err = errors.Join(err, all.Close()) }()
	for _, g := range groups {
		folder, err := g.Read(in)
		if err != nil {
			return err
		}
		part, err := store.Load[soundReport](filepath.Join(folder, reportFile))
		if err != nil {
			return err
		}
		rep.Strips, rep.Voices = append(rep.Strips, part.Strips...), append(rep.Voices, part.Voices...)
		rep.Gains = append(rep.Gains, part.Gains...)
		wav, err := media.OpenWAV(filepath.Join(folder, sumWAV))
		if err != nil {
			return err
		}
		all.list = append(all.list, wav)
	}
	if rep.Sum, err = writeSum(ctx, all, filepath.Join(dir, sumWAV)); err != nil {
		return err
	}
	return store.Save(filepath.Join(dir, reportFile), rep)
}
