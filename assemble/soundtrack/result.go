package soundtrack

import (
	"fmt"
	"math"
	"slices"

	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// The types in this file are what a mix says of itself and, encoded as JSON,
// what --json prints: times in seconds, levels in decibels. Fields are added,
// never renamed.

// StripResult is one strip of a finished mix.
type StripResult struct {
	Take    string  `json:"take"`
	Section string  `json:"section,omitempty"`
	Gain    float64 `json:"gain_db"` // everything applied: manifest, section and balance
	Pan     float64 `json:"pan"`     // −100 to 100
	// of a strip of one channel, against the middle, when left and right are added
	MonoLoss     float64       `json:"mono_loss_db"`
	Loudness     *float64      `json:"integrated_lufs"` // as recorded; null for silence
	Peak         *float64      `json:"peak_dbfs"`       // largest sample as recorded
	Noise        *float64      `json:"noise_lufs"`      // as recorded; null when it is not known
	Mixed        *float64      `json:"mixed_lufs"`      // in the mix: treated and with its gain
	Send         *float64      `json:"send_db"`         // to the room, beside what every take sends; null: nothing
	Width        float64       `json:"width"`           // of a stereo recording; 1 as recorded
	LowCut       float64       `json:"low_cut_hz"`      // 0: none
	Lifts        []Lift        `json:"lifts,omitempty"`
	DelaySamples int64         `json:"delay_samples"` // guide sample of the file's time zero
	Notes        []string      `json:"notes,omitempty"`
	Clean        *CleanResult  `json:"clean,omitempty"`  // what was done to it by itself
	Hidden       *HiddenResult `json:"hidden,omitempty"` // how far the others cover its part
	Roles        []RoleResult  `json:"roles,omitempty"`
	Tune         *HiddenResult `json:"melody_hidden,omitempty"` // the same, where it has the melody
	Room         *RoomResult   `json:"room,omitempty"`          // by its clap
	// by what it is louder or softer under balance of an ensemble; null under another
	Blend *BlendResult `json:"ensemble,omitempty"`
}

// Lift is a span of guide time in which a soloist is lifted.
type Lift struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
	Gain float64 `json:"gain_db"`
}

// Curve is the master's loudness over time: values every Step seconds, the
// first at the end of the first step; null for silence.
type Curve struct {
	Step      float64    `json:"step"`
	Momentary []*float64 `json:"momentary_lufs"`
	ShortTerm []*float64 `json:"short_term_lufs"`
}

// MasterResult is what mastering did.
type MasterResult struct {
	Target    float64  `json:"target_lufs"`
	Ceiling   float64  `json:"ceiling_dbtp"`
	Sum       *float64 `json:"sum_lufs"` // of all strips, before mastering
	Gain      float64  `json:"gain_db"`
	Reduction float64  `json:"reduction_db"` // deepest cut of the limiter
	Limited   float64  `json:"limited"`      // share of the time in which it cut
	Reached   bool     `json:"reached"`
	Tries     int      `json:"tries"`                   // encodings
	AAC       *float64 `json:"encoded_integrated_lufs"` // what is heard with the films
	AACPeak   *float64 `json:"encoded_true_peak_dbtp"`
}

// MasterResult returns what mastering did.
func (t *Track) MasterResult(rep Report) MasterResult {
	m := rep.Master
	return MasterResult{
		Target: t.mix.Loudness, Ceiling: t.mix.TruePeak,
		Sum: audio.Finite(float64(m.Before.Integrated)), Gain: float64(m.Gain), Reduction: float64(m.Reduction),
		Limited: m.Limited,
		Reached: m.Reached, Tries: rep.Tries, AAC: audio.Finite(float64(rep.AAC.Integrated)),
		AACPeak: audio.Finite(float64(rep.AAC.TruePeak)),
	}
}

// Result returns the curve for people.
func (c curve) Result() Curve {
	return Curve{Step: c.Step.Seconds(), Momentary: hundredths(c.Momentary), ShortTerm: hundredths(c.Short)}
}

// hundredths returns levels as meters show them; more digits say nothing. nil is
// silence.
func hundredths(list []float32) []*float64 {
	out := make([]*float64, len(list))
	for i, v := range list {
		out[i] = audio.Finite(math.Round(float64(v)*100) / 100)
	}
	return out
}

