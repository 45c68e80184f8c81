package soundtrack

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/blend"
	"ripieno/mix/mask"
)

// The type that the tests store.
var _ = store.Number(901, []direct.Turn{})

// cast has one phrase over the whole piece with the roles of viola, tuba and bell.
func cast(roles ...direct.Role) Casting {
	turns := []direct.Turn{{From: 4, To: 12, Roles: roles}}
	return Casting{[]string{"oboe", "cello", "bass"}, task.Value[[]direct.Turn](task.Task{ID: "roles",
		Action: store.NewAction("roles").Arg("roles", roles).Ext(".gob"),
		Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			return store.Save(tmp, turns)
		}})}
}

// Two who play the same tone, a viola and a tuba, and a bell above them.
var (
	unison = map[string]audio.Block{"oboe": sine(440, 0.2, 20), "cello": sine(440, 0.1, 20),
		"bass": sine(3000, 0.1, 20)}
	violaAndTuba = []string{"part: Oboe", "part: Viola", "part: Cello", "part: Tuba", "part: Bass", "part: Bell",
		"gain: -1.5", "gain: 0", "mix: {loudness: -16, true_peak: -1, room: 0.2}",
		"picture: {lead_in: 0, tail: 0}\nmix: {loudness: -16, true_peak: -1, balance: ensemble, clean: off}"}
)

// blendedMix mixes the three under balance of an ensemble and returns the report of the sum, its
// samples, what is said of the viola, and the strips as the desk has them.
func blendedMix(t *testing.T, who Casting, changes ...string) (Report, audio.Block, []*BlendResult, []Loose) {
	t.Helper()
	all := append(slices.Clone(violaAndTuba), changes...)
	track, res := mixedAs(t, who, unison, all, func(track *Track) []task.Edge {
		return append(track.LooseEdges(), track.added, track.Sum)
	})
	rep, ok, err := track.added.Result(res)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	path, _, err := track.Sum.Result(res)
	if err != nil {
		t.Fatal(err)
	}
	list, err := track.blended(res)
	if err != nil {
		t.Fatal(err)
	}
	loose, failed := track.Loose(res)
	if len(failed) > 0 {
		t.Fatal(failed)
	}
	return rep, read(t, path), track.blendResults(list, piece(t, 2, 4)), loose
}

// A viola behind a tuba is lifted where it has the tune, and less where the tuba has it: the sum,
// what is said and what the desk plays have the same gains.
func TestRolesMoveTheSum(t *testing.T) {
	rep, sum, said, loose := blendedMix(t, cast(direct.HasMelody, direct.HasFilling, direct.HasFilling))
	if n := len(said[0].Moves); n != 1 || said[0].Moves[0].Role != direct.HasMelody ||
		said[0].Moves[0].Measures != "m1 to m4" || nearer(said) < 4 {
		t.Fatalf("the viola: %+v, the tuba: %+v", said[0], said[1])
	}
	if said[0].Power != float64(mix.PowerGain("viola")) || said[1].Power <= said[0].Power+6 || said[0].Register <= -2 {
		t.Errorf("viola %+v, tuba %+v", said[0], said[1])
	}
	notes := strings.Join(said[0].words(), "; ")
	if !strings.Contains(notes, "in the ensemble: -3.5 dB by its instrument") ||
		!strings.Contains(notes, "dB as melody in m1 to m4") {
		t.Errorf("said: %s", notes)
	}
	for i, l := range loose {
		if got := float64(rep.Gains[i]); math.Abs(got-float64(l.Balance+l.Gain+l.Group)) > 1e-9 {
			t.Errorf("%s: gain %.2f in the sum, %.2f at the desk", l.Take, got, float64(l.Balance+l.Gain+l.Group))
		}
		if len(l.Lifts) != len(said[i].Moves) {
			t.Errorf("%s: %d lifts at the desk, %d are said", l.Take, len(l.Lifts), len(said[i].Moves))
		}
	}
	_, other, turned, _ := blendedMix(t, cast(direct.HasFilling, direct.HasMelody, direct.HasFilling))
	if a, b := nearer(said), nearer(turned); b > a-1 {
		t.Errorf("with the tune the viola comes %.1f dB nearer to the tuba, without it %.1f", a, b)
	}
	middle := func(b audio.Block) float64 { return rms(b[0][3*audio.Rate : 4*audio.Rate]) }
	if a, b := middle(sum), middle(other); math.Abs(20*math.Log10(a/b)) < 0.1 {
		t.Errorf("the sum is as loud with the tune in another part: %.4f and %.4f", a, b)
	}
}

// nearer returns by how much roles bring the viola nearer to the tuba, dB.
func nearer(said []*BlendResult) float64 {
	by := [2]float64{}
	for i := range by {
		for _, m := range said[i].Moves {
			by[i] += m.Gain
		}
	}
	return by[0] - by[1]
}

