package direct

import (
	"cmp"
	"math"
	"slices"

	"ripieno/layout/median"
)

// Note is a note of a part as written, or the beginning of a sound in a recording.
type Note struct {
	At    float64 // seconds
	Pitch float64 // MIDI note number; NaN or negative when it has none
	// Level is how loud it is in dB, compared with other notes of the part only: nobody
	// knows how near a microphone stood. NaN when it is not known, as in a score.
	Level float64
}

// The measures of a tune. Each is a rule of this package, tried on one piece and a few
// sampled ensembles (see README); the sources are those of the idea, from memory.
const (
	// A tune is high: the highest of several voices is heard as the melody (Trainor,
	// Marie, Bruce and Bidelman, "Explaining the high voice superiority effect in
	// polyphonic music", 2014). An octave below the top voice nothing is left.
	// Above C6 higher is not more of a tune: that is where bells and piccolos double it.
	farBelow = 12.0 // semitones
	topPitch = 84.0
	// It moves: as many notes a second as this and more are a tune's; long notes and
	// single strokes are not.
	tuneRate = 1.5
	// It has a shape: at least so many different pitches in a phrase, most of them a
	// step or a small leap apart (Huron, "Sweet Anticipation", 2006). Where the mean
	// leap is leapMost, it is a bass or a broken chord.
	tuneKinds = 5.0
	leapLeast = 4.5 // semitones; up to here all is a tune's
	leapMost  = 9.0
	// It can be sung: this share of its notes has a pitch that can be told.
	tunePitched = 0.7
	// It is brought out: who has the tune plays louder than they usually do, by some
	// dB; more than this counts as much.
	levelMost = 3.0
	// fewestNotes with a pitch are a tune.
	fewestNotes = 3
	// leading is what counts as a voice when the top one is looked for.
	leading = 0.4
)

// Tunes returns how much each part is the tune from one time to another, 0 for not at all:
// how high it is, times how much it moves, has a shape and can be sung, times the power
// by which it is louder than it usually is. Notes are in order of time.
func Tunes(parts [][]Note, from, to float64) []float64 {
	voices := make([]voice, len(parts))
	top := math.Inf(-1)
	for i, part := range parts {
		voices[i] = voiceOf(part, from, to)
		if voices[i].shape >= leading {
			top = max(top, voices[i].pitch)
		}
	}
	tunes := make([]float64, len(parts))
	for i, v := range voices {
		height := 1 - max(0, top-v.pitch)/farBelow
		if v.shape > 0 && height > 0 {
			tunes[i] = min(height, 1) * v.shape * math.Pow(10, v.louder/10)
		}
	}
	return tunes
}

const (
	leastTune = 0.3 // below, it is no tune at all
	sureTune  = 1.3 // times the second: below, nobody can say who has the melody
)

// Melody returns which part has the melody from one time to another, -1 where none has, or
// several could.
func Melody(parts [][]Note, from, to float64) int {
	best, second, at := 0.0, 0.0, -1
	for i, t := range Tunes(parts, from, to) {
		if t > best {
			best, second, at = t, best, i
		} else {
			second = max(second, t)
		}
	}
	if best < leastTune || best < sureTune*second {
		return -1
	}
	return at
}

// voice is what a part is like in a phrase.
type voice struct {
	pitch  float64 // its middle
	shape  float64 // 0 to 1: how much it moves as a tune does
	louder float64 // than it usually is, dB
}

// voiceOf measures a part from one time to another; a part without pitches has no shape.
func voiceOf(part []Note, from, to float64) voice {
	notes := within(part, from, to)
	var pitches []float64
	kinds := map[int]bool{}
	leaps := 0.0
	for _, n := range notes {
		if !(n.Pitch > 0) {
			continue
		}
		if k := len(pitches); k > 0 {
			leaps += math.Abs(n.Pitch - pitches[k-1])
		}
		pitches = append(pitches, n.Pitch)
		kinds[int(math.Round(n.Pitch))] = true
	}
	if len(pitches) < fewestNotes {
		return voice{}
	}
	share := func(v float64) float64 { return min(max(v, 0), 1) }
	leap := leaps / float64(len(pitches)-1)
	return voice{
		pitch: min(median.Of(pitches), topPitch),
		shape: share(float64(len(notes))/(to-from)/tuneRate) * share(float64(len(kinds))/tuneKinds) *
			share((leapMost-leap)/(leapMost-leapLeast)) * share(float64(len(pitches))/float64(len(notes))/tunePitched),
		louder: min(max(mean(levels(notes))-median.Of(levels(part)), -levelMost), levelMost),
	}
}

// levels returns the levels of notes that have one; 0 for a part that has none.
func levels(notes []Note) (list []float64) {
	for _, n := range notes {
		if !math.IsNaN(n.Level) {
			list = append(list, n.Level)
		}
	}
	if list == nil {
		return []float64{0}
	}
	return list
}

// mean returns the mean of at least one value.
func mean(of []float64) float64 {
	sum := 0.0
	for _, v := range of {
		sum += v
	}
	return sum / float64(len(of))
}

// early is how much before a bar line a note may begin that belongs behind it, seconds.
const early = 0.06

// within returns the notes, which are in order, from a time to another.
func within(notes []Note, from, to float64) []Note {
	at := func(t float64) int {
		i, _ := slices.BinarySearchFunc(notes, t-early, func(n Note, t float64) int { return cmp.Compare(n.At, t) })
		return i
	}
	a, b := at(from), at(to)
	return notes[a:max(a, b)]
}
