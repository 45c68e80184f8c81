package soundtrack

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// Loose is a strip before it is added up: its voice, and what the bus would apply to
// it. Whoever applies the same hears the mix.
type Loose struct {
	plan.Strip
	Voice   string         // the file of its voice
	From    audio.Frames   // guide frame of the voice's first
	Balance audio.Decibels // of what is applied, what the program adds to make takes equally loud
	Alone   loudness.LUFS  // of the voice, before any gain
}

// LooseEdges returns the tasks that [Track.Loose] reads.
func (t *Track) LooseEdges() []task.Edge {
	var edges []task.Edge
	for _, p := range t.parts {
		// Kept: a voice may be in the store without what its recording measures, and what is
		// made of a voice without the voice.
		level, voice := *p.level.Task(), *p.voice.Task()
		level.Keep, voice.Keep = true, true
		edges = append(edges, task.Value[mix.Analysis](level), task.Path(voice))
		if p.Clean.Any() {
			edges = append(edges, p.heard)
		}
	}
	return t.blendEdges(edges)
}

// Loose returns the strips whose voices a run has made, and the errors of the others
// by their takes. The gain of a strip is then that of the manifest, its section's and
// Balance.
func (t *Track) Loose(res task.Result) (strips []Loose, failed map[string]error) {
	failed = map[string]error{}
	for _, p := range t.parts {
		s, err := t.looseStrip(p, res)
		if err != nil {
			failed[p.Take] = err
			continue
		}
		strips = append(strips, s)
	}
	return strips, failed
}

// looseStrip returns one strip as it is before it is added up.
func (t *Track) looseStrip(p part, res task.Result) (Loose, error) {
	a, ok, err := p.level.Result(res)
	if err != nil || !ok {
		return Loose{}, orFailure(err, p.level.Outcome(res))
	}
	dir, ok, err := p.voice.Result(res)
	if err != nil || !ok {
		return Loose{}, orFailure(err, p.voice.Outcome(res))
	}
	v, err := store.Load[voiceInfo](filepath.Join(dir, voiceFile))
	if err != nil {
		return Loose{}, err
	}
	var h mix.Heard
	if p.Clean.Any() {
		if h, ok, err = p.heard.Result(res); err != nil || !ok {
			return Loose{}, orFailure(err, p.heard.Outcome(res))
		}
	}
	all, err := t.blended(res)
	if err != nil {
		return Loose{}, err
	}
	more := all[p.at]
	strip := p.Strip
	strip.Lifts = slices.Concat(p.Lifts, rides(more.Moves))
	return Loose{Strip: strip, Voice: filepath.Join(dir, voiceWAV), From: v.From,
		Balance: t.gain(p.Strip, a, v, h) - p.Gain - p.Group + more.Register, Alone: v.Measured.Integrated}, nil
}

// orFailure returns an error of reading, or else why a task made nothing. It is never
// nil.
func orFailure(err error, o task.Outcome) error {
	return cmp.Or(err, o.Err, fmt.Errorf("nothing was made (%s)", o.State))
}