// Heard returns what was heard of every strip in a run, zeros for those that are not
// cleaned. It fails when what is stored cannot be read.
func (t *Track) Heard(res task.Result) ([]mix.Heard, error) {
	list := make([]mix.Heard, len(t.parts))
	for i, p := range t.parts {
		if !p.Clean.Any() {
			continue
		}
		var err error
		if list[i], _, err = p.heard.Result(res); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Found is what is known of the strips of a finished mix, besides their levels.
type Found struct {
	Heard         []mix.Heard
	Cleaned       map[string]*CleanResult // by takes
	Hidden, Tunes []*HiddenResult         // how far each is hidden: at all, and where it has the melody
	Roles         [][]RoleResult
	Rooms         []*RoomResult
	Blends        []*BlendResult // none: not as an ensemble
}

// Findings returns the tasks that [Track.Find] reads, besides those of the mix.
func (t *Track) Findings() []task.Edge {
	list := t.blendEdges(t.Bands())
	for _, p := range t.parts {
		list = append(list, p.room)
	}
	return list
}

// Find returns what is known of the strips from a run of the mix and of [Track.Findings]. who
// says who plays what. What could not be measured is left out; it fails when what is stored
// cannot be read.
func (t *Track) Find(rep Report, res task.Result, music *tempo.Map, who direct.Cast) (f Found, err error) {
	if f.Heard, err = t.Heard(res); err != nil {
		return f, err
	}
	if f.Cleaned, err = t.Cleaned(res); err != nil {
		return f, err
	}
	f.Roles = t.roles(who, music)
	if f.Hidden, f.Tunes, err = t.hidden(rep, res, music, melodies(f.Roles)); err != nil {
		return f, err
	}
	for _, p := range t.parts {
		r, _, err := p.room.Result(res)
		if err != nil {
			return f, err
		}
		f.Rooms = append(f.Rooms, roomResult(r))
	}
	fillHall(f.Rooms, t.mix.Room)
	list, err := t.blended(res)
	f.Blends = t.blendResults(list, music)
	return f, err
}

// StripResults describes every strip of a finished mix by what is known of it. Notes
// go from what is wrong with the recording to what might be done in the mix.
func (t *Track) StripResults(rep Report, f Found) []StripResult {
	list := []StripResult{}
	for i, p := range t.parts {
		s := stripResult(p.Strip, rep, i)
		if keepsLows(p.Clean, f.Heard[i]) {
			s.LowCut = 0
		}
		s.Clean, s.Hidden, s.Roles, s.Tune, s.Room = f.Cleaned[p.Take], f.Hidden[i], f.Roles[i], f.Tunes[i], f.Rooms[i]
		if len(f.Blends) > 0 {
			s.Blend = f.Blends[i]
		}
		s.Notes = slices.Concat(t.findings(rep, i, f.Heard[i]), s.Clean.words(), s.Room.words(), s.Blend.words(),
			roleWords(s.Roles), s.Tune.tuneWords(), s.Hidden.words())
		if s.MonoLoss > mostMonoLoss {
			s.Notes = append(s.Notes, fmt.Sprintf("%.1f dB softer where left and right are added", s.MonoLoss))
		}
		list = append(list, s)
	}
	return list
}

// stripResult returns what is printed of strip i: how loud it was recorded, what was done to it
// and how loud it is in the mix. What was not measured is null.
func stripResult(s plan.Strip, rep Report, i int) StripResult {
	a, v, gain := rep.Strips[i], rep.Voices[i], rep.Gains[i]
	out := StripResult{
		Take: s.Take, Section: s.Section, Gain: float64(gain), Pan: s.Pan, Width: s.Width, MonoLoss: monoLoss(s),
		LowCut:   max(0, s.Treat.LowCut),
		Loudness: audio.Finite(float64(a.Integrated)), Peak: audio.Finite(float64(a.Peak)),
		Mixed:        audio.Finite(float64(v.Measured.Integrated) + float64(gain)),
		DelaySamples: int64(audio.FramesAt(s.Sound.Clock.Offset)),
	}
	if a.NoiseKnown {
		out.Noise = audio.Finite(float64(a.NoiseFloor))
	}
	if !s.Dry {
		out.Send = audio.Finite(float64(s.Send))
	}
	for _, l := range s.Lifts {
		out.Lifts = append(out.Lifts, Lift{l.From.Seconds(), l.To.Seconds(), float64(l.Gain)})
	}
	return out
}

// monoLoss returns by how much softer a strip of one channel is than in the middle when
// left and right are added, dB to a hundredth.
func monoLoss(s plan.Strip) float64 {
	left, right := s.Law.Gains(s.Pan / 100)
	l, r := s.Law.Gains(0)
	return math.Round(2000*math.Log10((l+r)/(left+right))) / 100
}

// mostMonoLoss is how much may be lost when left and right are added before it is
// worth saying, dB.
const mostMonoLoss = 1.0
