package takes

import (
	"context"

	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix/playing"
)

// castRule is the version of how notes are found in takes and what is made of them. Raise
// it when a role that layout/direct gives would be another one.
const castRule = 1

// The type that is stored of who plays what, with the number it has for ever.
var _ = store.Number(47, []direct.Turn{})

// Turns returns the task that finds who has melody, bass and filling in every phrase: the
// roles of a turn are those of the takes that are not withheld, in the manifest's order. It
// knows what [Set.Roles] makes known.
func (s *Set) Turns(man *production.Production) task.Ref[[]direct.Turn] {
	t := task.Task{ID: task.ID("roles"), Stage: "measure", Cost: 0.1,
		Action: store.NewAction("roles").Version(castRule).Arg("starts", MeasureStarts(man))}
	listened := map[string]task.Ref[*playing.Tones]{}
	for _, x := range s.Takes {
		if x.IsWithheld() {
			continue
		}
		t.Action = t.Action.Arg("take", []string{x.Name, x.Section, x.Part})
		tones := x.Tones()
		switch {
		case scorePart(man, x.Part) != nil:
			t.Action = t.Action.Arg("score", expectPlaying(man, x.Take).Score)
		case len(man.Takes) <= mostHeard && !tones.IsZero() && x.Heard.Features != nil:
			t.Action = t.Action.Arg("clock", x.Heard.Place.Clock()).Arg("events", x.Heard.Features.Events).
				Arg("loud", x.Heard.Features.LoudDB)
			t.Needs("tones", tones)
			listened[x.Name] = tones
		}
	}
	t.Action = t.Action.Ext(".gob").For("roles")
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		players, err := s.players(man, func(x Take) (*playing.Tones, error) {
			if tones, ok := listened[x.Name]; ok {
				return tones.Read(in)
			}
			return nil, nil
		})
		if err != nil {
			return err
		}
		return store.Save(tmp, direct.Roles(players, MeasureStarts(man)))
	}
	return task.Value[[]direct.Turn](t)
}
