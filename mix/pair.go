package mix

import (
	"ripieno/mix/audio"
	"ripieno/mix/tone"
)

// Compare returns what a player's phone adds to what their microphone hears, where the
// microphone, of which heard tells, is played. Both lie on guide time. An error is a
// [*StripError].
func Compare(microphone, phone Strip, heard Heard, piece Span) (tone.Pair, error) {
	other, err := Hear(phone, piece)
	if err != nil {
		return tone.Pair{}, err
	}
	open := heard.Curve(microphone)
	measure := func(s Strip, h Heard) (levels tone.Levels, err error) {
		err = s.read(func(src audio.Source) error {
			levels, err = tone.Measure(src, &h.Noise, func(seconds float64) bool {
				f := audio.FramesAt(s.Offset + s.Delay + seconds*s.Drift.Ratio())
				return open.DB(f) == 0
			})
			return err
		})
		return levels, err
	}
	a, err := measure(microphone, heard)
	if err != nil {
		return tone.Pair{}, err
	}
	b, err := measure(phone, other)
	return tone.Against(b, a), err
}
