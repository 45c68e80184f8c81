package soundtrack

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/blend"
	"ripieno/mix/mask"
	"ripieno/mix/tempo"
)

// The type that is stored of the balance by register and role, with the number it has for ever.
var _ = store.Number(48, []blend.Blend{})

// costBlend is the estimated cost in seconds of one core of a second of a strip.
const costBlend = 0.002

// moveRamp is how long the gain takes from one phrase to the next: of a part that was soft and gets
// the tune, the most there is, it moves by 11 dB in it.
const moveRamp = audio.Frames(audio.Rate)

// blendTask finds what is added to the strips' gains by register and role, under balance of
// an ensemble. It goes by the strips as the program balances them: a gain that a person writes
// is added to that and not worked against.
func (t *Track) blendTask(turns task.Ref[[]direct.Turn]) task.Ref[[]blend.Blend] {
	s := task.Task{ID: task.ID("blend"), Name: "all strips", Stage: "mix",
		Cost:   0.1 + costBlend*t.line.Duration()*float64(len(t.parts)),
		Action: store.NewAction("blend").Version(rule*100+blend.Version).Arg("takes", t.order)}
	for _, p := range t.parts {
		s.Action = s.Action.Arg("part", p.group()).Arg("take", p.Take).Arg("power", mix.PowerGain(p.Part))
		s.Reads(p.level)
		if p.Clean.Any() {
			s.Action = s.Action.Arg("covered", covered)
			s.Reads(p.heard)
		}
		s.Needs("voice", p.voice)
		s.Needs("bands", p.bands)
	}
	s.Needs("roles", turns)
	s.Action = s.Action.Ext(".gob").For("balance")
	s.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		strips, powers, err := t.balanced(in)
		if err != nil {
			return err
		}
		list, err := turns.Read(in)
		if err != nil {
			return err
		}
		return store.Save(tmp, blend.Find(strips, powers, t.phrases(list)))
	}
	return task.Value[[]blend.Blend](s)
}

// balanced returns the strips as loud as the program makes them, and what of it is by sound powers.
func (t *Track) balanced(in task.Inputs) (strips []mask.Strip, powers []audio.Decibels, err error) {
	strips, powers = make([]mask.Strip, len(t.parts)), make([]audio.Decibels, len(t.parts))
	for i, p := range t.parts {
		a, err := p.level.Read(in)
		if err != nil {
			return nil, nil, err
		}
		dir, err := p.voice.Read(in)
		if err != nil {
			return nil, nil, err
		}
		v, err := store.Load[voiceInfo](filepath.Join(dir, voiceFile))
		if err != nil {
			return nil, nil, err
		}
		var h mix.Heard
		if p.Clean.Any() {
			if h, err = p.heard.Read(in); err != nil {
				return nil, nil, err
			}
		}
		l, err := p.bands.Read(in)
		if err != nil {
			return nil, nil, err
		}
		powers[i] = mix.PowerGain(p.Part)
		strips[i] = mask.Strip{Levels: l, From: v.From, Group: p.group(),
			Gain: t.gain(p.Strip, a, v, h) - p.Gain - p.Group + powers[i]}
	}
	return strips, powers, nil
}

// phrases returns the phrases of a piece with the roles of the strips; none where nobody is
// known to play anything.
func (t *Track) phrases(turns []direct.Turn) []blend.Phrase {
	var list []blend.Phrase
	known := false
	for _, turn := range turns {
		p := blend.Phrase{From: audio.FramesAt(turn.From), To: audio.FramesAt(turn.To),
			Roles: make([]blend.Role, len(t.parts))}
		for k, take := range t.order {
			i := slices.IndexFunc(t.parts, func(p part) bool { return p.Take == take })
			if i < 0 || k >= len(turn.Roles) {
				continue
			}
			p.Roles[i] = roleOf[turn.Roles[k]]
			known = known || p.Roles[i] != blend.None
		}
		list = append(list, p)
	}
	if !known {
		return nil
	}
	return list
}

// roleOf has the roles of layout/direct as the balance knows them, and nameOf the other way.
var (
	roleOf = map[direct.Role]blend.Role{direct.HasMelody: blend.Melody, direct.HasBass: blend.Bass,
		direct.HasFilling: blend.Fill}
	nameOf = map[blend.Role]direct.Role{blend.Melody: direct.HasMelody, blend.Bass: direct.HasBass,
		blend.Fill: direct.HasFilling}
)

// rides returns the moves of a strip as the bus applies them: each ramp lies half before the
// phrase and half in it.
func rides(moves []blend.Move) []mix.Ride {
	var list []mix.Ride
	for _, m := range moves {
		span := mix.Span{From: m.From + moveRamp/2, To: m.To - moveRamp/2}
		list = append(list, mix.Ride{Span: span, Gain: m.Gain, Ramp: moveRamp})
	}
	return list
}

