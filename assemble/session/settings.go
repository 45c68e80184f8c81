package session

import (
	"cmp"
	"path/filepath"
	"runtime"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/progress"
)

// Names inside a production's folder.
const (
	StoreFolder = ".ripieno"
	OutFolder   = "out"
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
	Encoder string
	// Decoder is what decodes the pictures of takes: "software" (or ""), "auto" for
	// hardware where it gives the same, or one of graph.Devices.
	Decoder string
	// With invites to other machines that make pictures of films; "" is none. See package
	// farm.
	With string
	// SeenTakes is a folder of takes that those machines see as well, and Bucket the address
	// of a bucket in which files lie for them, with its key; "" is none.
	SeenTakes, Bucket string
	// Recheck is the percentage of what they made that is made again here and compared,
	// 0 to 100.
	Recheck float64

	Programs ffmpeg.Options
	Profile  string            // the file that says what ran from when to when; "" is none
	Report   progress.Reporter // never nil
	Now      func() time.Time  // the clock for durations told to people
}

// Bounds that Settings may leave open. A segment of 1080 lines takes half a
// gigabyte (see package picture), and one runs on each worker; the store's bound
// is a dozen productions of 25 players and five minutes.
const (
	memoryPerWorker = 600_000_000
	leastMemory     = 1_500_000_000
	storeBound      = 50_000_000_000
)

// complete returns the settings with what they leave open filled in for the
// production in dir. It fails when the encoder is no choice.
func (set Settings) complete(dir string) (Settings, error) {
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
		set.Out = filepath.Join(dir, OutFolder)
	}
	set.Encoder = cmp.Or(set.Encoder, graph.UseSoftware)
	set.Decoder = cmp.Or(set.Decoder, graph.UseSoftware)
	return set, cmp.Or(graph.CheckChoice(set.Encoder), graph.CheckDecoder(set.Decoder))
}
