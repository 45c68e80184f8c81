package audition

import (
	"errors"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/pan"
	"slices"
	"testing"
)

// A strip is what the manifest says until the mix knows more: then it has its place, its
// law, its lifts with their ramps, and a sound.
func TestStripsOfTheMix(t *testing.T) {
	man := parsed(t)
	oboe, horn := stripOf(man.Takes[0]), stripOf(man.Takes[1])
	if oboe.PanSet || oboe.Pan != 0 || oboe.Width != 1 || !horn.PanSet || horn.Pan != 40 || horn.Gain != -3 ||
		horn.Section != "brass" {
		t.Errorf("%+v, %+v", oboe, horn)
	}
	l := soundtrack.Loose{From: 48000, Balance: 3, Alone: -21}
	l.Pan, l.Law, l.Width, l.Group, l.Treat.LowCut = -30, pan.Linear, 0.5, 2, -1
	l.Lifts = []mix.Ride{{Span: mix.Span{From: 48000, To: 96000}, Gain: 2}, {Span: mix.Span{From: 0, To: 1},
		Ramp: 24000}}
	oboe.fill(l, Voice{ID: "x", Channels: 2, from: 48000})
	if oboe.Pan != -30 || oboe.Law != "linear" || oboe.Width != 0.5 || oboe.Balance != 3 || oboe.Group != 2 ||
		oboe.LowCut != 0 || *oboe.Loudness != -21 || oboe.Sound == nil || oboe.Sound.Channels != 2 {
		t.Errorf("%+v", oboe)
	}
	if want := []Lift{{1, 2, 2, mix.DefaultRamp.Seconds()}, {0, 1.0 / 48000, 0, 0.5}}; !slices.Equal(oboe.Lifts, want) {
		t.Errorf("%+v", oboe.Lifts)
	}
	never := task.Path(task.Task{ID: "never", Action: store.NewAction("never").Ext(".aac")})
	if err := (&Mixing{}).fill(&horn, l, never, task.Result{}); err == nil || horn.Sound != nil {
		t.Errorf("of a proxy that was not made: %v", err)
	}
}

// The mix as a changed manifest gives it needs nothing to be made: gains, places and
// mutes are the manifest's, what it says nothing of is as the program would have it.
func TestTheMixOfAChangedManifest(t *testing.T) {
	man := parsed(t)
	m := &Mixing{Sections: []Section{{"winds", 0, 0}, {"brass", 2, 1}}}
	for _, take := range man.Takes {
		if !take.IsWithheld() {
			m.Strips = append(m.Strips, stripOf(take))
		}
	}
	m.Strips[1].Group = 2
	changed := parsed(t)
	changed.Sections[1].GainDB, changed.Takes[1].GainDB, changed.Takes[0].Mute = 5, 1.5, true
	changed.Takes[1].Pan, changed.Mix.LoudnessLUFS = nil, -20
	now := m.As(changed)
	if now.Target != -20 || m.Target != 0 {
		t.Errorf("a film of %g LUFS is heard at %g", changed.Mix.LoudnessLUFS, now.Target)
	}
	if now.Sections[1].Gain != 5 || now.Strips[1].Group != 5 || now.Strips[1].Gain != 1.5 || !now.Strips[0].Mute ||
		now.Strips[1].PanSet || now.Strips[1].Pan != plan.AutoPans(changed)[1] {
		t.Errorf("%+v, %+v", now.Sections, now.Strips)
	}
	if m.Sections[1].Gain != 2 || m.Strips[1].Gain != -3 || m.Strips[0].Mute || m.Strips[1].Pan != 40 {
		t.Errorf("what there was changed: %+v, %+v", m.Sections, m.Strips)
	}
	if listed(man, 0) != 0 || listed(man, 1) != 1 || listed(man, 2) != -1 {
		t.Error("sections have other numbers")
	}
	man.Sections[1].Declared = false
	if listed(man, 1) != -1 {
		t.Error("a section that only takes name is listed")
	}
}

// Why a take is not heard is the person's own word first, then what went wrong.
func TestWhyATakeIsNotHeard(t *testing.T) {
	for _, c := range []struct {
		take production.Take
		why  string
		want string
	}{
		{production.Take{Mute: true, Expected: true}, "no sound", "muted"}, {production.Take{Expected: true},
			"needs review", "needs review"},
		{production.Take{Expected: true}, "", "not in yet"}, {production.Take{}, "", "not heard in the film"},
	} {
		if got := whyNot(c.take, c.why); got != c.want {
			t.Errorf("%+v, %q: %q, want %q", c.take, c.why, got, c.want)
		}
	}
	if reason(nil) != "it could not be made" || reason(errors.New("full")) != "full" {
		t.Errorf("%q, %q", reason(nil), reason(errors.New("full")))
	}
}
