// Package plantest gives tests of what carries out a plan a plan to carry out: from
// a manifest in the test, without takes and without ffmpeg.
package plantest

import (
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/mix/audio"
)

// Plan returns the plan of a manifest in which words have been replaced: changes
// are pairs of what is there once and what stands there instead. Every take has a
// minute of sound from guide time 0 on, and a picture when it has a video. Films
// are those of the manifest when films is set, else there are none.
func Plan(t testing.TB, text string, films bool, changes ...string) *plan.Plan {
	t.Helper()
	for i := 0; i+1 < len(changes); i += 2 {
		if !strings.Contains(text, changes[i]) {
			t.Fatalf("%q is not in the manifest", changes[i])
		}
		text = strings.Replace(text, changes[i], changes[i+1], 1)
	}
	man, err := manifest.Parse("production.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	facts := map[string]plan.Facts{}
	for _, take := range man.Takes {
		hash := store.HashBytes([]byte(take.Name)).String()
		f := plan.Facts{Sound: &plan.Sound{Hash: hash, Rate: audio.Rate, Channels: 1, Frames: 60 * audio.Rate}}
		if take.Video != nil {
			f.Picture = &plan.Picture{Path: "/takes/" + take.Name + ".mp4", Hash: hash, W: 1920, H: 1080, Last: 60,
				FPS: 30, Matrix: "bt709", PixFmt: "yuv420p"}
		}
		facts[take.Name] = f
	}
	var wants []plan.Want
	if films {
		wants = plan.Wants(man)
	}
	pl, err := plan.New(man, facts, wants, plan.Look{})
	if err != nil {
		t.Fatal(err)
	}
	return pl
}
