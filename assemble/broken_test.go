package assemble

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
)

// writeEnsemble writes simulated players as WAV files and returns the manifest's lines
// for the tempo and the takes. change, by player, is what became of a sound on the way,
// and the rate of which its file speaks.
func writeEnsemble(t *testing.T, dir string, e *simulate.Ensemble,
	change map[int]func(x []float64) ([]float64, int)) string {
	t.Helper()
	spec := e.Map.Spec()
	var b strings.Builder
	fmt.Fprintf(&b, "version: 1\ntitle: Broken Round\ntempo:\n  count_in: {measures: %d, cue: {measure: "+
		"%d, beat: %g}}\n  changes:\n",
		spec.CountIn.Measures, spec.CountIn.CueMeasure, spec.CountIn.CueBeat)
	for _, c := range spec.Changes {
		fmt.Fprintf(&b, "    - {measure: %d", c.Measure)
		if c.Meter.Beats() > 0 {
			fmt.Fprintf(&b, ", meter: %s", c.Meter)
		}
		if c.BPM > 0 {
			fmt.Fprintf(&b, ", bpm: %g", c.BPM)
		}
		if c.RampTo > 0 {
			fmt.Fprintf(&b, ", ramp_to: %g, until: %d", c.RampTo, c.Until)
		}
		b.WriteString("}\n")
	}
	fmt.Fprintf(&b, "  measures: %d\nrelease: yes\ntakes:\n", spec.Measures)
	if err := os.MkdirAll(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	for i, x := range e.Takes {
		sound, err := audio.ReadAll(x.Source())
		if err != nil {
			t.Fatal(err)
		}
		rate := x.Source().Rate()
		if f := change[i]; f != nil {
			sound[0], rate = f(sound[0])
		}
		name := fmt.Sprintf("intake/p%d.wav", i)
		if _, err := media.CreateWAV(t.Context(), filepath.Join(dir, name), audio.NewMemory(sound[:1], rate),
			media.Float32); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "  - {name: p%d, player: Player %d, part: Part, audio: {file: %s}}\n", i, i, name)
	}
	return b.String()
}

// TestABrokenTakeIsMended: two seconds of silence in one of four takes are found to the
// sample and left out, a wrong label of another is undone, both are told by sync and
// check with what to write, and what is pinned says the same again.
func TestABrokenTakeIsMended(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	const rate, at, long = 44100, 41.5, 2.2
	e := simulate.New(3, simulate.Options{Level: simulate.Easy, Players: 4, Seconds: 50, Rate: rate})
	manifest := writeEnsemble(t, dir, e, map[int]func([]float64) ([]float64, int){
		1: func(x []float64) ([]float64, int) { return x, 48000 },
		2: func(x []float64) ([]float64, int) {
			k := int(at * rate)
			return slices.Concat(x[:k], make([]float64, int(long*rate)), x[k:]), rate
		},
	})
	p := openTest(t, dir, manifest)
	sync, err := p.Sync(t.Context(), SyncOptions{Pin: true})
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range sync.Takes {
		if off := x.Offset - e.Takes[i].Truth.MeanOffset(); !x.Sure || math.Abs(off) > 0.04 {
			t.Errorf("%s is %.3f s off, sure %v: %v", x.Name, off, x.Sure, x.Evidence)
		}
		if i != 2 && len(x.Parts) > 0 || i != 1 && x.SampleRate != 0 {
			t.Errorf("%s is not broken: %+v, %d Hz", x.Name, x.Breaks, x.SampleRate)
		}
	}
	if x := sync.Takes[1]; x.SampleRate != rate || x.LabelledRate != 48000 {
		t.Errorf("p1 has %d samples a second, labelled %d", x.SampleRate, x.LabelledRate)
	}
	if x := sync.Takes[2]; len(x.Parts) != 2 || len(x.Breaks) != 1 || !x.Breaks[0].Mended ||
		math.Abs(*x.Parts[0].To-at) > 0.001 || math.Abs(x.Parts[1].Shift+long) > 0.001 {
		t.Errorf("p2: parts %+v, breaks %+v", x.Parts, x.Breaks)
	}
	check, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, code := range map[int]intake.Code{1: intake.WrongRate, 2: intake.Broken} {
		if !slices.ContainsFunc(check.Takes[i].Findings, func(f intake.Finding) bool { return f.Code == code }) {
			t.Errorf("check does not tell %s: %+v", code, check.Takes[i].Findings)
		}
	}
	// The manifest says it now, and beats what would be measured.
	p.Close()
	data, err := os.ReadFile(filepath.Join(dir, "production.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"sample_rate: 44100", "parts: [{to: 41.5}, {from: 43.7"} {
		if !strings.Contains(string(data), want) {
			t.Errorf("the manifest lacks %q:\n%s", want, data)
		}
	}
	again, err := openTest(t, dir, string(data)).Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if x, y := again.Takes[2], sync.Takes[2]; len(x.Parts) != 2 ||
		math.Abs(x.Parts[1].Shift-y.Parts[1].Shift) > 1e-9 || again.Takes[1].SampleRate != rate {
		t.Errorf("pinned: %+v", again.Takes[1:3])
	}
	if again.Tasks.Run != 0 {
		t.Errorf("%d analyses were run again", again.Tasks.Run)
	}
}
