package assemble

import (
	"testing"

	"ripieno/assemble/demo"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// The demo's takes have faults that were planted: the check finds each of
// them, on that take and at that level, and nothing else. It is made with
// another seed than the demo's own, so other lots than those it was tried on.
// Two of those who sent a phone's video and a microphone's sound are left out.
func TestCheckFindsWhatTheDemoPlanted(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("drawing the demo's films takes a minute")
	}
	dir := t.TempDir()
	truth, err := demo.Make(t.Context(), ffmpegtest.Tool(t), dir, demo.Options{Seed: 11, Draft: true,
		Without: []string{"violin", "cello"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	p := openWith(t, Settings{Dir: dir})
	r, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	planted := map[demo.PlantedTruth]bool{}
	for _, f := range truth.Planted {
		planted[f] = true
	}
	if len(planted) < 6 {
		t.Fatalf("only %d faults are planted", len(planted))
	}
	for _, take := range r.Takes {
		for _, f := range take.Findings {
			found := demo.PlantedTruth{Take: take.Name, Code: string(f.Code), Level: f.Level.String()}
			if !planted[found] {
				t.Errorf("%s: %s (%s) was not planted: %s", take.Name, f.Code, f.Level, f.What)
			}
			delete(planted, found)
		}
	}
	for f := range planted {
		t.Errorf("%s: %s (%s) was planted and is not found", f.Take, f.Code, f.Level)
	}
}
