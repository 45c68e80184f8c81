package soundtrack

import (
	"context"
	"fmt"
	"math"
	"strings"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/loudness"
	"ripieno/mix/tone"
)

// cleanRule is the version of what is done to takes by themselves. Raise it when
// a sample of a cleaned voice changes, and only then: films without are not
// touched by it.
const cleanRule = 7

// costHeard is the estimated cost in seconds of one core of hearing a second of
// sound.
const costHeard = 0.004

// covered is by how much softer the noise of a take counts that is closed where
// nobody plays: what is left of it sounds under playing alone, its own and the
// others'. Chosen by ear and by the spectral distance on simulated ensembles.
const covered = loudness.LUFS(12)

// heardTask finds the noise of a recording and where it is played.
func heardTask(r Sound, s plan.Strip, level task.Ref[mix.Analysis]) task.Ref[mix.Heard] {
	t := task.Task{
		ID: task.ID("heard", r.Name), Name: r.File, Stage: "measure", Cost: costHeard * r.Seconds, Keep: true,
		Action: store.NewAction("heard").Version(mix.HeardVersion).Arg("clock", s.Sound.Clock).
			Arg("delay", s.Treat.Delay).Arg("piece", s.Clean.Piece),
	}
	if s.Clean.Hum {
		t.Action = t.Action.Arg("hum", true)
	}
	return listenTo(t, r, s, level, func(strip mix.Strip) (_ mix.Heard, err error) {
		if s.Clean.Hum {
			if strip.Hum, err = mix.FindHum(strip, s.Clean.Piece); err != nil {
				return mix.Heard{}, err
			}
		}
		return mix.Hear(strip, s.Clean.Piece)
	})
}

// listenTo completes a task that hears something in a recording as it was made,
// repaired. t lacks only inputs and what it makes. hear is given the strip without
// any treatment of its take, so what it finds does not change with gain, mutes or
// equaliser.
func listenTo[T any](t task.Task, r Sound, s plan.Strip, level task.Ref[mix.Analysis],
	hear func(mix.Strip) (T, error)) task.Ref[T] {
	t.Needs("sound", r.Samples)
	t.Needs("level", level)
	t.Action = t.Action.Ext(".gob").For(r.File)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		strip, a, err := readRecorded(in, r, s, level)
		if err != nil {
			return err
		}
		strip.Repair = a.Repair
		return measureStrip(strip, tmp, hear)
	}
	return task.Value[T](t)
}

// measureStrip stores what hear finds in a strip.
func measureStrip[T any](strip mix.Strip, tmp string, hear func(mix.Strip) (T, error)) error {
	heard, err := hear(strip)
	if err != nil {
		return err
	}
	return store.Save(tmp, heard)
}

// keepsLows reports whether a strip goes without the low cut by its part.
func keepsLows(c plan.Cleaning, h mix.Heard) bool { return c.Uncut && h.SilentBelow() }

// applyCleaning gives a strip what is done to it by itself, by what was heard of it.
// It adds the equaliser of a phone before that of the manifest, which is meant to be
// heard on top of it.
func applyCleaning(strip mix.Strip, c plan.Cleaning, h mix.Heard, phones tone.Phones) mix.Strip {
	if c.Hum {
		strip.Hum = h.Hum
	}
	if keepsLows(c, h) {
		strip.LowCut = -1
	}
	if c.Rumble {
		strip.EQ = append(mix.RumbleBands(h.RumbleHz()), strip.EQ...)
	}
	if c.Silence {
		strip.Playing = h.Curve(strip)
	}
	if depth := h.Depth(); c.Noise && depth > 0 {
		strip.Reduce = &mix.Reduce{Noise: &h.Noise, Depth: depth}
	}
	if c.Tops {
		strip.Clip = h.Clip
	}
	if c.Tone {
		strip.EQ = append(mix.ToneBands(h.Colour(phones)), strip.EQ...)
	}
	return strip
}

// CleanResult is what was done to a strip by itself. Fields are added, never
// renamed.
type CleanResult struct {
	Distance *float64 `json:"noise_distance_db"` // of the playing over the noise, A-weighted; null: nothing was heard
	Reduced  float64  `json:"noise_reduced_db"`  // at most, under the playing
	Open     *float64 `json:"open"`              // share of the film in which it is open; null: it is never closed
	// What is added to the colour of a phone: below 110 Hz, and about 3.2 kHz.
	Lows     float64 `json:"lows_db"`
	Presence float64 `json:"presence_db"`
	// Tops is the share of the recording's samples that were cut off and are drawn again.
	Tops float64 `json:"tops,omitempty"`
	// The lines of the mains' hum that are taken out, hertz.
	Hum []float64 `json:"hum_hz,omitempty"`
	// What lies below is cut, since the take plays nothing there, hertz.
	Rumble float64 `json:"rumble_below_hz,omitempty"`
	// By how much a phone turns itself up where nobody plays, dB. It is told and not undone.
	TurnedUp float64 `json:"turned_up_db,omitempty"`
}

