package direct

import (
	"math"
	"testing"
)

// line returns notes of some pitches, one after another so many seconds apart, from 0.
func line(apart float64, level float64, pitches ...float64) (notes []Note) {
	for i, p := range pitches {
		notes = append(notes, Note{float64(i) * apart, p, level})
	}
	return notes
}

// repeat returns pitches so many times over.
func repeat(n int, pitches ...float64) (all []float64) {
	for range n {
		all = append(all, pitches...)
	}
	return all
}

var (
	song   = repeat(2, 74, 76, 77, 79, 77, 76, 74, 72)
	lower  = repeat(2, 67, 69, 71, 72, 71, 69, 67, 65)
	second = repeat(2, 72, 74, 76, 77, 76, 74, 72, 71) // hardly deeper than the song
	bass   = repeat(4, 38, 45, 33, 40)
	broken = repeat(4, 50, 57, 62, 57)
	drums  = repeat(8, math.NaN(), -1)
)

// Who has the melody in 8 seconds of two or more parts, each as its own rule decides.
func TestMelody(t *testing.T) {
	unknown := math.NaN()
	for _, k := range []struct {
		name  string
		parts [][]Note
		want  int
	}{
		{"nobody plays", [][]Note{nil, nil}, -1},
		{"no part at all", nil, -1},
		{"a song over long notes", [][]Note{line(4, unknown, 60, 62), line(0.5, unknown, song...)}, 1},
		{"the higher of two songs", [][]Note{line(0.5, unknown, lower...), line(0.5, unknown, song...)}, 1},
		{"two that could have it", [][]Note{line(0.5, unknown, second...), line(0.5, unknown, song...)}, -1},
		{"of these, who plays out", [][]Note{append(line(0.5, -20, second...), late(-26, second...)...),
			append(line(0.5, -20, song...), late(-18, song...)...)}, 0},
		{"a song over a bass and chords", [][]Note{line(0.5, unknown, bass...), line(0.5, unknown, broken...),
			line(0.5, unknown, lower...), line(0.25, unknown, drums...)}, 2},
		{"single high strokes over a song", [][]Note{line(2.6, unknown, 98, 93, 100), line(0.5, unknown, song...)}, 1},
		{"one note over and over", [][]Note{line(0.5, unknown, repeat(16, 84)...), line(0.5, unknown, song...)}, 1},
		{"drums alone", [][]Note{line(0.25, unknown, drums...)}, -1},
		{"a bass alone", [][]Note{line(0.5, unknown, repeat(4, 38, 50, 33, 45)...)}, -1},
		{"chords, most of whose notes have no clear pitch", [][]Note{
			line(0.125, unknown, repeat(8, song[0], math.NaN(), math.NaN(), song[1], math.NaN(), math.NaN(), song[2],
				math.NaN())...), line(0.5, unknown, lower...)}, 1},
	} {
		if got := Melody(k.parts, 0, 8); got != k.want {
			t.Errorf("%s: part %d has it, want %d; %.2f", k.name, got, k.want, Tunes(k.parts, 0, 8))
		}
	}
}

// late returns notes as line does, from 10 seconds on.
func late(level float64, pitches ...float64) []Note {
	notes := line(0.5, level, pitches...)
	for i := range notes {
		notes[i].At += 10
	}
	return notes
}

// How far a microphone stood away says nothing of who has the melody, nor do keys: the whole
// ensemble louder, softer or transposed gives the same.
func TestTunesOfTheSamePiece(t *testing.T) {
	parts := [][]Note{append(line(0.5, -20, song...), late(-24, song...)...),
		append(line(0.5, -31, lower...), late(-26, lower...)...), line(0.5, -12, bass...)}
	want := Tunes(parts, 0, 8)
	other := make([][]Note, len(parts))
	for i, part := range parts {
		for _, n := range part {
			other[i] = append(other[i], Note{n.At, n.Pitch - 5, n.Level + []float64{-20, 7, 13}[i]})
		}
	}
	for i, got := range Tunes(other, 0, 8) {
		if math.Abs(got-want[i]) > 1e-9 || want[0] < 0.5 {
			t.Errorf("part %d: %.3f and %.3f", i, want[i], got)
		}
	}
}

// Only the notes of the phrase count, with those a little before its bar line and without
// those a little before the next.
func TestTunesCountThePhrase(t *testing.T) {
	part := line(0.5, math.NaN(), repeat(8, song...)...)
	at := func(from float64) []Note {
		return within(part, from, from+4)
	}
	if got := at(0); len(got) != 8 || got[0].At != 0 {
		t.Errorf("from the beginning: %d notes", len(got))
	}
	if got := at(1.05); len(got) != 8 || got[0].At != 1 {
		t.Errorf("a little after a note: %d notes from %.2f", len(got), got[0].At)
	}
	if got := at(100); len(got) != 0 {
		t.Errorf("after the end: %d notes", len(got))
	}
	if got := Tunes([][]Note{part}, 1000, 1004); got[0] != 0 {
		t.Errorf("after the end it is a tune by %.2f", got[0])
	}
}
