package takes

import (
	"errors"
	"math"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// A picture that is clearly longer than the sound of its file says how much sound is
// missing; one that ends a little later, or whose file is known to be in parts, says nothing.
func TestPictureHints(t *testing.T) {
	file := func(sound, picture float64) media.Info {
		return media.Info{Audio: &media.Audio{Duration: sound}, Video: &media.Video{Duration: picture}}
	}
	late := file(60, 59.9)
	late.Video.Start = 0.3 // the picture begins later and ends 0.2 s after the sound
	silent := file(0, 60)
	twoParts := audio.Parts{{From: 0, To: 3}, {From: 3, To: 9, Shift: 1}}
	for name, c := range map[string]struct {
		r    Recording
		want float64 // seconds that are missing; 0 for no hint
	}{
		"two seconds less sound": {Recording{Info: file(58, 60)}, 2},
		"it begins later":        {Recording{Info: late}, 0.2},
		"a tenth":                {Recording{Info: file(59.9, 60)}, 0},
		"more sound":             {Recording{Info: file(62, 60)}, 0},
		"no length of the sound": {Recording{Info: silent}, 0},
		"no picture":             {Recording{Info: media.Info{Audio: &media.Audio{Duration: 58}}}, 0},
		"parts are known":        {Recording{Info: file(58, 60), Parts: twoParts}, 0},
		"it is played faster":    {Recording{Info: file(58, 60), Rate: 44100}, 0},
		"unreadable":             {Recording{Info: file(58, 60), Err: errors.New("damaged")}, 0},
	} {
		c.r.Owner, c.r.Role = "x", Video
		s := &Set{Takes: []Take{{Video: &c.r}}}
		hints := s.pictureHints()[c.r.Name()]
		switch {
		case c.want == 0 && len(hints) > 0:
			t.Errorf("%s: %+v", name, hints)
		case c.want == 0:
		case len(hints) != 1 || math.Abs(hints[0].Jump-c.want) > 1e-9 || !math.IsNaN(hints[0].At) ||
			hints[0].By != "picture":
			t.Errorf("%s: %+v, want %g s", name, hints, c.want)
		}
	}
}
