package soundtrack

import (
	"context"
	"encoding/json"
	"fmt"

	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/declip"
	"ripieno/mix/tone"
)

// RuleVoice computes a voice. It is the rule of a soundtrack that another machine can
// carry out; a run at home calls the same function.
const RuleVoice = "voice"

// Versions says, in one line, by which versions of the rules this program works: others
// make other bytes. Machines compare the line and do not read it.
func Versions() string {
	return fmt.Sprint("soundtrack ", rule, " cleaning ", cleanRule, " heard ", mix.HeardVersion, " tone ", tone.Version,
		" tops ", declip.Version)
}

// voiceWork is the computing of a voice as plain data.
type voiceWork struct {
	take  string // for messages; it does not travel
	Clock audio.Clock
	Treat plan.Treatment
	Clean plan.Cleaning
}

// run writes the voice and what it measures into dir. in are the paths of the sound, of
// its level, of what was heard of it where the take is cleaned, and of what phones need
// where that was learned.
func (w voiceWork) run(ctx context.Context, in []string, dir string) error {
	if most := 4; len(in) < 2 || len(in) > most || w.Clean.Any() && len(in) < 3 {
		return fmt.Errorf("soundtrack: a voice is made of 2 to %d files, and not of %d", most, len(in))
	}
	level, err := store.Load[mix.Analysis](in[1])
	if err != nil {
		return err
	}
	s := plan.Strip{Take: w.take}
	s.Sound.Clock, s.Treat = w.Clock, w.Treat
	strip, heard := placeRecording(s, in[0]), mix.Heard{}
	if w.Clean.Any() {
		if heard, err = store.Load[mix.Heard](in[2]); err != nil {
			return err
		}
		strip.Hum = heard.Hum // noise by hand is learned without it
	}
	if strip, err = applyTreatment(strip, w.Treat, level); err != nil {
		return err
	}
	if w.Clean.Any() {
		phones := tone.Usual
		if w.Clean.Tone && len(in) > 3 {
			if phones, err = store.Load[tone.Phones](in[3]); err != nil {
				return err
			}
		}
		strip = applyCleaning(strip, w.Clean, heard, phones)
	}
	return writeVoice(ctx, strip, dir)
}

// Rules returns what this program can do for a production elsewhere, as picture.Rules
// does.
func Rules() map[string]func(ctx context.Context, args []byte, in []string, dst string) error {
	return map[string]func(context.Context, []byte, []string, string) error{
		RuleVoice: func(ctx context.Context, args []byte, in []string, dst string) error {
			var w voiceWork
			if err := json.Unmarshal(args, &w); err != nil {
				return fmt.Errorf("soundtrack: the voice asked for cannot be read: %w", err)
			}
			return w.run(ctx, in, dst)
		},
	}
}
