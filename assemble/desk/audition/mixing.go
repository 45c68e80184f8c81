package audition

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// Mixing is the mix before its strips are added up, so that a page can add them up
// by itself. All gains are in decibels and all times in seconds of guide time.
type Mixing struct {
	ID       string    `json:"id"`    // of its voices: pieces of two mixes never meet
	Start    float64   `json:"start"` // guide time of the film's beginning
	Length   float64   `json:"length"`
	FadeIn   float64   `json:"fade_in"`
	FadeOut  float64   `json:"fade_out"`
	Target   float64   `json:"target_lufs"`
	Room     float64   `json:"room"` // how strong the shared room is; 0 for none
	Hall     []Sound   `json:"hall"` // what it answers: see [soundtrack.Track.Answers]
	Beats    []Beat    `json:"beats"`
	Strips   []Strip   `json:"strips"` // of all takes, in the manifest's order
	Sections []Section `json:"sections"`

	Sounds
}

// Strip is a take in the mix.
type Strip struct {
	Take     string   `json:"take"`
	Player   string   `json:"player"`
	Part     string   `json:"part"`
	Section  string   `json:"section"`
	Why      string   `json:"why"`     // it is not heard; "" for one that is
	Gain     float64  `json:"gain_db"` // the manifest's
	Mute     bool     `json:"mute"`
	Pan      float64  `json:"pan"`        // as it is used, −100 to 100
	PanSet   bool     `json:"pan_set"`    // the manifest says so
	PanAuto  float64  `json:"pan_auto"`   // where its seat puts it
	LowCut   float64  `json:"low_cut_hz"` // as it is used; 0: none
	CutSet   bool     `json:"low_cut_set"`
	Balance  float64  `json:"balance_db"` // what the program adds
	Group    float64  `json:"group_db"`   // what its section adds
	Width    float64  `json:"width"`
	Send     *float64 `json:"send_db"` // to the room, beside what all send; null for nothing
	Law      string   `json:"law"`
	Loudness *float64 `json:"lufs"` // of the voice, before any gain; null for silence
	Lifts    []Lift   `json:"lifts"`
	Sound    *Voice   `json:"sound"` // nil: nothing is heard
}

// Lift is a span of guide time in which a strip is lifted, with ramps of Ramp seconds
// before and after it.
type Lift struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
	Gain float64 `json:"gain_db"`
	Ramp float64 `json:"ramp"`
}

// Section is a group of strips.
type Section struct {
	Name   string  `json:"name"`
	Gain   float64 `json:"gain_db"`
	Number int     `json:"number"` // in the manifest's list, from 0; −1 for one that only takes name
}

