// Package assemble joins the rooms: it is the only place where the manifest,
// the media files, the measurements, the plan, the mix and ffmpeg meet. A
// [Production] has one method for each verb of the program; every method can
// be interrupted through its context and run again, gives the same result
// however often it runs, and pays only for what changed.
//
// What the package writes: the outputs in the folder out, sync.yaml beside the
// manifest, the manifest itself only for `sync --pin`, and the store in
// .ripieno. It never writes to a take.
package assemble

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// Names inside a production's folder.
const (
	storeFolder = ".ripieno"
	outFolder   = "out"
)

// Settings are what a verb needs besides the manifest.
type Settings struct {
	Dir     string // the production's folder
	Out     string // where films and sound go; "" is Dir/out
	Workers int    // tasks at once; 0 is one for each core
	// Memory bounds the estimated memory in bytes of what runs at once; 0 is
	// memoryPerWorker for each of Workers, and leastMemory at least.
	Memory int64
	// Store bounds the store in bytes: after a run that made a film or a mix
	// the least recently used results go until it fits. 0 is storeBound.
	Store int64
	// Encoder is what encodes finished films: "software" (or ""), "hardware",
	// "auto" for hardware where it works, or one of graph.Families.
	Encoder  string
	Programs ffmpeg.Options
	Report   progress.Reporter // never nil
	Now      func() time.Time  // the clock for durations told to people
}

// Bounds that Settings may leave open. A segment of 1080 lines takes half a
// gigabyte (see composeMemory), and one runs on each worker; the store's bound
// is a dozen productions of 25 players and five minutes.
const (
	memoryPerWorker = 600_000_000
	leastMemory     = 1_500_000_000
	storeBound      = 50_000_000_000
)

// Production is an open production folder.
type Production struct {
	set   Settings
	man   *manifest.Production
	tool  *ffmpeg.Tool
	store *store.Store
	room  *recording // the recorded room; nil: none
	look  look
	// verify makes every run make again what is stored; what came out
	// different is in differ.
	verify bool
	differ []Differing
	// codings are the encoders picked so far; sessions has room for what the
	// hardware may do at once.
	codings  map[picked]graph.Coding
	sessions chan struct{}
}

// encoders is what every film needs from ffmpeg.
var encoders = []string{"libx264", "aac"}

// Open reads the manifest, finds ffmpeg and takes the production's store,
// waiting while another run has it. Close gives it back.
func Open(ctx context.Context, set Settings) (*Production, error) {
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, err
	}
	return open(ctx, set, man)
}

func open(ctx context.Context, set Settings, man *manifest.Production) (*Production, error) {
	if set.Workers <= 0 {
		set.Workers = runtime.NumCPU()
	}
	if set.Memory <= 0 {
		set.Memory = max(leastMemory, int64(set.Workers)*memoryPerWorker)
	}
	if set.Store <= 0 {
		set.Store = storeBound
	}
	if set.Now == nil {
		set.Now = time.Now
	}
	if set.Out == "" {
		set.Out = filepath.Join(man.Dir, outFolder)
	}
	set.Encoder = cmp.Or(set.Encoder, encoderSoftware)
	if err := checkEncoder(set.Encoder); err != nil {
		return nil, err
	}
	p := &Production{set: set, man: man, sessions: make(chan struct{}, hardwareSessions)}
	var err error
	if p.tool, err = set.Programs.Find(ctx); err != nil {
		return nil, err
	}
	if err := p.tool.Require(encoders...); err != nil {
		return nil, err
	}
	if err := p.files(); err != nil {
		return nil, err
	}
	if p.store, err = store.Open(filepath.Join(man.Dir, storeFolder)); err != nil {
		return nil, err
	}
	p.store.SetBound(set.Store)
	err = p.store.LockWait(ctx, func(pid int) {
		set.Report.Message(fmt.Sprintf("another run (process %d) has this production; waiting until it has finished", pid))
	})
	if err != nil {
		p.store.Close()
		return nil, err
	}
	return p, nil
}

// Close lets the next run in.
func (p *Production) Close() error { return p.store.Close() }

// files makes room for as many open files as a shot of all takes needs: ffmpeg
// opens every conformed picture of a segment at once. spareFiles is for what
// every process has open besides.
func (p *Production) files() error {
	const spareFiles = 64
	need := uint64(len(p.man.Takes) + spareFiles)
	if have, err := ffmpeg.RaiseFileLimit(); err == nil && have < need {
		return fault.New(fault.Failed, p.man.Path, fmt.Sprintf("%d takes need %d open files, and this system allows %d", len(p.man.Takes), need, have),
			fmt.Sprintf("allow more with `ulimit -n %d`, or use shots that show one section at a time", need))
	}
	return nil
}

// out is the path of an output. It makes the folder and finds out that it
// cannot be written before any work is done.
func (p *Production) out(name string) (string, error) {
	if err := os.MkdirAll(p.set.Out, 0o777); err != nil {
		return "", unwritable(p.set.Out, err)
	}
	probe, err := os.CreateTemp(p.set.Out, ".writable-*")
	if err != nil {
		return "", unwritable(p.set.Out, err)
	}
	probe.Close()
	os.Remove(probe.Name())
	return filepath.Join(p.set.Out, name), nil
}

func unwritable(dir string, err error) error {
	return fault.New(fault.Failed, dir, "the output folder cannot be written", "make it writable, or choose another with --out").Because(err)
}
