package takes

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// arrivals is a production of three takes, of which the horn is placed first alone and then among
// others, run after run: each run reads what the one before wrote.
type arrivals struct {
	dir   string
	man   production.Production
	horn  *Recording
	takes []Take
}

// newArrivals returns it before its first run, with takes of two to four players.
func newArrivals(t *testing.T) *arrivals {
	a := &arrivals{dir: t.TempDir()}
	a.man = production.Production{Tempo: parseTempo(t,
		"  count_in: {measures: 2, cue: {measure: 2, beat: 1}}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n"+
			"  measures: 8\n")}
	a.man.Takes = []production.Take{{Name: "horn"}, {Name: "oboe"}, {Name: "tuba"}}
	for i := range a.man.Takes {
		r := heardRecording(a.man.Takes[i].Name, Audio, align.ByCue, 0)
		r.Hash = store.HashBytes([]byte(a.man.Takes[i].Name))
		a.takes = append(a.takes, Take{Take: &a.man.Takes[i], Audio: r})
	}
	a.horn = a.takes[0].Audio
	return a
}

// doubted is where the horn lies, at a confidence, and what else it could be.
func doubted(confidence float64) align.Placement {
	p := align.Placement{Name: "horn/audio", Offset: -3.25, DriftPPM: 12.5, Confidence: confidence,
		Method: align.ByCue, Sure: confidence >= 0.99, Uncertainty: 0.01, CueOffset: -3.25}
	if !p.Sure {
		p.Reason = "it could as well lie 2.40 s earlier"
	}
	p.Candidates = []align.Candidate{{Offset: -3.25, At: 12.34, ByCue: true, Odds: confidence},
		{Offset: -5.65, At: 9.94, ByCue: true, Odds: 1 - confidence}}
	return p
}

// run places the first n takes, the horn as p says, and returns where it lies then. A run that is killed
// writes nothing down.
func (a *arrivals) run(t *testing.T, n int, p align.Placement, killed bool) align.Placement {
	t.Helper()
	s := &Set{Takes: a.takes[:n]}
	before, err := manifest.LoadMeasured(a.dir)
	if err != nil {
		t.Fatal(err)
	}
	s.before = *before
	placed := map[string]align.Placement{p.Name: p}
	s.remember(&a.man, placed)
	a.horn.Place = placed[p.Name]
	if !killed {
		if err := s.writeMeasured(t.Context(), a.dir); err != nil {
			t.Fatal(err)
		}
	}
	return a.horn.Place
}

// Takes that come one by one leave a take sure that was so, where it is, and say each time what they
// leave open, also after a run that was killed; without sync.yaml the same files are asked about.
func TestLateTakesLeaveSureWhatWas(t *testing.T) {
	a := newArrivals(t)
	if p := a.run(t, 1, doubted(0.96), false); p.Sure || p.Remembered != "" {
		t.Fatal("what was never sure is remembered to be")
	}
	if p := a.run(t, 1, doubted(0.993), false); !p.Sure || p.Remembered != "" {
		t.Fatalf("alone: %+v", p)
	}
	const asks = "clap at 12.34 s (96 %) or 9.94 s (4 %)"
	for i, killed := range []bool{false, true, true, false, false} {
		p := a.run(t, min(2+i, 3), doubted(0.96), killed)
		if !p.Sure || p.Offset != -3.25 || p.DriftPPM != 12.5 || p.Confidence != 0.96 || p.Reason != "" ||
			p.Remembered != asks {
			t.Fatalf("run %d: %+v", i, p)
		}
		said := p.Evidence[len(p.Evidence)-1]
		if !strings.HasSuffix(said, asks) || !strings.Contains(said, "earlier run") {
			t.Errorf("run %d says %q", i, said)
		}
	}
	data, err := os.ReadFile(filepath.Join(a.dir, manifest.MeasuredName))
	if err != nil || !strings.Contains(string(data), `remembered: "`+asks+`"`) {
		t.Errorf("%v\n%s", err, data)
	}
	if out := a.horn.Placed(production.Tightened); !out.Sure || out.Remembered != asks || out.Question != "" {
		t.Errorf("--json says %+v", out)
	}
	if p := a.run(t, 3, doubted(1), false); !p.Sure || p.Remembered != "" {
		t.Errorf("one who is sure again is said to be remembered: %+v", p)
	}
	if err := os.Remove(filepath.Join(a.dir, manifest.MeasuredName)); err != nil {
		t.Fatal(err)
	}
	if p := a.run(t, 3, doubted(0.96), false); p.Sure {
		t.Error("without sync.yaml somebody is remembered")
	}
}

