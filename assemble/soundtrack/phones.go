package soundtrack

import (
	"context"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/tone"
)

// The types that are stored of phones, each with the number it has for ever.
var (
	_ = store.Number(43, tone.Pair{})
	_ = store.Number(44, tone.Phones{})
)

// phonesTask learns what the phones of the production need from the players who recorded
// with a phone and with a microphone; zero where nobody did, or no phone is heard.
func phonesTask(pl *plan.Plan, sounds []Sound, heard []task.Ref[mix.Heard]) (none task.Ref[tone.Phones]) {
	var pairs []task.Ref[tone.Pair]
	wanted := false
	for i, s := range pl.Strips {
		wanted = wanted || s.Clean.Tone
		if s.Beside != nil && sounds[i].Beside != nil && !s.Sound.Phone && s.Clean.Any() {
			pairs = append(pairs, pairTask(sounds[i], s, heard[i]))
		}
	}
	if !wanted || len(pairs) == 0 {
		return none
	}
	t := task.Task{ID: task.ID("phones"), Name: "phones", Stage: "measure", Cost: 0.01,
		Action: store.NewAction("phones").Version(tone.Version)}
	for _, p := range pairs {
		t.Reads(p)
	}
	t.Action = t.Action.Ext(".gob")
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		list, err := task.ReadAll(pairs, in)
		if err != nil {
			return err
		}
		return store.Save(tmp, tone.Learn(list))
	}
	return task.Value[tone.Phones](t)
}

// pairTask compares the phone of a player with their microphone.
func pairTask(r Sound, s plan.Strip, heard task.Ref[mix.Heard]) task.Ref[tone.Pair] {
	t := task.Task{ID: task.ID("pair", r.Name), Name: r.File, Stage: "measure", Cost: 2 * costHeard * r.Seconds,
		Action: store.NewAction("pair").Version(tone.Version).Arg("heard", mix.HeardVersion).
			Arg("clock", s.Sound.Clock).Arg("beside", s.Beside.Clock).Arg("piece", s.Clean.Piece)}
	t.Needs("sound", r.Samples)
	t.Needs("phone", *r.Beside)
	t.Needs("heard", heard)
	t.Action = t.Action.Ext(".gob").For(r.File)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		samples, err := r.Samples.Read(in)
		if err != nil {
			return err
		}
		other, err := r.Beside.Read(in)
		if err != nil {
			return err
		}
		h, err := heard.Read(in)
		if err != nil {
			return err
		}
		return measurePair(s, samples, other, h, tmp)
	}
	return task.Value[tone.Pair](t)
}

// measurePair stores how the phone of a player differs from their microphone: samples are
// those of the microphone, other those of the phone, h what was heard of the first.
func measurePair(s plan.Strip, samples, other string, h mix.Heard, tmp string) error {
	beside := s
	beside.Sound = *s.Beside
	microphone := placeRecording(s, samples)
	microphone.Hum = h.Hum // the phone's own hum stands elsewhere and is below what is compared
	pair, err := mix.Compare(microphone, placeRecording(beside, other), h, s.Clean.Piece)
	if err != nil {
		return err
	}
	return store.Save(tmp, pair)
}

// readPhones returns what the phones of the production need.
func readPhones(phones task.Ref[tone.Phones], in task.Inputs) (tone.Phones, error) {
	if phones.IsZero() {
		return tone.Usual, nil
	}
	return phones.Read(in)
}
