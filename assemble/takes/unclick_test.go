package takes

import (
	"slices"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// inFour is a piece in 4/4 with a count-in of four measures.
func inFour(t *testing.T, bpm float64, cue int) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{Measures: 8, Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: bpm}},
		CountIn: tempo.CountIn{Measures: 4, CueMeasure: cue, CueBeat: 1}})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Listening without clicks comes after the first listening, and its key holds all that it
// goes by: the guide's beats and its cue, and where and how fast the clicks are.
func TestUnclickTask(t *testing.T) {
	set, _ := oboe(ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil))
	r := set.Takes[0].Video
	plain := r.refs.features
	one := unclickTask(r, inFour(t, 90, 3), -4.25, 12)
	x := one.Task()
	if want := []string{"sound/oboe/video", "analyse/oboe/video"}; !slices.Equal(x.After, want) {
		t.Errorf("comes after %q, want %q", x.After, want)
	}
	if x.Action.ID() == plain.Action().ID() {
		t.Error("listening without clicks has the key of listening")
	}
	seen := map[store.ID]string{x.Action.ID(): "the first"}
	for name, ref := range map[string]task.Ref[*align.Features]{
		"another tempo":  unclickTask(r, inFour(t, 91, 3), -4.25, 12),
		"another cue":    unclickTask(r, inFour(t, 90, 4), -4.25, 12),
		"another place":  unclickTask(r, inFour(t, 90, 3), -4.26, 12),
		"another clock":  unclickTask(r, inFour(t, 90, 3), -4.25, 13),
		"another device": unclickTask(set.Takes[0].Audio, inFour(t, 90, 3), -4.25, 12),
	} {
		id := ref.Action().ID()
		if other, ok := seen[id]; ok {
			t.Errorf("%s has the key of %s", name, other)
		}
		seen[id] = name
	}
	if again := unclickTask(r, inFour(t, 90, 3), -4.25, 12); again.Action().ID() != x.Action.ID() {
		t.Error("the same question has another key")
	}
}
