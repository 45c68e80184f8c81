package direct

import (
	"cmp"
	"math"
	"slices"
)

// Note is a note of a part, or a steady tone of a recording.
type Note struct {
	At    float64 // seconds
	Pitch float64 // MIDI note number; NaN or negative when it has none
}

// Melody returns for every part and measure how much of the melody it has, 0 to 1:
// the share of its notes that are the highest of all at their moment (the skyline; Uitdenbogerd and
// Zobel 1998, from memory), less when others have many more notes. Parts without pitch,
// such as drums, have none of it. starts are as for [Propose].
func Melody(parts [][]Note, starts []float64) [][]float64 {
	n := max(0, len(starts)-1)
	leads := make([][]float64, len(parts))
	for i := range leads {
		leads[i] = make([]float64, n)
	}
	for m := range n {
		var all []partNote
		counts := make([]int, len(parts))
		for i, part := range parts {
			for _, x := range inMeasure(part, starts[m], starts[m+1]) {
				if x.Pitch > 0 {
					all, counts[i] = append(all, partNote{x, i}), counts[i]+1
				}
			}
		}
		slices.SortStableFunc(all, func(a, b partNote) int { return cmp.Compare(a.At, b.At) })
		most := slices.Max(append(counts, 1))
		tops := topNotes(all, len(parts), starts[m+1]-starts[m])
		for i := range parts {
			if counts[i] > 0 {
				leads[i][m] = float64(tops[i]) / float64(counts[i]) * math.Sqrt(float64(counts[i])/float64(most))
			}
		}
	}
	return leads
}

// partNote is a note with its part.
type partNote struct {
	Note
	part int
}

// together is how far apart notes may begin that are meant to begin at once, seconds.
const together = 0.06

// topNotes counts the notes of each part that are as high as the last note of every other
// part, as long as that can still be heard: for a quarter of the measure.
func topNotes(all []partNote, parts int, measure float64) []int {
	tops := make([]int, parts)
	for k, x := range all {
		top := true
		for _, y := range all[:min(len(all), k+parts*4)] {
			if y.part == x.part || y.At > x.At+together || y.At < x.At-measure/4 {
				continue
			}
			top = top && x.Pitch >= y.Pitch
		}
		if top {
			tops[x.part]++
		}
	}
	return tops
}

// inMeasure returns the notes, which are in order, from a time to another. What comes a
// little before the bar line belongs behind it.
func inMeasure(notes []Note, from, to float64) []Note {
	at := func(t float64) int {
		i, _ := slices.BinarySearchFunc(notes, t-together, func(n Note, t float64) int { return cmp.Compare(n.At, t) })
		return i
	}
	a, b := at(from), at(to)
	return notes[a:max(a, b)]
}
