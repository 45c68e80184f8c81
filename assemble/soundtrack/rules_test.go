package soundtrack

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/tone"
)

// TestAVoiceIsTheSameElsewhere makes voices at home and, from text and copies of the files,
// by the rule: as recorded, cleaned, and with the colour of the phone taken away.
func TestAVoiceIsTheSameElsewhere(t *testing.T) {
	t.Parallel()
	like := map[string]audio.Block{}
	for k, take := range []string{"oboe", "cello", "bass"} {
		like[take] = sine(220*float64(k+1), 0.2, 4)
	}
	for name, changes := range map[string][]string{
		"plain":   {"room: 0.2}", "room: 0.2, clean: off}"},
		"cleaned": nil,
	} {
		var voices []task.Edge
		track, res := mixed(t, like, changes, func(track *Track) []task.Edge {
			for _, p := range track.parts {
				voices = append(voices, p.voice)
			}
			return voices
		})
		if len(track.parts) != 3 {
			t.Fatalf("%d parts", len(track.parts))
		}
		for _, v := range voices {
			made := v.Task()
			in := task.Inputs{}
			for _, id := range made.After {
				in[id] = res.Path(id)
			}
			paths, err := task.PathsOf(made.Errand.Inputs, in)
			if err != nil {
				t.Fatal(err)
			}
			args, err := json.Marshal(made.Errand.Args)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			if err := Rules()[RuleVoice](t.Context(), args, paths, dir); err != nil {
				t.Fatalf("%s %s: %v", name, made.ID, err)
			}
			for _, file := range []string{voiceWAV, voiceFile} {
				here, err1 := os.ReadFile(filepath.Join(res.Path(made.ID), file))
				there, err2 := os.ReadFile(filepath.Join(dir, file))
				if err1 != nil || err2 != nil || string(here) != string(there) || len(here) == 0 {
					t.Errorf("%s %s: %d bytes of %s here and %d there, %v, %v", name, made.ID, len(here), file,
						len(there), err1, err2)
				}
			}
		}
	}
}

// TestAVoiceThatMakesNoSense is an error: what is no arguments, too few files or too many,
// and files that are something else.
func TestAVoiceThatMakesNoSense(t *testing.T) {
	t.Parallel()
	rule := Rules()[RuleVoice]
	level, pair := filepath.Join(t.TempDir(), "level.gob"), filepath.Join(t.TempDir(), "pair.gob")
	if err := errors.Join(store.Save(level, mix.Analysis{}), store.Save(pair, tone.Pair{})); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		args string
		in   []string
	}{
		"no arguments":      {"{", []string{level, level}},
		"one file":          {"{}", []string{level}},
		"five files":        {"{}", []string{level, level, level, level, level}},
		"nothing was heard": {`{"Clean":{"Noise":true}}`, []string{level, level}},
		"no sound":          {"{}", []string{level, level}},
		"no level":          {"{}", []string{level, pair}},
		"not there":         {"{}", []string{"/nowhere", "/nowhere"}},
	} {
		if err := rule(t.Context(), []byte(c.args), c.in, t.TempDir()); err == nil {
			t.Errorf("%s makes a voice", name)
		}
	}
	// What cannot be said as text is made at home: it is no order.
	w := voiceWork{Treat: plan.Treatment{Denoise: audio.Decibels(math.Inf(1))}}
	if _, err := json.Marshal(w); err == nil {
		t.Error("infinity is said as text")
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := rule(ctx, []byte("{}"), []string{level, level}, t.TempDir()); err == nil {
		t.Error("a run that has ended makes a voice")
	}
}
