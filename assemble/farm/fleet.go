package farm

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"
	"sync"

	"ripieno/assemble/order"
	"ripieno/assemble/task"
)

// Fleet gives tasks of a run to the machines at a hub. It is a [task.Away].
type Fleet struct {
	*Home
	// Checked is the share of results that are made again at home, from 0 to 1.
	Checked float64
	// Tell is called with what a person should know.
	Tell func(text string)

	mu    sync.Mutex
	known map[string]order.File // by path; outputs in the store do not change
	wrong bool                  // a result differed: nothing is given away any more
}

// NewFleet returns a fleet of the machines that work for a home's hub.
func NewFleet(home *Home, checked float64, tell func(text string)) *Fleet {
	return &Fleet{Home: home, Checked: checked, Tell: tell, known: map[string]order.File{}}
}

// Room returns how many tasks may be away: one for each core, and one more for each
// machine, which has its files sent meanwhile.
func (f *Fleet) Room() int {
	f.mu.Lock()
	wrong := f.wrong
	f.mu.Unlock()
	if wrong || f.rests() || !f.nc.IsConnected() {
		return 0
	}
	cores, machines := f.crew.room(f.class)
	return cores + machines
}

// Space implements [task.Away].
func (f *Fleet) Space() int64 { return f.sent.space[readShelf] }

// Make implements [task.Away]. Errors mean that the output has to be made here; none
// of them is the user's. Hashes are compared before anything is sent, since a take
// may have been exchanged meanwhile.
func (f *Fleet) Make(ctx context.Context, p task.Parcel, dst string) error {
	args, err := json.Marshal(p.Args)
	if err != nil {
		return fmt.Errorf("farm: %s: %w", p.Rule, err)
	}
	o := order.Order{Key: p.Action.ID().String(), Rule: p.Rule, Args: args,
		Outputs: p.Action.Outputs(), Ext: p.Action.Ending()}
	for k, path := range p.Paths {
		file, err := f.describe(path)
		if err != nil {
			return err
		}
		if want := p.Inputs[k].Hash; want != "" && want != file.Hash {
			return fmt.Errorf("farm: %s is another file by now", path)
		}
		file.Name = "in-" + strconv.Itoa(k) + p.Inputs[k].Ext
		o.Inputs = append(o.Inputs, file)
	}
	f.sent.expect(f.hashesOf(p.Open))
	return f.Home.Make(ctx, o, p.Paths, dst)
}

// hashesOf returns the hashes of those files that are described.
func (f *Fleet) hashesOf(paths []string) map[string]bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	hashes := map[string]bool{}
	for _, path := range paths {
		hashes[f.known[path].Hash] = true
	}
	return hashes
}

// describe returns what a worker has to know of a file: its size and its hash. It reads the
// file once and remembers it for the whole run, since a take is part of many orders.
func (f *Fleet) describe(path string) (order.File, error) {
	f.mu.Lock()
	file, ok := f.known[path]
	f.mu.Unlock()
	if ok {
		return file, nil
	}
	file, err := hashed("", path)
	if err == nil {
		f.mu.Lock()
		f.known[path] = file
		f.mu.Unlock()
	}
	return file, err
}

// Doubts implements [task.Away]: it chooses by the key, so that every run asks for
// the same.
func (f *Fleet) Doubts(p task.Parcel) bool {
	id := p.Action.ID()
	// Keys are hashes, so their first 16 bits are as good as drawn by lot.
	const most = 1 << 16
	return float64(int(id[0])<<8|int(id[1]))/most < f.Checked
}

// Differs implements [task.Away]. One result that is wrong may stand for many that
// nobody compared.
func (f *Fleet) Differs(p task.Parcel, there, here []byte) {
	f.mu.Lock()
	first := !f.wrong
	f.wrong = true
	f.mu.Unlock()
	if first && f.Tell != nil {
		f.Tell(fmt.Sprintf("%s came home with other bytes than it has here (%.12s, %.12s): nothing more is given "+
			"away; run again with --verify to make again what came from elsewhere", p.Action.Subject(),
			hex.EncodeToString(there), hex.EncodeToString(here)))
	}
}
