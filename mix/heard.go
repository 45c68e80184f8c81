package mix

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/declip"
	"ripieno/mix/denoise"
	"ripieno/mix/expand"
	"ripieno/mix/hum"
	"ripieno/mix/tone"
)

// Heard is what a recording says of itself when it is known where the piece
// lies in it: its noise, and where it is played. It is measured before anything
// is done to its sound but the repair of its channels and the taking out of hum.
type Heard struct {
	Noise   denoise.Noise
	Playing expand.Playing // in seconds of the recording
	Clip    declip.Clip    // where it is clipped
	Hum     []float64      // hertz of the lines that were out of it; none where it was not looked for
}

// HeardVersion is the version of what [Hear] measures. Raise it when a figure
// changes, also one that package expand, hum or denoise finds for it: nothing else of
// theirs is in a key.
const HeardVersion = 10

// early is how long before the piece a recording may be played, seconds: a bow begins before
// the beat, and a player may be early.
const early = 0.3

// Hear reads a strip's recording and returns what it says of itself. The piece
// lies in guide frames piece. An error is a [*StripError].
func Hear(s Strip, piece Span) (Heard, error) {
	var h Heard
	if err := s.check(); err != nil {
		return h, err
	}
	in := expand.Piece{From: s.seconds(piece.From), To: s.seconds(piece.To)}
	clip := s.listenForClipping()
	err := s.read(func(src audio.Source) error {
		noise, playing, err := expand.Hear(src, int64((in.From-early)*float64(src.Rate())), in)
		if err == nil {
			h.Noise, h.Playing, h.Hum, h.Clip = *noise, playing, s.Hum, clip()
		}
		return err
	})
	return h, err
}

// repaired returns a strip's recording with its channels repaired and its hum taken out.
func (s *Strip) repaired(raw audio.Source) audio.Source {
	return hum.New(s.whole(raw), s.Hum)
}

// FindHum returns the lines of the mains' hum in a strip's recording, in hertz; nil where
// there is none or too little is heard before the piece, which lies in guide frames piece.
// An error is a [*StripError].
func FindHum(s Strip, piece Span) ([]float64, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	s.Hum = nil
	var lines []float64
	err := s.read(func(src audio.Source) (err error) {
		lines, err = hum.Find(src, int64((s.seconds(piece.From)-early)*float64(src.Rate())))
		return err
	})
	return lines, err
}

// seconds returns where in its recording a guide frame lies.
func (s *Strip) seconds(f audio.Frames) float64 {
	return (f.Seconds() - s.Offset - s.Delay) / s.Drift.Ratio()
}

// read hands the strip's repaired recording to f, and closes it.
func (s *Strip) read(f func(audio.Source) error) error {
	raw, err := s.Open()
	if err == nil {
		err = f(s.repaired(raw))
		if e := audio.Close(raw); err == nil {
			err = e
		}
	}
	if err != nil {
		return &StripError{s.Name, err}
	}
	return nil
}

// Curve returns where the strip is open, by what was heard of its recording;
// nil, which is everywhere, when nothing was.
func (h Heard) Curve(s Strip) expand.Curve {
	guide := func(t float64) audio.Frames { return audio.FramesAt(s.Offset + s.Delay + t*s.Drift.Ratio()) }
	var c expand.Curve
	for _, p := range h.Playing.Phrases {
		c = append(c, expand.Span{From: guide(p.From), To: guide(p.To)})
	}
	return c
}

// How deep noise is reduced goes by how far the playing lies over it. Farther
// than clean nothing is done: what is heard of the noise is less than what its
// reduction takes from the sound. Chosen on simulated takes, no source.
const (
	clean       = 26.0 // dB, A-weighted
	perDecibel  = 1.5  // dB of depth for every dB under it
	mostReduced = audio.Decibels(16)
)

// Depth returns by how much the noise of the recording is reduced; 0: not at
// all. A guess is reduced by nothing: it may be soft playing.
func (h Heard) Depth() audio.Decibels {
	d := audio.Decibels(perDecibel * (clean - h.Playing.Distance))
	if !h.Noise.Known || !(d >= 1) {
		return 0
	}
	return min(d, mostReduced)
}

// What rumbles below a take's lowest note is cut where it could be heard. The figures are
// the trade's habits, without a source.
const (
	// Of the lowest note, which a cut of 12 dB an octave leaves whole to 0.5 dB. One of 24 dB an
	// octave made slow notes begin 1 to 3 ms later at their fundamental.
	rumbleShare = 0.6
	leastCut    = 35.0 // hertz: below, a default low cut is enough
	rumbleHeard = 42.0 // dB that the noise lies under the playing; softer, at 63 Hz, nobody hears it
)

// RumbleHz returns the corner of the cut that takes away what is noise of a recording below its
// lowest note; 0: none, since it plays that low, or its noise there is soft or not known.
func (h Heard) RumbleHz() float64 {
	hz := math.Round(rumbleShare * h.Playing.Lowest)
	if !h.Noise.Known || hz < leastCut || h.Playing.Rumble > rumbleHeard {
		return 0
	}
	return hz
}

// silentBelow is how far noise lies under the playing that nobody hears below its notes: 60 dB under
// playing of 90 dB it is softer than what is just heard at 63 Hz, 37.5 dB (ISO 226, from memory).
const silentBelow = 60.0

// SilentBelow reports whether nothing lies below the notes of the recording that could be heard where
// nobody plays: a low cut has nothing to take there but what belongs to the sound, and it turns
// the phase of low notes.
func (h Heard) SilentBelow() bool { return h.Noise.Known && h.Playing.Below > silentBelow }

// RumbleBands returns the filter of a cut at hz, 12 dB an octave; none at 0.
func RumbleBands(hz float64) []Band {
	if hz == 0 {
		return nil
	}
	return []Band{{Shape: LowCut, Hz: hz}}
}

// Colour returns what brings the colour of a phone's recording toward that of a
// microphone, by what the phones of the production need; see package tone.
func (h Heard) Colour(phones tone.Phones) tone.Correction {
	line := float64(h.Noise.Rate) / denoise.Size
	return tone.ForPhone(tone.Evidence{Over: h.Playing.Lows, Rumble: tone.Rumble(h.Noise.Power, line)}, phones)
}

// ToneBands returns the equaliser of a correction.
func ToneBands(c tone.Correction) []Band {
	var bands []Band
	if c.Low != 0 {
		bands = append(bands, Band{Shape: LowShelf, Hz: tone.ShelfHz, Gain: audio.Decibels(c.Low), Q: tone.ShelfQ})
	}
	if c.Presence != 0 {
		bands = append(bands, Band{Shape: Bell, Hz: tone.BellHz, Gain: audio.Decibels(c.Presence), Q: tone.BellQ})
	}
	return bands
}
