package mix

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/decay"
)

// nearCue is how far from the cue a clap may be, seconds: an early or late hand, and the
// mean of a player's playing by which their take was moved.
const nearCue = 0.3

// HearRoom returns what the clap at the cue says of the room in which a strip was recorded;
// the zero Room where the recording has none there. cue is in seconds of guide time, NaN
// for a piece without one. An error is a [*StripError].
func HearRoom(s Strip, cue float64) (decay.Room, error) {
	if err := s.check(); err != nil {
		return decay.Room{}, err
	}
	at := (cue - s.Offset - s.Delay) / s.Drift.Ratio()
	if math.IsNaN(at) || at < -nearCue {
		return decay.Room{}, nil
	}
	var r decay.Room
	err := s.read(func(src audio.Source) (err error) {
		r, err = decay.Measure(src, at-nearCue, at+nearCue)
		return err
	})
	return r, err
}