// movesOf returns the changes of gain of a strip, for who is hidden.
func movesOf(lifts []mix.Ride, b blend.Blend) []mask.Move {
	var list []mask.Move
	for _, l := range lifts {
		list = append(list, mask.Move{Span: mask.Span(l.Span), Gain: l.Gain})
	}
	for _, m := range b.Moves {
		list = append(list, mask.Move{Span: mask.Span{From: m.From, To: m.To}, Gain: m.Gain})
	}
	return list
}

// blended returns what is added to the strips' gains, from a run; zeros without balance of an
// ensemble.
func (t *Track) blended(res task.Result) ([]blend.Blend, error) {
	none := make([]blend.Blend, len(t.parts))
	if t.blend.IsZero() {
		return none, nil
	}
	list, ok, err := t.blend.Result(res)
	if err != nil || !ok || len(list) != len(none) {
		return none, err
	}
	return list, nil
}

// BlendResult is by what a take is louder or softer than the others in an ensemble. Fields are
// added, never renamed.
type BlendResult struct {
	Power    float64      `json:"power_db"`    // half of what the sound power of its instrument differs by
	Register float64      `json:"register_db"` // as the ear hears it louder or softer than its level says
	Moves    []MoveResult `json:"moves"`
}

// MoveResult is a stretch of guide time in which a take is moved by its role.
type MoveResult struct {
	RoleResult
	Gain float64 `json:"gain_db"`
}

// blendResults says it for people and programs; nil without balance of an ensemble.
func (t *Track) blendResults(list []blend.Blend, music *tempo.Map) []*BlendResult {
	out := make([]*BlendResult, len(t.parts))
	for i, p := range t.parts {
		if t.blend.IsZero() {
			continue
		}
		out[i] = &BlendResult{Power: float64(mix.PowerGain(p.Part)), Register: float64(list[i].Register),
			Moves: []MoveResult{}}
		for _, m := range list[i].Moves {
			from, to := milli(m.From.Seconds()), milli(m.To.Seconds())
			out[i].Moves = append(out[i].Moves, MoveResult{RoleResult{nameOf[m.Role], spanOf(music, from, to)},
				float64(m.Gain)})
		}
	}
	return out
}

// spanOf returns a stretch of guide time with the measures in which it lies.
func spanOf(music *tempo.Map, from, to float64) HiddenSpan {
	first, last := Measures(music, from, to)
	return HiddenSpan{from, to, fmt.Sprintf("m%s to m%s", music.Label(first), music.Label(last))}
}

// words says it for the table of strips.
func (r *BlendResult) words() []string {
	if r == nil {
		return nil
	}
	var notes []string
	if r.Power != 0 || r.Register != 0 {
		notes = append(notes, fmt.Sprintf("in the ensemble: %+.1f dB by its instrument, %+.1f by its register", r.Power,
			r.Register))
	}
	most, more := r.Most()
	for _, m := range most {
		notes = append(notes, fmt.Sprintf("%+.1f dB as %s in %s", m.Gain, called[m.Role], m.Measures))
	}
	if more {
		notes = append(notes, "moved by its role elsewhere, too")
	}
	return notes
}

// called is what roles are called in a sentence.
var called = map[direct.Role]string{direct.HasMelody: "melody", direct.HasBass: "bass",
	direct.HasFilling: "filling voice"}

// Most returns the largest moves by role, three at most, in order of time, and whether there are
// others.
func (r *BlendResult) Most() (most []MoveResult, more bool) {
	if len(r.Moves) <= mostSpans {
		return r.Moves, false
	}
	most = slices.Clone(r.Moves)
	slices.SortStableFunc(most, func(a, b MoveResult) int { return cmp.Compare(math.Abs(b.Gain), math.Abs(a.Gain)) })
	most = most[:mostSpans]
	slices.SortFunc(most, func(a, b MoveResult) int { return cmp.Compare(a.From, b.From) })
	return most, true
}

// blendOf returns what is added to the gain of a part; nothing without balance of an
// ensemble.
func (b bus) blendOf(p part, in task.Inputs) (blend.Blend, error) {
	if b.blend.IsZero() {
		return blend.Blend{}, nil
	}
	list, err := b.blend.Read(in)
	if err != nil || p.at >= len(list) {
		return blend.Blend{}, err
	}
	return list[p.at], nil
}

// Casting is who plays what: the roles of every phrase, in the order of takes. The zero value
// knows nobody.
type Casting struct {
	Takes []string
	Turns task.Ref[[]direct.Turn]
}

// blends gives a plan under balance of an ensemble the task of its balance, when the roles are
// asked for. A mix that is added up in groups goes without: the balance hears all voices
// together, and so many would have to lie on the disk at once.
func (t *Track) blends(pl *plan.Plan, who Casting) {
	if pl.Mix.Ensemble && len(t.parts) > 1 && len(t.parts) < groupedFrom && !who.Turns.IsZero() {
		t.order = who.Takes
		t.blend = t.blendTask(who.Turns)
	}
}

// blendEdges adds the task of the balance to edges, where there is one.
func (t *Track) blendEdges(edges []task.Edge) []task.Edge {
	if t.blend.IsZero() {
		return edges
	}
	return append(edges, t.blend)
}
