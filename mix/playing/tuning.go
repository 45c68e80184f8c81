package playing

import (
	"cmp"
	"math"
	"ripieno/mix/robust"
	"slices"
)

// Least of steady tone to speak of a tuning: a handful of notes, and some
// seconds, so that one long note out of tune is not the tuning of the take.
const (
	fewestTones  = 6
	leastSeconds = 1.5
	// gathered is the least length of the mean direction of the deviations on a
	// circle of 100 cents; spread evenly they give 0, within ±25 cents 0.64.
	gathered = 0.3
	// Against a score, tones further off than offNote are octaves and overtones
	// of something else; when fewer than fits agree, the score is not this
	// take's.
	offNote = 150.0
	fits    = 0.6
)

// heard is a steady tone on guide time with its deviation.
type heard struct {
	at, length, cents float64
}

// tuning compares the steady tones of the music with the scale on hz.
func (t *Take) tuning(from, to, hz float64) Tuning {
	unknown := Tuning{Cents: math.NaN(), Spread: math.NaN()}
	if t.Tones == nil {
		return unknown
	}
	shift := 1200 * math.Log2(hz/440)
	var tempered, written []heard
	for _, s := range t.Tones.Steady {
		at := t.guide(s.From)
		if at < from-0.1 || at > to || t.isMuted(at) {
			continue
		}
		h := heard{at: at, length: s.To - s.From, cents: 100*s.Note - shift}
		if note, ok := t.sounding(at); ok {
			w := h
			if w.cents = wrap(h.cents-100*float64(note), 1200); math.Abs(w.cents) < offNote {
				written = append(written, w)
			}
		}
		h.cents = wrap(h.cents, 100)
		tempered = append(tempered, h)
	}
	if len(written) >= fewestTones && float64(len(written)) > fits*float64(len(tempered)) {
		out := about(written, 0, 1200)
		out.Score = true
		return out.orUnknown()
	}
	centre, r := direction(tempered)
	if r < gathered {
		return unknown
	}
	return about(tempered, centre, 100).orUnknown()
}

// orUnknown takes back what rests on too little.
func (t Tuning) orUnknown() Tuning {
	if t.Tones < fewestTones || t.Seconds < leastSeconds {
		t.Cents, t.Spread = math.NaN(), math.NaN()
	}
	return t
}

// sounding returns the note of the score that should sound at a guide time: the one
// that began last, or is about to.
func (t *Take) sounding(at float64) (int, bool) {
	const early = 0.08 // seconds that a player may come early
	i, _ := slices.BinarySearchFunc(t.Score, at+early, func(n Note, at float64) int { return cmp.Compare(n.At, at) })
	if i == 0 || t.Score[i-1].MIDI < 0 {
		return 0, false
	}
	return t.Score[i-1].MIDI, true
}

// wrap brings cents between −circle/2 and circle/2.
func wrap(cents, circle float64) float64 { return cents - circle*math.Round(cents/circle) }

// direction returns the mean direction of deviations on a circle of 100 cents and
// how much they gather there, 0 to 1: a take that lies half a semitone off has
// no middle otherwise.
func direction(all []heard) (centre, r float64) {
	var x, y, w float64
	for _, h := range all {
		s, c := math.Sincos(2 * math.Pi * h.cents / 100)
		x, y, w = x+h.length*c, y+h.length*s, w+h.length
	}
	if w == 0 {
		return 0, 0
	}
	return 100 * math.Atan2(y, x) / (2 * math.Pi), math.Hypot(x, y) / w
}

// about returns the weighted median of the deviations round a centre, and their
// spread: long tones weigh more, as the ear hears them better.
func about(all []heard, centre, circle float64) Tuning {
	value, weight := make([]float64, len(all)), make([]float64, len(all))
	t := Tuning{Tones: len(all)}
	for i, h := range all {
		value[i], weight[i] = wrap(h.cents-centre, circle), h.length
		t.Seconds += h.length
	}
	middle := robust.WeightedMedian(value, weight)
	for i := range value {
		value[i] = math.Abs(value[i] - middle)
	}
	t.Cents = wrap(centre+middle, circle)
	t.Spread = robust.WeightedSpread(value, weight)
	return t
}
