package takes

import (
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
)

// A camera's sound is a phone's, and so is a lone file that is coded as phones do; what a
// player brings beside a camera is a microphone however it is coded, and is heard.
func TestWhoIsAPhone(t *testing.T) {
	sound := func(role Role, codec string) *Recording {
		return &Recording{Role: role, Info: media.Info{Audio: &media.Audio{Codec: codec, Rate: 48000, Channels: 1}}}
	}
	for _, c := range []struct {
		name          string
		recordings    []*Recording
		phone, beside bool
	}{
		{"camera", []*Recording{sound(Video, "pcm_s16le")}, true, false},
		{"recorder", []*Recording{sound(Audio, "flac")}, false, false},
		{"voice memo", []*Recording{sound(Audio, "aac")}, true, false},
		{"both", []*Recording{sound(Video, "aac"), sound(Audio, "aac")}, false, true},
		{"both, the other way round", []*Recording{sound(Audio, "mp3"), sound(Video, "aac")}, false, true},
	} {
		var f plan.Facts
		for _, r := range c.recordings {
			r.fill(&f)
		}
		if f.Sound.Phone != c.phone || (f.Beside != nil) != c.beside || c.beside && !f.Beside.Phone {
			t.Errorf("%s: %+v beside %+v", c.name, f.Sound, f.Beside)
		}
	}
}
