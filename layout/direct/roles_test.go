package direct

import (
	"math"
	"slices"
	"testing"
)

// bars returns the starts of n measures of two seconds, and their end.
func bars(n int) (starts []float64) {
	for i := range n + 1 {
		starts = append(starts, 2*float64(i))
	}
	return starts
}

// sings returns notes from one time to another, each a step of a scale round a pitch.
func sings(pitch, each, from, to float64) (notes []Note) {
	steps := []float64{0, 2, 4, 5, 4, 7, 5, 2}
	for i := 0; from+float64(i)*each < to; i++ {
		notes = append(notes, Note{At: from + float64(i)*each, Pitch: pitch + steps[i%len(steps)], Level: math.NaN()})
	}
	return notes
}

// holds returns long notes of one pitch.
func holds(pitch, from, to float64) (notes []Note) {
	for t := from; t < to; t += 2 {
		notes = append(notes, Note{At: t, Pitch: pitch, Level: math.NaN()})
	}
	return notes
}

// player returns one who plays in all measures in which a note begins.
func player(take, voice string, measures int, notes []Note) Player {
	x := Player{Take: take, Voice: voice, Notes: notes, Plays: make([]bool, measures)}
	for _, n := range notes {
		x.Plays[int(n.At/2)] = true
	}
	return x
}

// The flute has the tune of the first phrase and the oboe that of the second; the bassoon
// is the bass, the horn fills, and who rests has no role.
func TestRolesOfAPhrase(t *testing.T) {
	const n = 8
	flute := append(sings(76, 0.5, 0, 8), holds(76, 8, 16)...)
	oboe := append(holds(69, 0, 8), sings(72, 0.5, 8, 16)...)
	list := Roles([]Player{
		player("flute", "", n, flute), player("oboe", "", n, oboe), player("horn", "", n, holds(62, 0, 16)),
		player("bassoon", "", n, holds(43, 0, 16)), player("harp", "", n, holds(60, 8, 16)),
	}, bars(n))
	want := [][]Role{{HasMelody, HasFilling, HasFilling, HasBass, Rests},
		{HasFilling, HasMelody, HasFilling, HasBass, HasFilling}}
	if len(list) != 2 {
		t.Fatalf("%d phrases: %+v", len(list), list)
	}
	for i, turn := range list {
		if !slices.Equal(turn.Roles, want[i]) || turn.From != 8*float64(i) || turn.To != 8*float64(i+1) {
			t.Errorf("phrase %d: %+v, want %q", i, turn, want[i])
		}
	}
}

// Two who play the same part have the tune together; told apart, nobody can say which of
// the two has it.
func TestADeskIsOneVoice(t *testing.T) {
	const n = 4
	tune, low := sings(76, 0.5, 0, 8), holds(43, 0, 8)
	desk := func(voice string) []Role {
		return Roles([]Player{player("a", voice, n, tune), player("b", voice, n, tune), player("c", "", n, low)},
			bars(n))[0].Roles
	}
	if got := desk("flute"); !slices.Equal(got, []Role{HasMelody, HasMelody, HasBass}) {
		t.Errorf("one voice: %q", got)
	}
	if got := desk(""); slices.Contains(got, HasMelody) {
		t.Errorf("two voices: %q", got)
	}
	// One of a desk of whom nothing is heard goes with the other.
	got := Roles([]Player{{Take: "a", Voice: "flute", Plays: []bool{true, true, true, true}},
		player("b", "flute", n, tune), player("c", "", n, low)}, bars(n))[0].Roles
	if got[0] != HasMelody || got[1] != HasMelody {
		t.Errorf("one of whom nothing is heard: %q", got)
	}
}

// Where all lie together, or high, nobody gives the bass; two octaves of it both do not,
// but a third apart they do.
func TestWhoGivesTheBass(t *testing.T) {
	for _, c := range []struct {
		pitches []float64
		want    []int
	}{
		{[]float64{76, 48}, []int{1}}, {[]float64{76, 50, 48}, []int{1, 2}}, {[]float64{76, 52, 40}, []int{2}},
		{[]float64{50, 48}, nil}, {[]float64{84, 62}, nil}, {[]float64{70, math.NaN()}, nil}, {nil, nil},
		{[]float64{76, 59, 58}, []int{1, 2}}, {[]float64{76, 60.5, 58}, []int{2}},
	} {
		var parts [][]Note
		for _, p := range c.pitches {
			parts = append(parts, holds(p, 0, 8))
		}
		if got := bassOf(parts, 0, 8); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.pitches, got, c.want)
		}
	}
}

// A piece too short for a phrase has no roles, and nobody plays without players.
func TestRolesOfNothing(t *testing.T) {
	if got := Roles([]Player{player("a", "", 1, sings(70, 0.5, 0, 2))}, bars(1)); got != nil {
		t.Errorf("of one measure: %+v", got)
	}
	for _, turn := range Roles(nil, bars(4)) {
		if len(turn.Roles) != 0 {
			t.Errorf("of nobody: %+v", turn)
		}
	}
}
