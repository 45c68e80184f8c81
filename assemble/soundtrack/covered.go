package soundtrack

import (
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix/tempo"
)

// Covered is what is worth saying of a take beside the others: that they cover its part, or its
// melody, and by what it is louder or softer than they are. Each is nil where there is nothing to
// say.
type Covered struct {
	Part, Tune *HiddenResult
	Blend      *BlendResult
}

// Covers returns the tasks that [Track.Covered] reads, none of a nil track. They end with the
// sum: what a strip is covered by depends on everybody's gain.
func (t *Track) Covers() []task.Edge {
	if t == nil {
		return nil
	}
	return append(t.blendEdges(t.Bands()), t.added)
}

// Covered returns who is hidden behind the others, by their takes, from a run of
// [Track.Covers]; who says who plays what. It says what [Track.Find] says, without the
// master. Where the strips could not be added up nobody is; it fails when what is stored
// cannot be read.
func (t *Track) Covered(res task.Result, music *tempo.Map, who direct.Cast) (map[string]Covered, error) {
	all := map[string]Covered{}
	if t == nil {
		return all, nil
	}
	rep, ok, err := t.added.Result(res)
	if err != nil || !ok {
		return all, err
	}
	parts, tunes, err := t.hidden(rep, res, music, melodies(t.roles(who, music)))
	if err != nil {
		return nil, err
	}
	list, err := t.blended(res)
	if err != nil {
		return nil, err
	}
	blends := t.blendResults(list, music)
	for i, p := range t.parts {
		c := Covered{Blend: blends[i]}
		if parts[i].worthSaying(mostHidden) {
			c.Part = parts[i]
		}
		if tunes[i].worthSaying(tuneHidden) {
			c.Tune = tunes[i]
		}
		if c != (Covered{}) {
			all[p.Take] = c
		}
	}
	return all, nil
}
