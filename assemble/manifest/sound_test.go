package manifest

import (
	"fmt"
	"math"
	"reflect"
	"ripieno/assemble/production"
	"ripieno/mix"
	"testing"

	"ripieno/mix/pan"
	"ripieno/mix/tempo"
)

// TestSound reads every key of a strip and of the bus.
func TestSound(t *testing.T) {
	p := parse(t, head+`
sections: [{name: winds, target: -24}, {name: strings}]
takes:
  - name: oboe
    section: winds
    audio: {file: a.wav}
    mutes: [{from: m2, to: m3}, {from: 1, to: 2.5}]
    low_cut: 90
    eq: [{shape: low_cut, hz: 80}, {shape: bell, hz: 900, gain: -3, q: 2}, {shape: high_shelf, hz: 8000, gain: 1.5}]
    compress: {threshold: -24, ratio: 2, knee: 3, attack: 0.02, release: 0.2, make_up: 4}
    denoise: 8
    width: 0.5
    delay: -0.012
    send: -6
  - {name: viola, section: strings, audio: {file: b.wav}, low_cut: none, send: none}
  - {name: cello, section: strings, audio: {file: c.wav}, low_cut: auto}
mix:
  room: 0.2
  pan_law: linear
  hall: {decay: 2.5, pre_delay: 0}
  fade_in: 0.5
  fade_out: 2
  solo_lift: 2
  stage: [{section: strings, from: -60, to: -10}, {section: winds, from: 10, to: 10}]
`)
	s := p.Takes[0].Strip
	for i, m := range []int{2, 3} {
		want, err := p.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mute", []float64{s.Mutes[0].From.Seconds, s.Mutes[0].To.Seconds}[i], want)
	}
	if len(s.Mutes) != 2 || s.Mutes[1].From.Seconds != 1 || s.Mutes[1].To.Seconds != 2.5 {
		t.Errorf("mutes %+v", s.Mutes)
	}
	s.Mutes = nil
	low, width := 90.0, 0.5
	want := production.Strip{
		LowCutHz: &low, EQ: []production.Band{{Shape: mix.LowCut, Hz: 80}, {Shape: mix.Bell, Hz: 900, GainDB: -3, Q: 2},
			{Shape: mix.HighShelf, Hz: 8000, GainDB: 1.5}},
		Compress:  &production.Compress{ThresholdDB: -24, Ratio: 2, KneeDB: 3, Attack: 0.02, Release: 0.2, MakeUpDB: 4},
		DenoiseDB: 8, Width: &width, Delay: -0.012, SendDB: -6, Clean: allClean,
	}
	if !reflect.DeepEqual(s, want) {
		t.Errorf("oboe %+v, want %+v", s, want)
	}
	viola, cello := p.Takes[1].Strip, p.Takes[2].Strip
	if viola.LowCutHz == nil || *viola.LowCutHz != 0 || !viola.Dry ||
		!reflect.DeepEqual(cello, production.Strip{Clean: allClean}) {
		t.Errorf("viola %+v, cello %+v", viola, cello)
	}
	bus := production.Mix{
		LoudnessLUFS: -16, TruePeakDB: -1, AutoBalance: true, Room: 0.2, PanLaw: pan.Linear,
		Hall: production.Hall{Decay: 2.5, High: 0.55, PreDelay: 0,
			Size: 1}, FadeIn: 0.5, FadeOut: 2, SoloLiftDB: 2, Clean: allClean, LowPan: 35,
		Stage: []production.Place{{Section: "strings", From: -60, To: -10}, {Section: "winds", From: 10, To: 10}},
	}
	if !reflect.DeepEqual(p.Mix, bus) {
		t.Errorf("mix %+v, want %+v", p.Mix, bus)
	}
	if x := p.Sections[0].TargetLUFS; x == nil || math.Abs(*x+24) > 0 || p.Sections[1].TargetLUFS != nil {
		t.Errorf("targets %+v", p.Sections)
	}
}

// What is done to takes by themselves: all by default, each off by one key, for
// all or for a take.
func TestClean(t *testing.T) {
	for _, c := range []struct {
		mix, take string
		want      production.Clean
	}{
		{"", "", allClean},
		{"mix: {clean: off}\n", "", production.Clean{}},
		{"mix: {clean: {noise: false}}\n", "", production.Clean{Silence: true, Tone: true, Hum: true, Tops: true}},
		{"mix: {clean: {silence: false, tone: false}}\n", "", production.Clean{Noise: true, Hum: true, Tops: true}},
		{"mix: {clean: {hum: false}}\n", "", production.Clean{Silence: true, Noise: true, Tone: true, Tops: true}},
		{"mix: {clean: {tops: false}}\n", "", production.Clean{Silence: true, Noise: true, Tone: true, Hum: true}},
		{"", ", clean: off", production.Clean{}},
		{"mix: {clean: off}\n", ", clean: auto", allClean},
		{"mix: {clean: off}\n", ", clean: {silence: true}", production.Clean{Silence: true}},
		{"mix: {clean: {noise: false}}\n", ", clean: {silence: false, tops: false}",
			production.Clean{Tone: true, Hum: true}},
	} {
		p := parse(t, head+c.mix+"takes:\n  - {name: a, audio: {file: a.wav}"+c.take+"}\n")
		if got := p.Takes[0].Strip.Clean; got != c.want {
			t.Errorf("%s%s gives %+v, want %+v", c.mix, c.take, got, c.want)
		}
	}
}

// In a large ensemble noise stays as it is unless somebody asks for less of it.
func TestCleanOfManyTakes(t *testing.T) {
	for _, c := range []struct {
		mix  string
		n    int
		want production.Clean
	}{
		{"", mostReduced, allClean},
		{"", mostReduced + 1, production.Clean{Silence: true, Tone: true, Hum: true, Tops: true}},
		{"mix: {clean: auto}\n", mostReduced + 1, production.Clean{Silence: true, Tone: true, Hum: true, Tops: true}},
		{"mix: {clean: {noise: true}}\n", mostReduced + 1, allClean},
	} {
		list := "takes:\n  - {name: t1, audio: {file: a1.wav}}\n"
		for i := 2; i <= c.n; i++ {
			list += fmt.Sprintf("  - {name: t%d, player: P%d, expected: true}\n", i, i)
		}
		if got := parse(t, head+c.mix+list).Takes[0].Strip.Clean; got != c.want {
			t.Errorf("%q with %d takes gives %+v, want %+v", c.mix, c.n, got, c.want)
		}
	}
}