// Nobody is remembered whose file, guide, part, device or timing is another, whose features were heard by
// other rules, whose place is another by a digit, or who has become doubtful for a better reason.
func TestWhatIsForgotten(t *testing.T) {
	for what, change := range map[string]func(a *arrivals, p *align.Placement){
		"the file":   func(a *arrivals, _ *align.Placement) { a.horn.Hash = store.HashBytes([]byte("again")) },
		"its name":   func(a *arrivals, _ *align.Placement) { a.horn.Owner = "horn-2" },
		"its role":   func(a *arrivals, _ *align.Placement) { a.horn.Role = Video },
		"its parts":  func(a *arrivals, _ *align.Placement) { a.horn.Parts = audio.Break(10, 0.5) },
		"its rate":   func(a *arrivals, _ *align.Placement) { a.horn.Rate = 44100 },
		"the timing": func(a *arrivals, _ *align.Placement) { a.takes[0].Timing = production.AsPlayed },
		"its clock":  func(a *arrivals, _ *align.Placement) { ppm := 12.5; a.horn.File.DriftPPM = &ppm },
		"another file": func(a *arrivals, _ *align.Placement) {
			a.takes[0].Video = heardRecording("horn", Video, align.ByCue, 0)
		},
		"the place":     func(_ *arrivals, p *align.Placement) { p.Offset += 1e-12 },
		"the drift":     func(_ *arrivals, p *align.Placement) { p.DriftPPM += 1e-9 },
		"the tempo":     func(_ *arrivals, p *align.Placement) { p.OtherTempo = 1.04 },
		"another guide": func(_ *arrivals, p *align.Placement) { p.Former = true },
		"its odds":      func(_ *arrivals, p *align.Placement) { p.Confidence = 0.94 },
		"its error":     func(_ *arrivals, p *align.Placement) { p.Uncertainty, p.CueOffset = 0.04, 9 },
		"the measures": func(a *arrivals, _ *align.Placement) {
			a.man.Tempo = parseTempo(t, "  count_in: {measures: 2, cue: {measure: 2, beat: 1}}\n"+
				"  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 9\n")
		},
		"the rules": func(a *arrivals, _ *align.Placement) {
			path := filepath.Join(a.dir, manifest.MeasuredName)
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			// As a program that hears by other rules would have written it.
			key := a.takes[0].key(&a.man)
			other := strings.Repeat("0", len(key))
			if err := os.WriteFile(path, []byte(strings.ReplaceAll(string(data), key, other)), 0o666); err != nil {
				t.Fatal(err)
			}
		},
	} {
		a, p := newArrivals(t), doubted(0.96)
		a.run(t, 1, doubted(0.993), false)
		if p := a.run(t, 2, p, true); !p.Sure {
			t.Fatalf("%s: not remembered before it changes", what)
		}
		change(a, &p)
		p.Name = a.horn.Name()
		if got := a.run(t, 2, p, false); got.Sure || got.Remembered != "" {
			t.Errorf("%s is another, and it is remembered: %+v", what, got)
		}
	}
}

// The key of a take goes by the version of what is heard and placed.
func TestKeysOfTakes(t *testing.T) {
	a := newArrivals(t)
	if k := a.takes[0].key(&a.man); len(k) != keyDigits || k == a.takes[1].key(&a.man) {
		t.Errorf("the horn's key is %q, the oboe's %q", k, a.takes[1].key(&a.man))
	}
}

// A sync.yaml that cannot be read remembers nobody and stops nothing.
func TestUnreadableMemory(t *testing.T) {
	s := opened(t, "version: 1\ntitle: x\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}\n"+
		"takes: [{name: oboe, player: Ada, video: {file: a.mov}}]\n")
	path := filepath.Join(s.Manifest().Dir, manifest.MeasuredName)
	if err := os.WriteFile(path, []byte("version: 1\nfiles: [{take: oboe"), 0o666); err != nil {
		t.Fatal(err)
	}
	set := &Set{}
	if set.recall(s); len(set.before.Files) != 0 {
		t.Errorf("%+v", set.before)
	}
}
