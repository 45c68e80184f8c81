package soundtrack

import (
	"context"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/room"
)

// answerRule is the version of how the room is asked.
const answerRule = 1

// mostAnswer is the longest answer of a room that is kept, in seconds: what comes later
// lies 60 dB below in all but cathedrals.
const mostAnswer = 12

// Answers returns what the shared room says to one sample at the left and to one at the
// right, each as two channels. The room is linear and does not change with time, so
// whoever convolves the strips' sends with them has the room of the mix. None where the
// mix has no room. The left one comes first. The desk lets the room be heard with
// them.
func (t *Track) Answers() []task.Ref[string] {
	if !(t.mix.Room > 0) {
		return nil
	}
	var list []task.Ref[string]
	for side, name := range []string{"left", "right"} {
		one := task.Task{ID: task.ID("room", name), Name: "the room", Stage: "mix", Cost: 0.2,
			Action: store.NewAction("room").Version(rule*100+answerRule).Arg("hall", t.mix.Hall).Arg("side", name)}
		if t.room != nil {
			one.Needs("impulse", t.room.Sound.Samples)
		}
		one.Action = one.Action.Ext(".wav").For("the room")
		one.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			o, err := t.options(in)
			if err != nil {
				return err
			}
			return writeAnswer(ctx, o, t.mix.Hall, side, tmp)
		}
		list = append(list, task.Path(one))
	}
	return list
}

// writeAnswer writes what the room says to one sample on one side, in 32-bit float.
func writeAnswer(ctx context.Context, o mix.Options, hall plan.Hall, side int, tmp string) error {
	_, err := media.CreateWAV(ctx, tmp, audio.NewMemory(answer(o, hall, side), audio.Rate), media.Float32)
	return err
}

// answer returns what the room of a mix says to one sample on one side (0 left, 1 right): with
// that the desk's page can put any strip into the same room. At most mostAnswer seconds.
func answer(o mix.Options, hall plan.Hall, side int) audio.Block {
	var asked interface{ Process(out, in audio.Block) }
	// Its first reflections and a little more than the time in which it dies away.
	frames := audio.FramesAt(math.Min(mostAnswer, max(hall.Decay, 1.8)+0.3))
	if o.Impulse != nil {
		asked, frames = room.NewConvolver(o.Impulse), min(o.Impulse.Tail(), audio.FramesAt(mostAnswer))
	} else {
		asked = room.New(o.Hall)
	}
	blocks := (int(frames) + room.Partition - 1) / room.Partition
	out := audio.NewBlock(2, blocks*room.Partition)
	for i := range blocks {
		in := audio.NewBlock(2, room.Partition)
		if i == 0 {
			in[side][0] = 1
		}
		asked.Process(out.Slice(i*room.Partition, (i+1)*room.Partition), in)
	}
	return out
}
