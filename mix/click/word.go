package click

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// Spoken numbers in the count-in. A word is heard on its beat when its vowel begins there
// and not when its first consonant does: 10 dB below its peak, as for any note (Vos and
// Rasch 1981, "The perceptual onset of musical tones": 6 to 15).
const (
	// WordLUFS is the momentary loudness of a word at 0 dB: that of a first beat of a group,
	// so that clicks stay the loudest.
	WordLUFS = -30.0
	// wordPeak is the highest true peak of a word, linear: −12 dBTP.
	wordPeak = 0.25
	// MaxWord is the longest word in seconds; the rest is left out.
	MaxWord = 1.5
	// wordStep is the time in seconds in which a word's level is measured.
	wordStep = 0.005
	// wordBefore is how long before its beat a word may begin, in seconds.
	wordBefore = 0.3
)

// Word is a word that is spoken on a beat.
type Word struct {
	wave []float64
	beat int // the sample that falls on the beat
}

// NewWord returns a recording of one word, samples at [audio.Rate], as a word for a guide:
// without what is silent before and after it, and as loud as words are. ok is false when
// there is nothing to hear in it.
func NewWord(samples []float64) (w Word, ok bool) {
	const frames = int(wordStep * audio.Rate)
	level := make([]float64, 0, len(samples)/frames+1)
	for i := 0; i < len(samples); i += frames {
		sum := 0.0
		for _, v := range samples[i:min(i+frames, len(samples))] {
			sum += v * v
		}
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return Word{}, false
		}
		level = append(level, math.Sqrt(sum/float64(frames)))
	}
	loudest := 0.0
	for _, l := range level {
		loudest = max(loudest, l)
	}
	if loudest < 1e-4 { // −80 dBFS
		return Word{}, false
	}
	heard, first, last := -1, -1, 0
	for i, l := range level {
		if l >= loudest*audio.Decibels(-10).Gain() && heard < 0 {
			heard = i
		}
		if l >= loudest*audio.Decibels(-40).Gain() {
			if last = i; first < 0 {
				first = i
			}
		}
	}
	begin := max(first*frames, heard*frames-int(wordBefore*audio.Rate))
	end := min((last+1)*frames, len(samples), begin+int(MaxWord*audio.Rate))
	w = Word{append([]float64(nil), samples[begin:end]...), heard*frames - begin}
	fade := min(frames, len(w.wave))
	for i := range fade {
		g := float64(i) / float64(fade)
		w.wave[i] *= g
		w.wave[len(w.wave)-1-i] *= g
	}
	w.settle()
	return w, true
}

// settle brings a word to its loudness, that of what is heard on and behind its beat, and
// below the peak that words may have.
func (w Word) settle() {
	was, _ := measure(w.wave[w.beat:min(w.beat+blockFrames, len(w.wave))])
	_, peak := measure(w.wave)
	gain := min(audio.Decibels(WordLUFS-was).Gain(), wordPeak/peak)
	for i := range w.wave {
		w.wave[i] *= gain
	}
}

// spoken is a word in its place.
type spoken struct {
	at, cut audio.Frames // where it begins and must have ended
	wave    []float64
	gain    float64
}

// speak places the words of a count-in: the number of every beat but the cue, on which
// players clap and nothing else may sound.
func speak(m *tempo.Map, words []Word, gain float64) (list []spoken) {
	if len(words) == 0 || gain == 0 {
		return nil
	}
	for b := range m.Beats() {
		if !b.CountIn {
			break
		}
		if b.Cue || b.Number > len(words) {
			continue
		}
		w := words[b.Number-1]
		s := spoken{at: audio.FramesAt(b.Seconds) - audio.Frames(w.beat), wave: w.wave, gain: gain}
		// The next word, or the clap, has its own beginning.
		s.cut = audio.FramesAt(b.Seconds + b.Length - min(0.05, 0.1*b.Length))
		if n := len(list); n > 0 {
			list[n-1].cut = min(list[n-1].cut, s.at)
		}
		list = append(list, s)
	}
	return list
}

// add adds what lies in a chunk that begins at frame from.
func (s spoken) add(chunk []float64, from audio.Frames) {
	n := min(audio.Frames(len(s.wave)), s.cut-s.at)
	for i := max(0, from-s.at); i < n && s.at+i-from < audio.Frames(len(chunk)); i++ {
		v := s.gain * s.wave[i]
		if left := n - i; n < audio.Frames(len(s.wave)) && left <= chokeFrames {
			v *= float64(left-1) / chokeFrames
		}
		chunk[s.at+i-from] += v
	}
}

// loudestWord returns the largest peak of the words.
func loudestWord(list []spoken) (peak float64) {
	for _, s := range list {
		_, p := measure(s.wave)
		peak = max(peak, s.gain*p)
	}
	return peak
}
