package takes

import (
	"context"
	"math"

	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// mendRule is the version of what mending a sound makes of it.
const mendRule = 1

// mend takes the recording for several parts and its sound for one of another rate than
// its label; no parts, or one, and 0 leave both as they are. Whoever calls it has to
// listen again: Sound and features are those of the mended sound from here on, and
// none of them is made yet.
func (r *Recording) mend(parts audio.Parts, rate int) {
	for i := range parts { // what is written down reads back as the same
		p := &parts[i]
		p.From, p.To, p.Shift = micro(p.From), micro(p.To), micro(p.Shift)
	}
	r.Parts, r.Rate = parts, rate
	r.PartsOfSound = r.File.PartsOfSound
	if len(parts) == 1 && parts[0] == (audio.Part{To: math.Inf(1)}) {
		r.Parts = nil
	}
	r.Sound = r.refs.decoded
	if len(r.Parts) > 0 || rate > 0 && rate != r.Info.Audio.Rate {
		r.Sound = mendTask(r)
	}
	r.refs.features = featuresTask(r)
}

// micro rounds seconds to millionths.
func micro(seconds float64) float64 { return math.Round(seconds*1e6) / 1e6 }

// Length returns how long the recording would be in whole time, in seconds; 0 where the file
// does not say.
func (r *Recording) Length() float64 {
	length := r.Info.Duration
	if a := r.Info.Audio; r.Rate > 0 && r.Info.Video == nil && a != nil {
		length *= float64(a.Rate) / float64(r.Rate)
	}
	if length == 0 {
		return 0
	}
	return r.Parts.Whole(length)
}

// mendTask makes of a decoded sound what it would be had nothing been lost, put in or
// labelled wrongly.
func mendTask(r *Recording) task.Ref[string] {
	parts, rate, decoded := r.Parts, r.Rate, r.refs.decoded
	t := task.Task{
		Name: r.File.Path, Stage: "mend", Cost: costSound * r.Info.Duration,
		Action: store.NewAction("mend").Version(mendRule).Arg("parts", parts).Arg("rate", rate),
	}
	t.Needs("sound", decoded)
	t.Action = t.Action.Ext(".wav").For(r.File.Path)
	t.ID = task.ID("mend", r.Name(), t.Action.ID().String())
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		path, err := decoded.Read(in)
		if err != nil {
			return err
		}
		return mendSound(ctx, path, parts, rate, tmp)
	}
	return task.Path(t)
}

// mendSound writes the parts of a sound, taken for one of another rate unless that is
// 0. Whole time is the file's own with what was lost put back as silence; see
// [audio.Parts].
func mendSound(ctx context.Context, path string, parts audio.Parts, rate int, dst string) error {
	wav, err := media.OpenWAV(path)
	if err != nil {
		return err
	}
	defer wav.Close()
	var src audio.Source = wav
	if rate > 0 {
		src = relabelled{wav, rate}
	}
	if src, err = audio.Splice(src, parts); err != nil {
		return err
	}
	_, err = media.CreateWAV(ctx, dst, src, media.Float32)
	return err
}

// relabelled is a source at another rate: the same samples, played faster or slower.
type relabelled struct {
	audio.Source
	rate int
}

// Rate implements [audio.Source].
func (r relabelled) Rate() int { return r.rate }

// mendRounds is how many breaks are looked for in a recording. After each
// round everybody is placed again.
const mendRounds = 4

// mendBroken looks for breaks in the recordings whose place nobody fixed, takes for
// several parts what is clearly broken, and places everybody again. What is not clear is
// kept to be told. It fails when recordings cannot be listened to or compared. It
// mends one break of each recording at a time, since the second can be seen only once
// the first is gone.
func (s *Set) mendBroken(ctx context.Context, x *session.Session, l *listened) error {
	refused := map[string]bool{}
	for range mendRounds {
		tried, err := s.mendTheSure(ctx, x, l, refused)
		if err != nil || len(tried) == 0 {
			return err
		}
		if err := s.listen(ctx, x, l); err != nil {
			return err
		}
		if keepWhatFits(x.Manifest(), l, tried, refused) {
			if err := s.listen(ctx, x, l); err != nil {
				return err
			}
		}
	}
	return nil
}

// attempt is a recording that was mended at a break, to be heard again.
type attempt struct {
	*Recording
	at     align.Break
	before former
	along  int // before; see [listened.along]
}