// Mix makes the voices of a mix that are missing and returns them with what the bus
// applies. faults say of takes that are not heard why that is so. A take that fails
// is told with its reason, and the others are heard.
func Mix(ctx context.Context, x *session.Session, pl *plan.Plan, track *soundtrack.Track,
	faults []takes.Fault) (*Mixing, error) {
	man := x.Manifest()
	why := map[string]string{}
	for _, f := range faults {
		why[f.Take] = f.What
	}
	m := &Mixing{Start: pl.Timeline.AudioStart.Seconds(), Length: pl.Timeline.AudioLen.Seconds(),
		FadeIn: pl.Mix.FadeIn, FadeOut: pl.Mix.FadeOut, Target: pl.Mix.Loudness, Room: pl.Mix.Room,
		Beats: beats(man.Tempo), Hall: []Sound{}, Strips: []Strip{}, Sections: []Section{}}
	for i, s := range pl.Mix.Sections {
		m.Sections = append(m.Sections, Section{s.Name, float64(s.Gain), listed(man, i)})
	}
	edges, answers, proxies := track.LooseEdges(), track.Answers(), track.Proxies()
	for _, a := range answers {
		edges = append(edges, a)
	}
	for _, t := range man.Takes {
		if p, ok := proxies[t.Name]; ok {
			edges = append(edges, p)
		}
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	if err := m.hear(answers, res); err != nil {
		return nil, err
	}
	loose, failed := track.Loose(res)
	for take, err := range failed {
		why[take] = reason(err)
	}
	for _, t := range man.Takes {
		if t.IsWithheld() {
			continue
		}
		one := stripOf(t)
		for _, l := range loose {
			if l.Take != t.Name {
				continue
			}
			if err := m.fill(&one, l, proxies[t.Name], res); err != nil {
				why[t.Name] = reason(err)
			}
		}
		if one.Sound == nil {
			one.Why = whyNot(t, why[t.Name])
		}
		m.Strips = append(m.Strips, one)
	}
	m.ID = m.Identify()
	return m, nil
}

// Identify returns what is another text as soon as a voice is another one. Gains and
// places are no part of it: they change while the same voices go on playing.
func (m *Mixing) Identify() string {
	sum := sha256.New()
	for _, s := range m.Strips {
		if s.Sound != nil {
			fmt.Fprintf(sum, "%s %s %d\n", s.Take, s.Sound.ID, s.Sound.from)
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:12])
}

// hear adds what the room answers. Without it the strips are heard dry.
func (m *Mixing) hear(answers []task.Ref[string], res task.Result) error {
	for _, a := range answers {
		path, ok, err := a.Result(res)
		if err != nil || !ok {
			m.Hall = []Sound{}
			return err
		}
		sound, err := m.Open(path, false, 0)
		if err != nil {
			return err
		}
		m.Hall = append(m.Hall, sound)
	}
	return nil
}

// listed returns the number of a section in the manifest's own list; −1 for one that is
// not in it.
func listed(man *production.Production, i int) int {
	if i < len(man.Sections) && man.Sections[i].Declared {
		return i
	}
	return -1
}

// As returns the mix with the gains, places and mutes that a manifest gives, which
// need nothing to be made again. What a manifest changes besides, such as a trim or
// an equaliser, needs another [Mix].
func (m *Mixing) As(man *production.Production) *Mixing {
	out := *m
	out.Strips, out.Sections = slices.Clone(m.Strips), slices.Clone(m.Sections)
	out.Target = man.Mix.LoudnessLUFS
	louder := map[string]float64{}
	for i, s := range out.Sections {
		for _, now := range man.Sections {
			if now.Name == s.Name {
				out.Sections[i].Gain, louder[s.Name] = now.GainDB, now.GainDB-s.Gain
			}
		}
	}
	auto := plan.AutoPans(man)
	for i := range out.Strips {
		s := &out.Strips[i]
		for k, t := range man.Takes {
			if t.Name != s.Take {
				continue
			}
			s.Gain, s.Mute, s.Send = t.GainDB, t.Mute, sendOf(t)
			s.PanSet, s.Pan, s.PanAuto = t.Pan != nil, auto[k], auto[k]
			s.Group += louder[s.Section]
			if t.Pan != nil {
				s.Pan = *t.Pan
			}
		}
	}
	return &out
}

// sendOf returns what a take sends to the room; nil for nothing.
func sendOf(t production.Take) *float64 {
	if t.Strip.Dry {
		return nil
	}
	return &t.Strip.SendDB
}

// stripOf returns what the manifest says of a take's strip.
func stripOf(t production.Take) Strip {
	s := Strip{Take: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Gain: t.GainDB, Mute: t.Mute,
		PanSet: t.Pan != nil, CutSet: t.Strip.LowCutHz != nil, Lifts: []Lift{}, Width: 1, Send: sendOf(t)}
	if t.Pan != nil {
		s.Pan = *t.Pan
	}
	return s
}

// fill adds what the program knows of a strip and the small copy of its voice. It fails
// where one of them could not be made. The length comes from the voice itself: bare
// AAC does not say how much of it is padding.
func (m *Mixing) fill(s *Strip, l soundtrack.Loose, proxy task.Ref[string], res task.Result) error {
	path, ok, err := proxy.Result(res)
	if err == nil && !ok {
		err = cmp.Or(proxy.Outcome(res).Err, errNoProxy)
	}
	if err != nil {
		return err
	}
	wav, err := media.OpenWAV(l.Voice)
	if err != nil {
		return err
	}
	frames := int64(wav.Frames())
	wav.Close()
	voice, err := OpenVoice(path, int64(l.From), frames)
	if err != nil {
		return err
	}
	s.fill(l, voice)
	return nil
}

// errNoProxy says that nothing was made and nobody knows why.
var errNoProxy = errors.New("its sound could not be made small")

// fill adds what the bus applies to a strip, and its voice.
func (s *Strip) fill(l soundtrack.Loose, voice Voice) {
	s.Sound = &voice
	s.Pan, s.Law, s.Width = l.Pan, l.Law.String(), l.Width
	s.Balance, s.Group, s.LowCut = float64(l.Balance), float64(l.Group), math.Max(0, l.Treat.LowCut)
	s.Loudness = audio.Finite(float64(l.Alone))
	for _, r := range l.Lifts {
		ramp := r.Ramp
		if ramp <= 0 {
			ramp = mix.DefaultRamp
		}
		s.Lifts = append(s.Lifts, Lift{r.From.Seconds(), r.To.Seconds(), float64(r.Gain), ramp.Seconds()})
	}
}

// whyNot says why a take is not heard.
func whyNot(t production.Take, why string) string {
	switch {
	case t.Mute:
		return "muted"
	case why != "":
		return why
	case t.Expected:
		return "not in yet"
	}
	return "not heard in the film"
}

// reason returns an error in words.
func reason(err error) string {
	if err == nil {
		err = errors.New("it could not be made")
	}
	return err.Error()
}
