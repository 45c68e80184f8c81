package task

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"ripieno/assemble/store"
)

// loan is what was given away together: one task, or some of a batch.
type loan struct {
	group  []int
	since  time.Time
	help   chan struct{} // closed when this machine makes it as well
	helped bool          // it does
}

// mostLent is how many tasks of a batch another machine makes at once. Most of what a beginning
// costs is saved by then, and nobody knows how much memory that machine has.
const mostLent = 4

// nextLoan takes out of the list what is given next to one of so many machines: a ready task,
// with others of its batch while they cost less than each worker has still to do.
func (x *execution) nextLoan(machines int) []int {
	spare := x.ahead() // before any of it is taken out
	i := x.nextAway(machines)
	if i < 0 {
		return nil
	}
	group, batch := []int{i}, x.g.tasks[i].Batch
	if batch == nil || batch.Errand == nil {
		return group
	}
	spare -= x.costs[i]
	for _, j := range x.ready[:min(len(x.ready), farAhead)] {
		if x.g.tasks[j].Batch != batch || !x.isForOthers(j) {
			continue
		}
		if spare -= x.costs[j]; spare < 0 || len(group) >= min(mostLent, batch.Most) {
			break
		}
		group = append(group, j)
	}
	x.ready = slices.DeleteFunc(x.ready, func(i int) bool { return slices.Contains(group, i) })
	return group
}

// lend gives tasks away.
func (x *execution) lend(ctx context.Context, group []int) {
	l := &loan{group: group, since: time.Now(), help: make(chan struct{})}
	x.away[group[0]] = l
	in := make([]Inputs, len(group))
	for k, i := range group {
		x.files.give(x.fileOf(i))
		x.work[i].Start()
		in[k] = x.inputs(i)
	}
	open := x.openFiles() // here, since only the loop may look at the books
	go func() {
		began := time.Now()
		far := false
		ends := x.perform(ctx, group, in, func(members []Member) (wrong []error) {
			far, wrong = x.makeAway(ctx, members, open, l.help)
			return wrong
		})
		tellApart(ends, Elsewhere, began)
		// What another run had stored meanwhile was not asked for.
		for k := range ends {
			ends[k].away, ends[k].elsewhere = true, far && ends[k].made
		}
		x.ended <- ends
	}()
}

// memoryOf returns what tasks take together, in bytes.
func (x *execution) memoryOf(group []int) (memory int64) {
	for _, i := range group {
		memory += max(0, x.g.tasks[i].Memory)
	}
	return memory
}

// PartName returns what number k of the outputs is called that another machine makes at once,
// each a file with that ending.
func PartName(k int, ext string) string { return strconv.Itoa(k) + ext }

// parcel returns the errand of tasks with the paths of what they read. The key of several is made
// of theirs.
func (x *execution) parcel(members []Member) (p Parcel, err error) {
	t := &x.g.tasks[x.g.byID[members[0].ID]]
	p = Parcel{Action: t.Action, Errand: *t.Errand}
	// The key hangs on who is asked for: a part of what was out before is another order.
	if len(members) > 1 {
		var ids, keys, names []string
		for k, m := range members {
			a := x.g.tasks[x.g.byID[m.ID]].Action
			ids, keys, names = append(ids, m.ID), append(keys, a.ID().String()), append(names, PartName(k, a.Ending()))
		}
		p.Errand = t.Batch.Errand(ids)
		p.Action = store.NewAction("together").Arg("of", keys).Files(names...).For(t.Action.Subject())
	}
	p.Paths, err = PathsOf(p.Inputs, members[0].In)
	return p, err
}

// makeAway has tasks made elsewhere, and here as well once help is closed; what is ready first is
// their outputs. far reports that the other machine was.
func (x *execution) makeAway(ctx context.Context, members []Member, open []string,
	help <-chan struct{}) (far bool, wrong []error) {
	all := func(err error) []error { return slices.Repeat([]error{err}, len(members)) }
	p, err := x.parcel(members)
	if err != nil {
		return false, all(err)
	}
	p.Open = open
	dst := members[0].Tmp + ".away"
	if len(p.Action.Outputs()) > 0 {
		if err := os.Mkdir(dst, 0o777); err != nil {
			return false, all(err)
		}
	}
	awayCtx, recall := context.WithCancel(ctx)
	defer recall()
	away := make(chan error, 1)
	go func() { away <- x.Away.Make(awayCtx, p, dst) }()
	take := func() []error {
		if x.Away.Doubts(p) {
			return x.compare(ctx, members, p, dst)
		}
		return replace(members, dst)
	}
	select {
	case err := <-away:
		if err != nil {
			return false, all(errAway{err})
		}
		return true, take()
	case <-help:
	}
	homeCtx, leave := context.WithCancel(ctx)
	defer leave()
	home := make(chan []error, 1)
	go func() { home <- x.makeBeside(homeCtx, members) }()
	select {
	case wrong := <-home:
		recall()
		<-away // it may still write to dst
		return false, wrong
	case err := <-away:
		if err != nil {
			return false, <-home
		}
		leave()
		<-home
		return true, take()
	}
}

// places returns where the outputs of so many tasks lie that another machine made at dst.
func places(members []Member, dst string) []string {
	if len(members) == 1 {
		return []string{dst}
	}
	paths := make([]string, len(members))
	for k, m := range members {
		paths[k] = filepath.Join(dst, PartName(k, filepath.Ext(m.Tmp)))
	}
	return paths
}

// replace puts what another machine made at dst in the places of the outputs.
func replace(members []Member, dst string) []error {
	wrong := make([]error, len(members))
	for k, from := range places(members, dst) {
		if wrong[k] = os.RemoveAll(members[k].Tmp); wrong[k] == nil {
			wrong[k] = os.Rename(from, members[k].Tmp)
		}
	}
	return wrong
}

// compare makes here what was made elsewhere and lies at dst, and tells when the two differ. What
// was made here are the outputs.
func (x *execution) compare(ctx context.Context, members []Member, p Parcel, dst string) []error {
	names := x.g.tasks[x.g.byID[members[0].ID]].Action.Outputs()
	for _, m := range members {
		err := os.RemoveAll(m.Tmp)
		if err == nil && len(names) > 0 {
			err = os.Mkdir(m.Tmp, 0o777)
		}
		if err != nil {
			return slices.Repeat([]error{err}, len(members))
		}
	}
	wrong := x.makeHere(ctx, members)
	// One by one, so that what cannot be compared spoils nothing else.
	for k, path := range places(members, dst) {
		if wrong[k] != nil {
			continue
		}
		there, err := hashOf(path, names)
		if err != nil {
			wrong[k] = err
			continue
		}
		var here []byte
		if here, wrong[k] = hashOf(members[k].Tmp, names); wrong[k] == nil && !bytes.Equal(there, here) {
			x.Away.Differs(p, there, here)
		}
	}
	return wrong
}

// hashOf returns the SHA-256 of an output, of all its files one after the other.
func hashOf(path string, names []string) ([]byte, error) {
	if len(names) == 0 {
		names = []string{""}
	}
	h := sha256.New()
	for _, n := range names {
		f, err := os.Open(filepath.Join(path, n))
		if err != nil {
			return nil, err
		}
		n, err := io.Copy(h, f)
		f.Close()
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(h, "\n%d\n", n)
	}
	return h.Sum(nil), nil
}
