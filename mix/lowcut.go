package mix

import "strings"

// lowest are the lowest fundamentals of instruments and voices in hertz, as
// handbooks of orchestration give them (from memory). Longer names stand before
// the names they contain.
var lowest = []struct {
	name string
	hz   float64
}{
	{"contrabassoon", 29}, {"double bass", 31}, {"contrabass", 31}, {"bass clarinet", 58}, {"bass trombone", 31},
	{"bass guitar", 31}, {"bass flute", 131}, {"alto flute", 196}, {"bass drum", 25}, {"bass recorder", 175},
	{"alto recorder", 349}, {"tenor recorder", 262}, {"baritone sax", 65}, {"tenor sax", 104}, {"alto sax", 139},
	{"soprano sax", 208}, {"bass sax", 52}, {"english horn", 165}, {"cor anglais", 165}, {"flugelhorn", 165},
	{"euphonium", 41}, {"piccolo", 587}, {"flute", 247}, {"oboe", 233}, {"bassoon", 58}, {"clarinet", 139},
	{"saxophone", 104}, {"recorder", 262}, {"horn", 58}, {"trumpet", 165}, {"cornet", 165}, {"trombone", 41},
	{"tuba", 29}, {"sousaphone", 29}, {"violin", 196}, {"viola", 131}, {"violoncello", 65}, {"cello", 65},
	{"mandolin", 196}, {"ukulele", 262}, {"guitar", 82}, {"harp", 31}, {"piano", 27}, {"organ", 16},
	{"accordion", 41}, {"timpani", 65}, {"drum", 25}, {"percussion", 25}, {"marimba", 65}, {"vibraphone", 175},
	{"xylophone", 349}, {"glockenspiel", 784}, {"soprano", 220}, {"mezzo", 196}, {"alto", 165}, {"tenor", 110},
	{"baritone", 82}, {"bass", 31},
}

// LowCutFor returns a corner for the high-pass of a part, by its English name: two
// thirds of the lowest note it can play, where traffic, handling and breath are
// removed and no note is touched, but never above 120 Hz, where the body of an
// instrument begins. A part it does not know gets [DefaultLowCut].
func LowCutFor(part string) float64 {
	part = strings.ToLower(part)
	for _, l := range lowest {
		if strings.Contains(part, l.name) {
			return min(max(l.hz*2/3, DefaultLowCut), 120)
		}
	}
	return DefaultLowCut
}
