package mix

import (
	"strings"

	"ripieno/mix/audio"
)

// powers are the sound powers of instruments played forte in dB over 1 pW, after
// J. Meyer, "Acoustics and the Performance of Music", chapter 7 (from memory; where
// he gives none, that of the nearest kin). Longer names stand before the names they
// contain.
var powers = []struct {
	name string
	db   float64
}{
	{"double bass", 92}, {"contrabassoon", 93}, {"contrabass", 92}, {"bass clarinet", 93}, {"bass trombone", 101},
	{"bass drum", 104}, {"bass guitar", 92}, {"bass recorder", 85}, {"english horn", 93}, {"cor anglais", 93},
	{"flugelhorn", 100}, {"french horn", 102}, {"piccolo", 91}, {"flute", 91}, {"oboe", 93}, {"bassoon", 93},
	{"clarinet", 93}, {"sax", 97}, {"recorder", 85}, {"horn", 102}, {"trumpet", 101}, {"cornet", 100},
	{"trombone", 101}, {"euphonium", 101}, {"tuba", 104}, {"sousaphone", 104}, {"violoncello", 90}, {"violin", 89},
	{"viola", 87}, {"cello", 90}, {"mandolin", 80}, {"ukulele", 78}, {"guitar", 80}, {"harp", 88}, {"piano", 98},
	{"timpani", 104}, {"drum", 102},
}

// How sound powers become gains. In an ensemble players listen to each other, so
// that half of what instruments differ by is heard, and 4 dB at most (common
// practice, no source).
const (
	middlePower = 94.0 // dB over 1 pW: the middle one of the table
	powerShare  = 0.5
	mostPower   = 4.0 // dB
)

// PowerGain returns by how much a part, by its English name, is louder in an ensemble
// than the others; 0 for one that is not known.
func PowerGain(part string) audio.Decibels {
	part = strings.ToLower(part)
	for _, p := range powers {
		if strings.Contains(part, p.name) {
			return audio.Decibels(min(max(powerShare*(p.db-middlePower), -mostPower), mostPower))
		}
	}
	return 0
}

// low are parts that give the bass.
var low = []string{"contrabass", "double bass", "bass trombone", "bass guitar", "bass drum", "bass clarinet", "tuba",
	"sousaphone", "euphonium"}

// GivesBass reports whether a part, by its English name, gives the bass: its lows have
// no direction, and in one ear of headphones alone they tire.
func GivesBass(part string) bool {
	part = strings.ToLower(part)
	for _, name := range low {
		if strings.Contains(part, name) {
			return true
		}
	}
	return false
}
