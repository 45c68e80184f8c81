package takes

import (
	"errors"
	"math"
	"slices"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/mix/align"
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
		"parts are known":        {Recording{Info: file(58, 60), File: &production.File{Parts: twoParts}}, 0},
		"a part was put back":    {Recording{Info: file(58, 60), Parts: twoParts}, 1},
		"all was put back":       {Recording{Info: file(59, 60), Parts: twoParts}, 0},
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

// A hole in the picture that is as long as what the sound lacks says where that is missing;
// another one does not, and without such a hole nobody knows.
func TestPictureHintsSayWhere(t *testing.T) {
	for name, c := range map[string]struct {
		missing    float64
		holes      []media.Hole
		at, jump   float64 // at is NaN: nobody knows
		late, away float64 // seconds at which picture and sound begin
	}{
		"no hole": {missing: 2, at: math.NaN(), jump: 2},
		"as long": {missing: 2, holes: []media.Hole{{At: 31, Length: 1.95}}, at: 31, jump: 1.95},
		"longer":  {missing: 2, holes: []media.Hole{{At: 31, Length: 2.3}}, at: math.NaN(), jump: 2},
		"the nearer of two": {missing: 2, holes: []media.Hole{{At: 9, Length: 2.08}, {At: 31, Length: 1.97}},
			at: 31, jump: 1.97},
		"a picture that waits": {missing: 2, holes: []media.Hole{{At: 31, Length: 2}}, at: 30.6, jump: 2,
			late: 0.1, away: 0.5},
	} {
		info := media.Info{Audio: &media.Audio{Start: c.away}, Video: &media.Video{Start: c.late}}
		r := Recording{Info: info, holes: c.holes}
		all := r.pictureHints(c.missing)
		got := all[0]
		if len(all) != 1 {
			t.Errorf("%s: %+v", name, all)
		}
		same := got.At == c.at || math.IsNaN(got.At) && math.IsNaN(c.at)
		if !same && math.Abs(got.At-c.at) > 1e-9 || math.IsNaN(got.At) != math.IsNaN(c.at) || got.Jump != c.jump ||
			got.By != "picture" {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Holes that are together as long as what is missing are a break each, in the time of the sound,
// which lacks what the ones before took; those that were mended are left aside.
func TestPictureHintsOfSeveralHoles(t *testing.T) {
	r := Recording{Info: media.Info{Audio: &media.Audio{}, Video: &media.Video{}},
		holes: []media.Hole{{At: 10, Length: 1.5}, {At: 20, Length: 0.5}}}
	want := []align.Hint{{At: 10, Jump: 1.5, By: "picture"}, {At: 18.5, Jump: 0.5, By: "picture"}}
	if got := r.pictureHints(2.04); !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	r.Parts = audio.Break(10.02, 1.48)
	if got := r.pictureHints(0.52); !slices.Equal(got, []align.Hint{{At: 20, Jump: 0.5, By: "picture"}}) {
		t.Errorf("the first is mended: %+v", got)
	}
	r.Parts = audio.Break(18.5, 0.5)
	if got := r.pictureHints(1.5); !slices.Equal(got, []align.Hint{{At: 10, Jump: 1.5, By: "picture"}}) {
		t.Errorf("the second is mended: %+v", got)
	}
}

// A picture that is longer by what the sound lacks keeps its time; one that was cut with its
// sound does not.
func TestWhatIsOfSoundOnly(t *testing.T) {
	longer := []align.Hint{{At: 3, Jump: -2, By: "device"}, {At: math.NaN(), Jump: 1.1, By: "picture"}}
	for _, c := range []struct {
		b     align.Break
		hints []align.Hint
		want  bool
	}{
		{align.Break{Jump: 1.13, By: "picture"}, nil, true},
		{align.Break{Jump: 1.13}, longer, true},
		{align.Break{Jump: 1.3}, longer, false},
		{align.Break{Jump: -2, By: "device"}, longer, false},
		{align.Break{Jump: 1.1}, nil, false},
	} {
		if got := isOfSoundOnly(c.b, c.hints); got != c.want {
			t.Errorf("%+v beside %+v: %v", c.b, c.hints, got)
		}
	}
}
