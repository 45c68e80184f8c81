package soundtrack

import (
	"math"
	"slices"
	"testing"

	"ripieno/layout/direct"
	"ripieno/mix/decay"
	"ripieno/mix/mask"
)

// tune returns notes of a scale from one time to another.
func tune(pitch, from, to float64) (notes []direct.Note) {
	for i := 0; from+float64(i)*0.25 < to; i++ {
		notes = append(notes, direct.Note{At: from + float64(i)*0.25, Pitch: pitch +
			[]float64{0, 2, 4, 5, 7, 5, 4, 2}[i%8],
			Level: math.NaN()})
	}
	return notes
}

// The three strips of the test's production: the oboe has the melody of both phrases, which
// is said as one stretch, the bass the bass; who is not in the mix is left out, and a rest is
// no role.
func TestRolesOfStrips(t *testing.T) {
	track := planned(t, plainTool(nil))
	const measures = 8
	music := piece(t, 2, measures)
	starts := []float64{}
	for m := range measures + 1 {
		starts = append(starts, music.Start()+2*float64(m))
	}
	end := starts[measures]
	all, half := make([]bool, measures), make([]bool, measures)
	for i := range all {
		all[i], half[i] = true, i < 4
	}
	var low []direct.Note
	for at := starts[0]; at < end; at += 2 {
		low = append(low, direct.Note{At: at, Pitch: 40, Level: math.NaN()})
	}
	roles := track.roles(direct.Cast{Starts: starts, Players: []direct.Player{
		{Take: "stranger", Plays: all, Notes: tune(60, starts[0], end)},
		{Take: "bass", Plays: all, Notes: low},
		{Take: "oboe", Plays: all, Notes: tune(76, starts[0], end)},
		{Take: track.parts[1].Take, Plays: half},
	}}, music)
	want := []RoleResult{{direct.HasMelody, HiddenSpan{From: starts[0], To: end, Measures: "m1 to m8"}}}
	if !slices.Equal(roles[0], want) {
		t.Errorf("oboe: %+v, want %+v", roles[0], want)
	}
	if n := len(roles[1]); n != 1 || roles[1][0].Role != direct.HasFilling || roles[1][0].Measures != "m1 to m4" {
		t.Errorf("%s: %+v", track.parts[1].Take, roles[1])
	}
	if len(roles[2]) != 1 || roles[2][0].Role != direct.HasBass {
		t.Errorf("bass: %+v", roles[2])
	}
	spans := melodies(roles)
	if !slices.Equal(spans[0], []mask.Span{{From: 48000 * 4, To: 48000 * 20}}) || spans[1] != nil || spans[2] != nil {
		t.Errorf("melodies %v", spans)
	}
}

// Three stretches are listed, more are counted; the bass is not told, and a melody is
// said to be hidden from a quarter of it on.
func TestWordsOfRoles(t *testing.T) {
	at := func(role direct.Role, measures ...string) (list []RoleResult) {
		for _, m := range measures {
			list = append(list, RoleResult{role, HiddenSpan{Measures: m}})
		}
		return list
	}
	for _, c := range []struct {
		roles []RoleResult
		want  []string
	}{
		{nil, nil}, {at(direct.HasBass, "m1 to m4"), nil},
		{at(direct.HasMelody, "m1 to m4", "m9 to m12"), []string{"melody in m1 to m4, m9 to m12"}},
		{at(direct.HasMelody, "a", "b", "c", "d", "e"), []string{"melody in a, b, c and 2 more"}},
	} {
		if got := roleWords(c.roles); !slices.Equal(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.roles, got, c.want)
		}
	}
	r := &HiddenResult{Share: 0.25, Lift: 2.5, Spans: []HiddenSpan{{0, 3, "m5 to m6"}, {8, 10, "m9 to m9"}}}
	if got, want := r.tuneWords(), []string{"its melody is hidden by the others for 25 %, longest from m5 to m6; " +
		"gain: +2.5 would bring it out"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	r.Share = 0.24
	var none *HiddenResult
	if r.tuneWords() != nil || none.tuneWords() != nil {
		t.Error("what is hardly hidden is told")
	}
}

// A room is told where its decay could be followed, in figures that mean something.
func TestWordsOfRooms(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		room decay.Room
		want []string
	}{
		{decay.Room{}, nil}, {decay.Room{Clap: true, Early: nan, Decay: nan, Direct: nan}, nil},
		{decay.Room{Clap: true, Early: 0.2, Decay: nan, Direct: nan}, nil},
		{decay.Room{Clap: true, Early: 0.21, Decay: 0.437, Direct: -1.6},
			[]string{"a room of 0.4 s, direct sound -2 dB against it"}},
	} {
		if got := roomResult(c.room).words(); !slices.Equal(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.room, got, c.want)
		}
	}
	if r := roomResult(decay.Room{Clap: true, Early: 0.2149, Decay: 0.437, Direct: 4.26}); r.Early != 0.21 ||
		r.Decay != 0.44 || r.Direct != 4.3 {
		t.Errorf("%+v", r)
	}
}

// What a take lacks of the hall brings its reverberation to that of the middle one, which
// lacks nothing: held against the powers themselves. Far ones are brought as far as sends
// may go, and without a hall, or of one take alone, nothing is said.
func TestWhatTakesLackOfTheHall(t *testing.T) {
	rooms := []*RoomResult{{Direct: 10}, nil, {Direct: 9}, {Direct: 12}, {Direct: 8}, {Direct: 14}}
	const room = 0.5
	fillHall(rooms, room)
	together := func(r *RoomResult) float64 { // reverberation and hall against the direct sound, dB
		share := math.Pow(10, -r.Direct/10)
		direct := 1 / (1 + share)
		return 10 * math.Log10((share*direct+room*room*math.Pow(10, *r.Lacks/10))/direct)
	}
	for i, r := range rooms {
		if r == nil {
			continue
		}
		if math.Abs(together(r)-together(rooms[0])) > 0.3 {
			t.Errorf("room %d: %.2f dB, the middle one %.2f dB", i, together(r), together(rooms[0]))
		}
	}
	if *rooms[0].Lacks != 0 {
		t.Errorf("the middle one lacks %v dB", *rooms[0].Lacks)
	}
	far := []*RoomResult{{Direct: 20, Decay: 0.3}, {Direct: 1, Decay: 0.3}, {Direct: 1}, {Direct: -9, Decay: 0.8}}
	fillHall(far, 0.15)
	if *far[0].Lacks != mostSend || *far[3].Lacks != leastSend {
		t.Errorf("far ones lack %v and %v dB", *far[0].Lacks, *far[3].Lacks)
	}
	if got := far[0].words(); len(got) != 2 || got[1] != "drier than the others: 6 dB more send would even it out" {
		t.Errorf("%q", got)
	}
	if got := far[3].words(); len(got) != 2 || got[1] != "wetter than the others: 12 dB less send would even it out" {
		t.Errorf("%q", got)
	}
	if got := far[1].words(); len(got) != 1 {
		t.Errorf("%q", got)
	}
	dry, alone := []*RoomResult{{Direct: 1}, {Direct: 9}}, []*RoomResult{nil, {Direct: 1}}
	fillHall(dry, 0)
	fillHall(alone, 0.3)
	if dry[0].Lacks != nil || alone[1].Lacks != nil {
		t.Error("something is lacking where there is no hall, or nobody to compare with")
	}
}