// cleanResult describes what was done to strip i, nil for nothing.
func (t *Track) cleanResult(i int, h mix.Heard, phones tone.Phones) *CleanResult {
	p := t.parts[i]
	if !p.Clean.Any() {
		return nil
	}
	r := &CleanResult{TurnedUp: math.Round(h.Playing.TurnedUp*10) / 10}
	for _, hz := range h.Hum {
		r.Hum = append(r.Hum, math.Round(hz*100)/100)
	}
	if p.Clean.Rumble {
		r.Rumble = h.RumbleHz()
	}
	if !math.IsNaN(h.Playing.Distance) {
		d := math.Round(h.Playing.Distance*10) / 10
		r.Distance = &d
	}
	if p.Clean.Noise {
		r.Reduced = math.Round(float64(h.Depth())*10) / 10
	}
	if p.Clean.Tone {
		c := h.Colour(phones)
		r.Lows, r.Presence = c.Low, c.Presence
	}
	if p.Clean.Tops {
		r.Tops = h.Clip.Share
	}
	strip := mix.Strip{Offset: p.Sound.Clock.Offset, Drift: p.Sound.Clock.Drift, Delay: p.Treat.Delay}
	if c := h.Curve(strip); p.Clean.Silence && c != nil {
		open := c.Open(p.Treat.From, p.Treat.To).Seconds() / max((p.Treat.To-p.Treat.From).Seconds(), 1e-9)
		open = math.Round(open*1000) / 1000
		r.Open = &open
	}
	return r
}

// words says what was done, for the table of strips; "" for nothing. Less than half a
// percent of closing is not worth a word.
func (r *CleanResult) words() []string {
	if r == nil {
		return nil
	}
	var notes []string
	if r.Tops > 0 {
		notes = append(notes, fmt.Sprintf("clipped: %.2g %% of its samples drawn again", 100*r.Tops))
	}
	if r.Open != nil && *r.Open < 0.995 {
		notes = append(notes, fmt.Sprintf("closed for %.0f %% of the film", 100*(1-*r.Open)))
	}
	if r.Reduced > 0 && r.Distance != nil {
		notes = append(notes, fmt.Sprintf("noise %.0f dB under the playing, reduced by up to %.0f dB", *r.Distance,
			r.Reduced))
	}
	if len(r.Hum) > 0 {
		notes = append(notes, "hum of the mains taken out at "+hertz(r.Hum))
	}
	if r.Rumble > 0 {
		notes = append(notes, fmt.Sprintf("rumble below its notes cut at %.0f Hz", r.Rumble))
	}
	if r.TurnedUp > 0 {
		notes = append(notes, fmt.Sprintf("its level control turns it up by %.0f dB in pauses, which is left as it is",
			r.TurnedUp))
	}
	switch {
	case r.Lows != 0:
		notes = append(notes, fmt.Sprintf("a phone: lows %+.1f dB, presence %+.1f dB", r.Lows, r.Presence))
	case r.Presence != 0:
		notes = append(notes, fmt.Sprintf("a phone: presence %+.1f dB", r.Presence))
	}
	return notes
}

// hertz names frequencies, such as 50, 100 and 150 Hz; there is one at least.
func hertz(list []float64) string {
	words := make([]string, len(list))
	for i, hz := range list {
		words[i] = fmt.Sprintf("%.0f", hz)
	}
	last := len(words) - 1
	if last == 0 {
		return words[0] + " Hz"
	}
	return strings.Join(words[:last], ", ") + " and " + words[last] + " Hz"
}

// Cleanings returns the tasks that [Track.Cleaned] reads; none of a nil track.
func (t *Track) Cleanings() []task.Edge {
	var list []task.Edge
	if t == nil {
		return list
	}
	for _, p := range t.parts {
		if p.Clean.Any() {
			list = append(list, p.heard)
		}
	}
	if !t.phones.IsZero() {
		list = append(list, t.phones)
	}
	return list
}

// phonesOf returns what the phones need, from a run.
func (t *Track) phonesOf(res task.Result) (tone.Phones, error) {
	if t.phones.IsZero() {
		return tone.Usual, nil
	}
	phones, ok, err := t.phones.Result(res)
	if err != nil || !ok {
		return tone.Usual, err
	}
	return phones, nil
}

// Cleaned returns what is done to the strips by themselves, by their takes, from a run
// of [Track.Cleanings]. A take that could not be heard is left out. It fails when what
// is stored cannot be read.
func (t *Track) Cleaned(res task.Result) (map[string]*CleanResult, error) {
	all := map[string]*CleanResult{}
	if t == nil {
		return all, nil
	}
	phones, err := t.phonesOf(res)
	if err != nil {
		return nil, err
	}
	for i, p := range t.parts {
		if !p.Clean.Any() {
			continue
		}
		h, ok, err := p.heard.Result(res)
		if err != nil {
			return nil, err
		}
		if ok {
			all[p.Take] = t.cleanResult(i, h, phones)
		}
	}
	return all, nil
}
