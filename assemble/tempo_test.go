package assemble

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// tempoManifest is a piece of sixteen measures at 120, without its takes.
const tempoManifest = `version: 1
title: Tempo
tempo: {count_in: {measures: 2, cue: {measure: 2, beat: 1}}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 16}
release: yes
takes:
`

// mixedFigures are measures of several rhythms, in beats.
var mixedFigures = [][]float64{{0, 1, 2, 2.5, 3}, {0, 1.5, 2, 3}, {0, 0.5, 1, 2, 3, 3.5}, {0, 0.75, 1, 2, 3}}

// checkTwice returns what two checks of a production find, of which the second must
// measure nothing.
func checkTwice(t *testing.T, p *Production) (both [2]CheckResult) {
	t.Helper()
	for pass := range both {
		var err error
		if both[pass], err = p.Check(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if n := both[1].Tasks.Run; n != 0 {
		t.Errorf("a second check ran %d tasks", n)
	}
	return both
}

// plucked returns a take of a plucked instrument at so many beats a minute: two
// seconds of a room, eight beats with a clap on the fifth, and then the notes of
// some figures, each a measure of so many beats.
func plucked(seed uint64, bpm, beats float64, measures int, figures [][]float64) []float64 {
	const rate = 16000
	rng := rand.New(rand.NewPCG(seed, 4))
	x := make([]float64, int((4+(8+beats*float64(measures))*60/bpm)*rate))
	for i := range x {
		x[i] = 0.0005 * rng.NormFloat64()
	}
	sound := func(beat float64, hz, fall, noise float64) {
		from := int((2 + beat*60/bpm + 0.012*rng.NormFloat64()) * rate)
		for i := range min(rate/2, len(x)-from) {
			t := float64(i) / rate
			v := (1-noise)*(math.Sin(2*math.Pi*hz*t)+0.5*math.Sin(4*math.Pi*hz*t)) + 2*noise*rng.NormFloat64()
			x[from+i] += 0.2 * v * min(1, t*500) * math.Exp(-fall*t)
		}
	}
	sound(4, 0, 60, 1)
	for k := range measures {
		for _, b := range figures[rng.IntN(len(figures))] {
			sound(8+beats*float64(k)+b, 220*math.Pow(2, float64(rng.IntN(14))/12), 8, 0)
		}
	}
	return x
}

// Takes that were played to another guide than this one, or saved at another
// rate, are told, with the tempo they have; those played to this one, in
// whatever rhythm, are not. One that came twice, trimmed and softer, is told for
// both.
func TestCheckTellsAnotherTempo(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	triplets := [][]float64{{0, 1. / 3, 2. / 3, 1, 2, 3}, {0, 1, 4. / 3, 5. / 3, 2, 7. / 3, 8. / 3, 3}}
	waltz := [][]float64{{0, 1, 2}, {0, 2, 2.5}, {0, 1, 1.5, 2}}
	cases := []struct {
		name string
		x    []float64
		rate int
		code intake.Code // "" for none of those
		says string
	}{
		{"right", plucked(1, 120, 4, 16, mixedFigures), 16000, "", ""},
		{"triplets", plucked(2, 120, 4, 16, triplets), 16000, "", ""},
		{"half", plucked(3, 60, 4, 8, mixedFigures), 16000, "", ""},
		{"slow", plucked(4, 0.92*120, 4, 16, mixedFigures), 16000, intake.OtherPiece,
			"92.0 % of the guide's tempo, 110 beats a minute instead of 120"},
		{"other", plucked(5, 133, 3, 22, waltz), 16000, intake.OtherPiece, "133 beats a minute instead of 120"},
		// 16000·48/44.1
		{"rate", plucked(6, 120, 4, 16, mixedFigures), 17415, intake.Speed, "44.1 kHz are taken for 48"},
	}
	// The first one once more, softer, without its first 0.4 s.
	again := make([]float64, 0, len(cases[0].x))
	for _, v := range cases[0].x[6400:] {
		again = append(again, 0.3*v)
	}
	cases = append(cases, struct {
		name string
		x    []float64
		rate int
		code intake.Code
		says string
	}{"again", again, 16000, intake.Duplicate, `"in/right.wav" of "right"`})
	cases[0].code, cases[0].says = intake.Duplicate, "the same recording, saved anew"
	var takes strings.Builder
	for _, c := range cases {
		writeWAV(t, filepath.Join(dir, "in", c.name+".wav"), audio.Block{c.x}, c.rate, media.PCM16)
		fmt.Fprintf(&takes, "  - {name: %s, audio: {file: in/%s.wav}}\n", c.name, c.name)
	}
	for _, r := range checkTwice(t, openTest(t, dir, tempoManifest+takes.String())) {
		for i, c := range cases {
			var found []intake.Finding
			for _, f := range r.Takes[i].Findings {
				if f.Code == intake.OtherPiece || f.Code == intake.Speed || f.Code == intake.Duplicate {
					found = append(found, f)
				}
			}
			switch {
			case c.code == "" && len(found) > 0, c.code != "" && len(found) != 1:
				t.Errorf("%s: %+v of %+v", c.name, found, r.Takes[i])
			case c.code != "" && (found[0].Code != c.code || !strings.Contains(found[0].What, c.says) ||
				found[0].Level == intake.OK || found[0].Ask == ""):
				t.Errorf("%s: %+v", c.name, found[0])
			}
		}
	}
}

// Who says where a take lies is not told that it is another piece, whatever its
// tempo.
func TestCheckFindsNoOtherTempoWhereThePlaceIsGiven(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	x := plucked(4, 0.92*120, 4, 16, mixedFigures)
	for _, name := range []string{"heard", "given", "clap"} {
		writeWAV(t, filepath.Join(dir, "in", name+".wav"), audio.Block{x}, 16000, media.PCM16)
	}
	text := tempoManifest +
		"  - {name: heard, audio: {file: in/heard.wav}}\n  - {name: given, audio: {file: in/given.wav, offset: " +
		"-2}}\n  - {name: clap, audio: {file: in/clap.wav, cue_at: 4.174}}\n"
	p := openTest(t, dir, text)
	r, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, take := range r.Takes {
		told := false
		for _, f := range take.Findings {
			told = told || f.Code == intake.OtherPiece
		}
		if told != (take.Name == "heard") {
			t.Errorf("%s: %+v", take.Name, take.Findings)
		}
	}
}
