package assemble

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/roll"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

// In this production a measure lasts 2 s and the count-in 8 s, so measure n
// begins at guide time 8 + 2(n−1). The guide of the re-take plays measures 5 to
// 16 after a count-in of its own: measure 5 is at 8 s in it and at 16 s of
// guide time, which makes its offset 8.
const retakeManifest = `version: 1
title: Test Round
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 20
guide:
  drone: [{measure: count-in, note: D3}, {measure: 3, note: G3}, {measure: 9, note: none}]
  variants:
    - {name: together, with: others, levels: {click: off, drone: off}}
    - {name: all, with: mix, levels: {click: off, drone: off, mix: -6}}
    - {name: from-5, from: m5, to: m17, with: mix, levels: {click: off, drone: off}}
    - {name: again, from: m5, to: m17}
release: yes
takes:
  - {name: oboe, audio: {file: intake/oboe.wav, offset: -1.25}}
  - {name: cello, audio: {file: intake/cello.wav, offset: 2.5}, guide: together}
mix: {balance: manual}
`

// ping is a short tone.
type ping struct{ at, hz, seconds float64 }

// writePings writes a recording of a soft noise and some tones, at times of
// the file.
func writePings(t *testing.T, path string, seconds float64, pings []ping) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, uint64(len(pings))))
	wave := make([]float64, int(seconds*audio.Rate))
	for i := range wave {
		wave[i] = 1e-4 * (2*rng.Float64() - 1)
	}
	for _, p := range pings {
		for i := range int(p.seconds * audio.Rate) {
			k := int(p.at*audio.Rate) + i
			if k < 0 || k >= len(wave) {
				continue
			}
			x := float64(i) / audio.Rate
			v := math.Sin(2*math.Pi*p.hz*x) + 0.4*math.Sin(4*math.Pi*p.hz*x)
			if p.hz == 0 { // a clap
				v = 3 * (2*rng.Float64() - 1) * math.Exp(-60*x)
			} else {
				v *= math.Min(1, x/0.004) * math.Exp(-3*x)
			}
			wave[k] += 0.2 * v
		}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(audio.Block{wave}, audio.Rate),
		media.PCM24); err != nil {
		t.Fatal(err)
	}
}

// tone returns the level of a frequency in a second of sound, by correlation.
func tone(wave []float64, from, hz float64) float64 {
	var re, im float64
	at := int(from * audio.Rate)
	n := audio.Rate / 10
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * hz * float64(i) / audio.Rate)
		re, im = re+wave[at+i]*c, im+wave[at+i]*s
	}
	return 2 * math.Hypot(re, im) / float64(n)
}

func openRetakes(t *testing.T, more string) *Production {
	t.Helper()
	findTool(t)
	dir := t.TempDir()
	var oboe, cello []ping
	for g := 0.5; g < 50; g += 2 { // guide times; the two never sound together
		oboe = append(oboe, ping{g + 1.25, 700, 0.3})
		cello = append(cello, ping{g + 1 - 2.5, 300, 0.3})
	}
	writePings(t, filepath.Join(dir, "intake", "oboe.wav"), 52, oboe)
	writePings(t, filepath.Join(dir, "intake", "cello.wav"), 46, cello)
	return openTest(t, dir, strings.Replace(retakeManifest, "mix: {", more+"mix: {", 1))
}

// The other parts lie in a guide where they belong: on guide time, or moved by
// the offset of a re-take, silent before its first measure and after its last,
// and the takes recorded to a guide for which others are wanted are not in it.
func TestOtherPartsInTheGuide(t *testing.T) {
	t.Parallel()
	p := openRetakes(t, "")
	r := makeGuide(t, p, "together", "all", "from-5")
	if len(r.Variants) != 3 || len(r.Faults) != 0 {
		t.Fatalf("%+v", r)
	}
	for _, g := range r.Variants {
		wave, channels := readWAV(t, g.WAV)
		if channels != 2 {
			t.Errorf("%s has %d channels", g.Name, channels)
		}
		for at := 19.5; at < 36; at += 2 { // notes of both within the measures of all three
			oboe, cello := tone(wave, at-1-g.Offset, 700), tone(wave, at-g.Offset-2, 300)
			before := tone(wave, at-1-g.Offset-0.15, 700)
			if oboe < 0.003 || before > oboe/20 {
				t.Errorf("%s: at %.1f the oboe has %.5f, before %.5f", g.Name, at, oboe, before)
			}
			if (cello < 0.003) != (g.Name == "together") {
				t.Errorf("%s: at %.1f the cello has %.5f", g.Name, at, cello)
			}
		}
		want := -30.0
		if g.Name == "all" {
			want = -36
		}
		if math.Abs(*g.Loudness-want) > 0.5 {
			t.Errorf("%s: %.2f LUFS, stated %.0f", g.Name, *g.Loudness, want)
		}
	}
	if got := r.Variants[0].With; !slices.Equal(got, []string{"oboe"}) {
		t.Errorf("together has %q", got)
	}
	g := r.Variants[2]
	if g.From != 5 || g.To != 16 || math.Abs(g.Offset-8) > 1e-9 || g.StartsAt != 8 || *g.CueAt != 4 ||
		g.Duration != 8+24+4 {
		t.Errorf("%+v", g)
	}
	wave, _ := readWAV(t, g.WAV)
	for i, v := range wave {
		if s := float64(i) / audio.Rate; v != 0 && (s < 8-0.021 || s > 32+0.021) {
			t.Fatalf("sample %d (%.3f s) is %g outside the measures", i, s, v)
		}
	}
}

