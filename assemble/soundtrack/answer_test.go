package soundtrack

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/room"
)

// TestAnswersAreTheRoom: any sound convolved with the two answers is what the room makes
// of it, sample for sample.
func TestAnswersAreTheRoom(t *testing.T) {
	hall := plan.Hall{Decay: 0.4}
	o := mix.Options{Hall: room.Hall{Decay: 0.4}}
	answers := []audio.Block{answer(o, hall, 0), answer(o, hall, 1)}
	if n := answers[0].Frames(); n < int(2.1*audio.Rate) || n%room.Partition != 0 {
		t.Errorf("an answer of %d frames", n)
	}
	in, want := audio.NewBlock(2, room.Partition), audio.NewBlock(2, room.Partition)
	rng := rand.New(rand.NewPCG(5, 1))
	for i := range 40 { // a few samples are enough for every path
		in[i%2][i*97] = 2*rng.Float64() - 1
	}
	room.New(o.Hall).Process(want, in)
	loudest := 0.0
	for c := range 2 {
		for i := range room.Partition {
			got := 0.0
			for side := range 2 {
				for k := range 40 {
					if at := k * 97; k%2 == side && at <= i {
						got += in[side][at] * answers[side][c][i-at]
					}
				}
			}
			loudest = max(loudest, math.Abs(want[c][i]))
			if math.Abs(got-want[c][i]) > 1e-12 {
				t.Fatalf("channel %d, sample %d: %g by the answers, %g by the room", c, i, got, want[c][i])
			}
		}
	}
	if loudest < 1e-3 {
		t.Errorf("the room says nothing: %g", loudest)
	}
}

// TestNoRoomNoAnswer: a mix without a room asks for none.
func TestNoRoomNoAnswer(t *testing.T) {
	if list := (&Track{}).Answers(); list != nil {
		t.Errorf("%d answers", len(list))
	}
	if list := (&Track{bus: bus{mix: plan.Mix{Room: 0.2}}}).Answers(); len(list) != 2 ||
		list[0].Action().String() == list[1].Action().String() {
		t.Errorf("%d answers", len(list))
	}
}