// A gain that a person writes is not worked against, and changes the balance of nobody.
func TestGainsByHandAreNotBlended(t *testing.T) {
	who := cast(direct.HasMelody, direct.HasFilling, direct.HasFilling)
	before := planWith(t, who)
	if after := planWith(t, who, "name: oboe,", "name: oboe, gain: -9,"); before.blend.Action().ID() !=
		after.blend.Action().ID() || before.added.Action().ID() == after.added.Action().ID() {
		t.Error("a gain changes what is found of registers and roles, or does not change the sum")
	}
	if after := planWith(t, cast(direct.HasBass, direct.HasFilling, direct.HasFilling)); before.blend.Action().ID() ==
		after.blend.Action().ID() {
		t.Error("roles are no part of the key")
	}
	for _, other := range []string{"auto", "manual"} {
		track := planWith(t, who, "balance: ensemble", "balance: "+other)
		plain := planWith(t, Casting{}, "balance: ensemble", "balance: "+other)
		if !track.blend.IsZero() || track.added.Action().ID() != plain.added.Action().ID() {
			t.Errorf("under balance: %s roles are a part of the mix", other)
		}
	}
}

// A mix that is added up in groups is balanced by sound powers alone, since the voices of one group
// may have left when those of the next are made.
func TestAVeryLargeMixIsNotBlended(t *testing.T) {
	text := strings.Replace(round, "  - {name: bass,", manyTakes(groupedFrom-3)+"  - {name: bass,", 1)
	for takes, want := range map[string]bool{text: true, strings.Replace(text, "  - {name: more-0,",
		"  - {name: more, audio: {file: intake/more.wav, offset: 0}}\n  - {name: more-0,", 1): false} {
		pl := plantest.Plan(t, takes, false, "room: 0.2}", "balance: ensemble}")
		pl.Strips = pl.Strips[1:] // one under the bound, or as many as it
		sounds := make([]Sound, len(pl.Strips))
		for i, s := range pl.Strips {
			made := task.Task{ID: s.Take, Action: store.NewAction("sound").Arg("take", s.Take).Ext(".wav")}
			sounds[i] = Sound{Samples: task.Path(made), Name: s.Take, File: s.Take + ".wav", Seconds: 10}
		}
		track := New(plainTool(nil), 2, pl, sounds, nil, cast(direct.HasMelody))
		if track.blend.IsZero() == want {
			t.Errorf("%d strips: blended %v, want %v", len(sounds), !track.blend.IsZero(), want)
		}
	}
}

// manyTakes returns the lines of so many takes.
func manyTakes(n int) string {
	var lines strings.Builder
	for i := range n {
		fmt.Fprintf(&lines, "  - {name: more-%d, audio: {file: intake/more-%d.wav, offset: 0}}\n", i, i)
	}
	return lines.String()
}

// planWith plans the three for players who are known.
func planWith(t *testing.T, who Casting, changes ...string) *Track {
	t.Helper()
	track, _ := mixedAs(t, who, unison, append(slices.Clone(violaAndTuba), changes...),
		func(*Track) []task.Edge { return nil })
	return track
}

// Where one phrase ends and another begins the gain goes from one to the other in a straight line of
// decibels, a second long.
func TestMovesMeetInTheMiddle(t *testing.T) {
	at := audio.FramesAt
	list := rides([]blend.Move{{From: at(2), To: at(6), Gain: 4}, {From: at(6), To: at(10), Gain: -2}})
	ones := make([]float64, 12*audio.Rate)
	for i := range ones {
		ones[i] = 1
	}
	strip := mix.Strip{Name: "x", LowCut: -1, Rides: list, Pan: -1, Open: func() (audio.Source, error) {
		return audio.NewMemory(audio.Block{ones}, audio.Rate), nil
	}}
	src, err := mix.PreMaster([]mix.Strip{strip}, mix.Options{Length: at(12), Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	for second, want := range map[float64]float64{1: 0, 2: 2, 3: 4, 5.4: 4, 5.75: 2.5, 6: 1, 6.25: -0.5, 6.6: -2,
		10: -1, 11: 0} {
		if got := 20 * math.Log10(b[0][at(second)]/b[0][at(1)]); math.Abs(got-want) > 0.01 {
			t.Errorf("at %v s %+.2f dB, want %+.2f", second, got, want)
		}
	}
	// What counts for who is hidden is the same but for the ramps.
	moves := movesOf(nil, blend.Blend{Moves: []blend.Move{{From: at(2), To: at(6), Gain: 4}}})
	if !slices.Equal(moves, []mask.Move{{Span: mask.Span{From: at(2), To: at(6)}, Gain: 4}}) {
		t.Errorf("%+v", moves)
	}
}

// The three largest moves are told, in order of time.
func TestWordsOfMoves(t *testing.T) {
	r := &BlendResult{Power: -2}
	for i, gain := range []float64{1, -3, 0.5, 2, 4} {
		r.Moves = append(r.Moves, MoveResult{RoleResult{direct.HasFilling, HiddenSpan{From: float64(i),
			Measures: string(rune('a' + i))}}, gain})
	}
	want := []string{"in the ensemble: -2.0 dB by its instrument, +0.0 by its register",
		"-3.0 dB as filling voice in b", "+2.0 dB as filling voice in d", "+4.0 dB as filling voice in e",
		"moved by its role elsewhere, too"}
	if got := r.words(); !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
	if (&BlendResult{}).words() != nil || (*BlendResult)(nil).words() != nil {
		t.Error("nothing is told as something")
	}
}