// Without other takes there is nothing to play over: the rest is made, and the
// verb says that something waits for a decision.
func TestNoOtherPartsYet(t *testing.T) {
	t.Parallel()
	p := openGuide(t, 1, 240, 2, `guide: {variants: [{name: over, with: mix}, {name: silent, with: mix, levels: {mix: off}}]}
takes: [{name: oboe, expected: true}]
`)
	r := makeGuide(t, p)
	if len(r.Faults) != 1 || r.Faults[0].Kind != takes.KindMissing || len(r.Variants) != 1 ||
		r.Variants[0].Name != "silent" || r.WAV == "" {
		t.Errorf("%+v", r)
	}
	if got := exitOf(roll.Verdict(r.Faults)); got != 5 {
		t.Errorf("exit code %d", got)
	}
}

func exitOf(err error) int { return fault.KindOf(err).ExitCode() }

// A drone that begins in the count-in does so in a re-take as well: G3 sounds
// from its first sample, since measure 5 has it, and ends with measure 8.
func TestDroneOfARetake(t *testing.T) {
	t.Parallel()
	p := openRetakes(t, "")
	r := makeGuide(t, p, "again")
	wave, _ := readWAV(t, r.Variants[0].WAV)
	g3, d3 := 195.9977, 146.8324
	for _, c := range []struct {
		at      float64
		sounds  bool
		because string
	}{{0.5, true, "count-in"}, {9, true, "measure 5"}, {15.4, true, "measure 8"}, {17, false, "measure 9"}} {
		if got := tone(wave, c.at+0.07, g3) > 0.002; got != c.sounds {
			t.Errorf("%s: G3 sounds is %v", c.because, got)
		}
		if tone(wave, c.at+0.07, d3) > 0.002 {
			t.Errorf("%s: D3 sounds", c.because)
		}
	}
	main, _ := readWAV(t, r.WAV)
	for at, hz := range map[float64]float64{0.57: d3, 8.57: d3, 12.57: g3, 23.57: g3} {
		if tone(main, at, hz) < 0.002 {
			t.Errorf("the guide has no %.0f Hz at %g s", hz, at)
		}
	}
}

// playAgain records intake/again.wav to the guide of the re-take. The recorder
// was started 0.7 s before the guide: a clap, then a note on most beats.
func playAgain(t *testing.T, p *Production) {
	t.Helper()
	pings := []ping{{4.7, 0, 0.15}}
	for beat := range 48 {
		if beat%8 != 3 && beat%8 != 6 {
			pings = append(pings, ping{0.7 + 8 + 0.5*float64(beat), []float64{392, 440, 494, 523}[beat*7%4], 0.4})
		}
	}
	writePings(t, filepath.Join(p.Manifest().Dir, "intake", "again.wav"), 38, pings)
}

// A take recorded to the guide of a re-take is placed by that guide's cue and
// ends up on guide time: its clap at 4 s of that guide is guide time 12.
func TestSyncOfARetake(t *testing.T) {
	t.Parallel()
	more := `  - {name: by-cue, guide: again, audio: {file: intake/again.wav, cue_at: 4.7}}
  - {name: by-offset, guide: again, audio: {file: intake/again.wav, offset: 7.3}}
  - {name: by-ear, guide: again, audio: {file: intake/again.wav}}
`
	p := openRetakes(t, more)
	playAgain(t, p)
	r, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	found := 0
	for _, pl := range r.Takes {
		want, allowed := 8-0.7, 1e-9
		switch pl.Name {
		case "by-ear":
			allowed = 0.010
		case "by-cue", "by-offset":
		default:
			continue
		}
		found++
		if !pl.Sure || math.Abs(pl.Offset-want) > allowed {
			t.Errorf("%s: offset %.4f (sure %v, %s, %q), want %.4f", pl.Name, pl.Offset, pl.Sure, pl.Method, pl.Reason,
				want)
		}
	}
	if found != 3 {
		t.Errorf("%d re-takes among %d", found, len(r.Takes))
	}
	c, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	for _, take := range c.Takes {
		for _, f := range take.Findings {
			if take.Name == "by-ear" && !strings.Contains(f.What, "same content") &&
				(strings.Contains(f.What, "starts") || strings.Contains(f.What, "ends") ||
					strings.Contains(f.What, "cue")) {
				t.Errorf("%s: %s", take.Name, f.What)
			}
		}
	}
}
