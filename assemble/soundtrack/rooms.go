package soundtrack

import (
	"fmt"
	"math"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/decay"
	"ripieno/mix/robust"
)

// costRoom is the estimated cost in seconds of one core of measuring a room: a recording is
// read as far as its clap.
const costRoom = 0.02

// The type that is stored of a room, with the number it has for ever.
var _ = store.Number(45, decay.Room{})

// roomTask measures the room of a recording by the clap at the cue, which is in seconds of
// guide time.
func roomTask(r Sound, s plan.Strip, cue float64, level task.Ref[mix.Analysis]) task.Ref[decay.Room] {
	t := task.Task{
		ID: task.ID("clap", r.Name), Name: r.File, Stage: "measure", Cost: costRoom,
		Action: store.NewAction("clap").Version(decay.Version).Arg("clock", s.Sound.Clock).
			Arg("delay", s.Treat.Delay).Arg("cue", cue),
	}
	return listenTo(t, r, s, level, func(strip mix.Strip) (decay.Room, error) { return mix.HearRoom(strip, cue) })
}

// RoomResult is what the clap of a take says of the room round it. Fields are added, never
// renamed.
type RoomResult struct {
	Early  float64 `json:"early_decay_s"` // ISO 3382-1
	Decay  float64 `json:"decay_s"`       // reverberation time, to −60 dB
	Direct float64 `json:"direct_db"`     // of the direct sound over the reverberation
	// Lacks is by how much more of the shared hall would make the take as reverberant as the
	// middle one of the others; nil without a hall.
	Lacks *float64 `json:"hall_lacks_db,omitempty"`
}

// roomResult returns what is known of a room; nil where its decay was not to be told.
func roomResult(r decay.Room) *RoomResult {
	if !r.Clap || math.IsNaN(r.Decay) || math.IsNaN(r.Early) {
		return nil
	}
	return &RoomResult{Early: math.Round(r.Early*100) / 100, Decay: math.Round(r.Decay*100) / 100,
		Direct: math.Round(r.Direct*10) / 10}
}

// words says it for the table of strips.
func (r *RoomResult) words() []string {
	if r == nil {
		return nil
	}
	notes := []string{fmt.Sprintf("a room of %.1f s, direct sound %+.0f dB against it", r.Decay, r.Direct)}
	switch {
	case r.Lacks == nil || math.Abs(*r.Lacks) < worthSending:
	case *r.Lacks > 0:
		notes = append(notes, fmt.Sprintf("drier than the others: %.0f dB more send would even it out", *r.Lacks))
	default:
		notes = append(notes, fmt.Sprintf("wetter than the others: %.0f dB less send would even it out", -*r.Lacks))
	}
	return notes
}

// What a send may be changed by, and from when on that is worth saying, dB (common
// practice, no source).
const mostSend, leastSend, worthSending = 6.0, -12.0, 3.0

// fillHall says of each room what it lacks in a hall as strong as room beside the dry sound:
// with that much, reverberation and hall together stand against the direct sound as they do
// in the middle one of all. Of fewer than two nothing is said.
func fillHall(rooms []*RoomResult, room float64) {
	var shares []float64 // power of the reverberation beside the direct sound
	for _, r := range rooms {
		if r != nil {
			shares = append(shares, math.Pow(10, -r.Direct/10))
		}
	}
	if len(shares) < 2 || !(room > 0) {
		return
	}
	middle, hall := robust.Quantile(shares, 0.5), room*room
	want := middle + hall*(1+middle)
	for _, r := range rooms {
		if r == nil {
			continue
		}
		// Direct and reverberant sound of a strip together are 1, as the hall takes them.
		share := math.Pow(10, -r.Direct/10)
		lacks := (want - share) / (1 + share) / hall
		db := min(max(math.Round(20*math.Log10(max(lacks, 1e-3)))/2, leastSend), mostSend)
		r.Lacks = &db
	}
}
