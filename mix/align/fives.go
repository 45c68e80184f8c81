package align

import "slices"

// Five notes against four of the guide lie on its beats and half-beats as well as notes of the guide's
// own tempo do. So whoever fits the beats is held against the harmony of all others at these two tempi
// alone: over many tempi harmony goes better with one by chance.
const (
	fiveGain   = 0.1  // how much better it must go at one of them to doubt a voice, and
	fiveAgrees = 0.12 // how well it must go there, and
	fiveVoices = 3    // among how many others at least
)

// fiveTempi are five against four and four against five, and a little beside them.
var fiveTempi = []float64{0.796, 0.8, 0.804, 1 / 0.796, 1 / 0.8, 1 / 0.804}

// doubtFives takes the surety from voices that the harmony of all others tells to be played five against
// four. Of 822 sampled voices at the guide's tempo among three and more others none gains over 0.08 there,
// of 168 of recorded percussion, which has no harmony, two, which go worse than 0.1; in quartets one of
// whose players is at another tempo it doubts one in a hundred of the others too.
func doubtFives(g *grid, takes []*take, placed []Placement) {
	all := newChoir(g)
	voices := map[string][]int{}
	for k, t := range takes {
		if placed[k].Sure && !t.given {
			all.add(g, t, placed[k].Offset, nil, 1)
			voices[t.voice()] = append(voices[t.voice()], k)
		}
	}
	if len(voices) <= fiveVoices {
		return
	}
	var found []*pace
	var tempi []float64
	for k, t := range takes { // in their order, whatever that of the map
		files := voices[t.voice()]
		if len(files) == 0 || files[0] != k || t.part != nil {
			continue
		}
		others := &choir{sum: slices.Clone(all.sum), slots: all.slots, voices: all.voices}
		for _, i := range files {
			others.add(g, takes[i], placed[i].Offset, nil, -1)
		}
		if f, gain := others.likesBest(g, t, placed[k].Offset, fiveTempi); gain > fiveGain &&
			gain+others.agreement(g, t, placed[k].Offset) > fiveAgrees {
			found, tempi = append(found, &pace{files: files}), append(tempi, f)
		}
	}
	for i, p := range found {
		p.doubt(placed, tempi[i])
	}
}
