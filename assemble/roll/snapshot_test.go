package roll

import (
	"slices"
	"testing"

	"ripieno/assemble/takes"
)

// What is different is told by take: who came, went or changed, what is wrong now
// and what no longer is, and what lies elsewhere by more than one hears.
func TestChanges(t *testing.T) {
	oboe := takes.Placed{Name: "oboe", Role: "video", Offset: -1.5, Confidence: 0.995, Sure: true}
	moved := func(by float64) takes.Placed { p := oboe; p.Offset += by; return p }
	asked := oboe
	asked.Sure, asked.Question = false, "clap at 3.00 s (60 %) or 4.00 s (40 %)"
	otherwise := asked
	otherwise.Question = "nothing is heard"
	line := func(status Status, why ...string) Line { return Line{Name: "oboe", Status: status, Why: why} }
	snap := func(placed []takes.Placed, lines ...Line) *Snapshot {
		return &Snapshot{Roll: Roll{Takes: lines}, Placed: placed}
	}
	one := func(p takes.Placed) []takes.Placed { return []takes.Placed{p} }
	for _, c := range []struct {
		what        string
		before, now *Snapshot
		want        []string
	}{
		{"nothing", snap(one(oboe), line(StatusIn)), snap(one(oboe), line(StatusIn)), nil},
		{"it came", snap(nil, line(StatusMissing)), snap(one(oboe), line(StatusIn)),
			[]string{"oboe was missing and is in", "oboe (video) placed at -1.500 s (confidence 0.99)"}},
		{"it came, and something is wrong", snap(nil, line(StatusLate)),
			snap(nil, line(StatusRejected, "silent", "short")),
			[]string{"oboe was late and is rejected", "oboe: silent; short"}},
		{"it is new in the manifest", snap(nil), snap(nil, line(StatusIn, "soft")),
			[]string{"oboe is new: in", "oboe: soft"}},
		{"it is gone", snap(nil, line(StatusIn)), snap(nil), []string{"oboe is gone"}},
		{"mended", snap(nil, line(StatusIn, "soft")), snap(nil, line(StatusIn)),
			[]string{"oboe: nothing is wrong any more"}},
		{"something else is wrong", snap(nil, line(StatusIn, "soft")), snap(nil, line(StatusIn, "loud")),
			[]string{"oboe: loud"}},
		{"moved by less than one hears", snap(one(oboe)), snap(one(moved(0.0019))), nil},
		{"moved", snap(one(oboe)), snap(one(moved(0.0021))),
			[]string{"oboe (video) placed at -1.498 s (confidence 0.99)"}},
		{"in doubt now", snap(one(oboe)), snap(one(asked)),
			[]string{"oboe (video) needs review: clap at 3.00 s (60 %) or 4.00 s (40 %)"}},
		{"still in doubt", snap(one(asked)), snap(one(otherwise)), nil},
		{"decided", snap(one(asked)), snap(one(oboe)), []string{"oboe (video) placed at -1.500 s (confidence 0.99)"}},
	} {
		if got := c.before.Changes(c.now); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
	}
}

// A snapshot has every take's faults once: what the roll says of a take stands for
// what placing it says.
func TestSnapshotTellsEachTakeOnce(t *testing.T) {
	known := []takes.Fault{{Take: "oboe", What: "cut off"}}
	more := []takes.Fault{{Take: "oboe", What: "no place"}, {Take: "horn", What: "no place"},
		{Take: "", What: "releases"}}
	s := NewSnapshot(Roll{Faults: known}, []takes.Placed{{Name: "oboe"}}, more)
	var got []string
	for _, b := range s.Roll.Faults {
		got = append(got, b.Take+": "+b.What)
	}
	if want := []string{"oboe: cut off", "horn: no place", ": releases"}; !slices.Equal(got, want) ||
		len(s.Placed) != 1 {
		t.Errorf("%q of %d, want %q", got, len(s.Placed), want)
	}
	if len(known) != 1 {
		t.Error("the roll's own list was changed")
	}
}
