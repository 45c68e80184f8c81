package soundtrack

import (
	"ripieno/assemble/task"
	"ripieno/mix/tempo"
)

// Covered is what is worth saying of a take that the others cover: its part, and where it has
// the melody. Each is nil where there is nothing to say.
type Covered struct{ Part, Tune *HiddenResult }

// Covers returns the tasks that [Track.Covered] reads, none of a nil track. They end with the
// sum: what a strip is covered by depends on everybody's gain.
func (t *Track) Covers() []task.Edge {
	if t == nil {
		return nil
	}
	return append(t.Bands(), t.added)
}

// Covered returns who is hidden behind the others, by their takes, from a run of
// [Track.Covers]; who says who plays what. It says what [Track.Find] says, without the
// master. Where the strips could not be added up nobody is; it fails when what is stored
// cannot be read.
func (t *Track) Covered(res task.Result, music *tempo.Map, who Playing) (map[string]Covered, error) {
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
	for i, p := range t.parts {
		var c Covered
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