// mendTheSure mends every recording at the first break that is sure, unless it was
// refused before, and notes those that a person has to decide. It returns what was
// mended, and fails when the devices cannot be compared.
func (s *Set) mendTheSure(ctx context.Context, x *session.Session, l *listened, refused map[string]bool) (
	[]attempt, error) {
	hints, err := s.compareDevices(ctx, x, l)
	if err != nil {
		return nil, err
	}
	partner := map[string]string{}
	for _, p := range l.pairs {
		partner[p.A], partner[p.B] = p.B, p.A
	}
	man, told := x.Manifest(), map[string]bool{}
	var tried []attempt
	for _, b := range whichDevice(findBreaks(man, l.inputs, l.placed, hints), partner) {
		r := s.byName(b.Name)
		if r == nil || len(r.File.Parts) > 0 || told[b.Name] {
			continue
		}
		if _, ok := r.brokenAt(b); !ok {
			continue // no part may be empty: nothing to ask about
		}
		told[b.Name] = true
		if !b.Sure || refused[b.Name] {
			if !refused[b.Name] || b.By != "" && !l.unmended[b.Name] {
				r.note(man, b, false)
			}
			continue
		}
		if exact, err := r.exactly(l.res, b); err == nil {
			b = exact // or as it was heard, where the sound cannot be read again
		}
		parts, ok := r.brokenAt(b)
		if !ok {
			continue
		}
		tried = append(tried, attempt{r, b, former{r.Parts, r.Rate}, l.along(b.Name)})
		ofSound := r.PartsOfSound || isOfSoundOnly(b, hints[b.Name])
		r.mend(parts, r.Rate)
		r.PartsOfSound = ofSound
	}
	return tried, nil
}

// keepWhatFits keeps what made one piece of two and undoes the rest, which it adds to
// refused. It reports whether anything was undone, so that all must be heard again.
// The measure of it: with the break mended, the whole file is sure and lies where its
// first part lay alone, and more of it goes with the player's other device.
func keepWhatFits(man *production.Production, l *listened, tried []attempt, refused map[string]bool) bool {
	again := false
	for _, t := range tried {
		p, failed := l.placed[t.at.Name], l.unmended[t.at.Name]
		along := t.along == 0 || l.along(t.at.Name) > t.along
		if !failed && p.Sure && along && math.Abs(p.Offset-t.at.Offset) < mendNear {
			t.at.At = t.before.parts.File(t.at.At)
			t.note(man, t.at, true)
			continue
		}
		// It did not make one piece of the two. That speaks against what the playing alone
		// shows, and what cannot be put together is not proposed.
		refused[t.at.Name], again = true, true
		t.mend(t.before.parts, t.before.rate)
		if !failed && t.at.By != "" {
			t.note(man, t.at, false)
		}
	}
	return again
}

// along returns how many stretches of a recording go with the player's other device along one
// line; 0 without another device that surely heard the same.
func (l *listened) along(name string) int {
	for _, p := range l.pairs {
		if (p.A == name || p.B == name) && p.Match.Sure() {
			return p.Match.Agree
		}
	}
	return 0
}

// former is what a recording was taken for before it was mended.
type former struct {
	parts audio.Parts
	rate  int
}

// brokenAt returns the recording's parts with one more break. It reports false where one
// of them would be empty or out of the file.
func (r *Recording) brokenAt(b align.Break) (audio.Parts, bool) {
	length := r.Info.Duration
	if r.Info.Audio != nil && r.Info.Audio.Duration > 0 {
		length = r.Info.Audio.Duration
	}
	if length == 0 {
		length = math.Inf(1)
	} else if a := r.Info.Audio; a != nil && r.Rate > 0 {
		length *= float64(a.Rate) / float64(r.Rate)
	}
	return r.Parts.BreakAt(b.At, b.Jump, length)
}

// unmend takes the recordings whose mended sounds could not be made or heard for what
// the manifest says they are, and returns their names. What the manifest itself says of
// parts is the user's to mend.
func (s *Set) unmend(res task.Result) []string {
	var names []string
	for _, r := range s.Recordings() {
		if !r.HasSound() {
			continue
		}
		if state := r.refs.features.Outcome(res).State; state != task.Failed && state != task.Skipped {
			continue
		}
		was := r.Sound.Task().ID
		if r.mend(r.File.Parts, r.File.SampleRate); r.Sound.Task().ID != was {
			names = append(names, r.Name())
		}
	}
	return names
}

// mendNear is by how much the place of a mended recording may differ from that of its
// first part, seconds.
const mendNear = 0.15

// note keeps a break to be told: of those that are not mended the last one.
func (r *Recording) note(man *production.Production, b align.Break, mended bool) {
	for i := range r.Broken {
		if !r.Broken[i].Mended {
			r.Broken = append(r.Broken[:i], r.Broken[i+1:]...)
			break
		}
	}
	by := b.By
	if by == "" {
		by = "playing"
	}
	m, shift := guideOfTake(man, r.Owner)
	told := intake.Break{
		At: b.At, Jump: b.Jump, Measure: m.Position(b.Guide - shift).Measure, By: by, Mended: mended,
	}
	if parts, ok := r.brokenAt(b); ok && !mended {
		told.At, told.Parts = r.Parts.File(b.At), parts
	}
	if !mended {
		told.Rivals = b.Rivals
		told.First, told.Last = m.Position(b.From-shift).Measure, m.Position(b.To-shift).Measure
		for beat := range m.Pulses(b.Guide-shift, math.Inf(1), 1) {
			told.Beat = beat.Length
			break
		}
	}
	for i, n := range []int{told.Measure, told.First, told.Last} {
		if m.Elsewhere(n) != "" {
			told.Names[i] = m.Label(n)
		}
	}
	r.Broken = append(r.Broken, told)
}

// byName returns the recording of a name; nil for none.
func (s *Set) byName(name string) *Recording {
	for _, r := range s.Recordings() {
		if r.Name() == name {
			return r
		}
	}
	return nil
}
