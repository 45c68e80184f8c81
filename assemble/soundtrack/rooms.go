package soundtrack

import (
	"context"
	"fmt"
	"math"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/decay"
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
	t.Needs("sound", r.Samples)
	t.Needs("level", level)
	t.Action = t.Action.Ext(".gob").For(r.File)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		strip, a, err := readRecorded(in, r, s, level)
		if err != nil {
			return err
		}
		strip.Repair = a.Repair
		room, err := mix.HearRoom(strip, cue)
		if err != nil {
			return err
		}
		return store.Save(tmp, room)
	}
	return task.Value[decay.Room](t)
}

// RoomResult is what the clap of a take says of the room round it. Fields are added, never
// renamed.
type RoomResult struct {
	Early  float64 `json:"early_decay_s"` // ISO 3382-1
	Decay  float64 `json:"decay_s"`       // reverberation time, to −60 dB
	Direct float64 `json:"direct_db"`     // of the direct sound over the reverberation
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
	return []string{fmt.Sprintf("a room of %.1f s, direct sound %+.0f dB against it", r.Decay, r.Direct)}
}
