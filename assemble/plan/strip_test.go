package plan

import (
	"maps"
	"math"
	"reflect"
	"slices"
	"testing"

	"ripieno/assemble/production"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/pan"
)

func TestPlacesOnTheStage(t *testing.T) {
	p := lamplighter(t, 6) // high: 1, 3, 5; low: 2, 4, 6
	even := places(p)
	for i, want := range pan.Spread(6, 0.55) {
		if math.Abs(even[i]-100*want) > 1e-9 {
			t.Errorf("seat %d is at %v, want %v", i, even[i], 100*want)
		}
	}
	p.Mix.Stage = []production.Place{{Section: "low", From: 10, To: 60}}
	own := -80.0
	p.Takes[3].Pan = &own
	p.Takes[2].Expected = true // an empty seat keeps its place
	want := []float64{even[0], 10, even[2], -80, even[4], 60}
	if got := places(p); !reflect.DeepEqual(got, want) {
		t.Errorf("places %v, want %v", got, want)
	}
	// A take that comes in later moves nobody.
	facts := filmed(p)
	delete(facts, "take-3")
	pl, err := New(p, facts, nil, Look{})
	if err != nil {
		t.Fatal(err)
	}
	if len(pl.Strips) != 5 || pl.Strips[4].Take != "take-6" || pl.Strips[4].Pan != 60 {
		t.Errorf("strips %+v", pl.Strips)
	}
}

// The film of production begins 2 s before measure 1, at guide time 6, and a
// measure lasts 2 s.
func TestSoloistsAreLifted(t *testing.T) {
	p := lamplighter(t, 3)
	p.Mix.SoloLiftDB = 2
	to := at(5)
	p.Shots = []production.Shot{
		{From: at(2), Show: "solo", Take: "take-2"}, {From: at(3), Show: "solo", Take: "take-2"},
		{From: at(4), Show: "solo", Take: "take-1", To: &to}, {From: at(7), Show: "solo", Take: "take-2"},
	}
	pl, err := New(p, filmed(p), nil, Look{})
	if err != nil {
		t.Fatal(err)
	}
	sec := func(s float64) audio.Frames { return audio.FramesAt(s) }
	want := map[string][]mix.Ride{
		"take-1": {{Span: mix.Span{From: sec(14), To: sec(16)}, Gain: 2}},
		"take-2": {{Span: mix.Span{From: sec(10), To: sec(14)}, Gain: 2}, {Span: mix.Span{From: sec(20), To: sec(26)},
			Gain: 2}},
	}
	for _, s := range pl.Strips {
		if !reflect.DeepEqual(s.Lifts, want[s.Take]) {
			t.Errorf("%s is lifted %+v, want %+v", s.Take, s.Lifts, want[s.Take])
		}
	}
	p.Mix.SoloLiftDB = 0
	if pl, err = New(p, filmed(p), nil, Look{}); err != nil || pl.Strips[0].Lifts != nil {
		t.Errorf("lifted without a wish: %v %+v", err, pl.Strips[0].Lifts)
	}
}

func TestTreatment(t *testing.T) {
	p := lamplighter(t, 1)
	line, err := NewTimeline(p)
	if err != nil {
		t.Fatal(err)
	}
	take := p.Takes[0]
	take.Part = "Violin 2"
	if got := treatment(take, line); got.LowCut != mix.LowCutFor("violin") || got.From != 6*audio.Rate ||
		got.To != 26*audio.Rate {
		t.Errorf("%+v", got)
	}
	none, from, to := 0.0, at(2), at(4)
	take.TrimFrom, take.TrimTo = &from, &to
	take.Strip = production.Strip{
		LowCutHz: &none, Mutes: []production.Mute{{From: production.Time{Seconds: 11},
			To: production.Time{Seconds: 12.5}}},
		EQ: []production.Band{{Shape: mix.HighShelf, Hz: 8000,
			GainDB: 2}}, Compress: &production.Compress{ThresholdDB: -20, Ratio: 3}, Delay: -0.01, DenoiseDB: 6,
	}
	want := Treatment{
		From: 10 * audio.Rate, To: 14 * audio.Rate, Mutes: []mix.Span{{From: 11 * audio.Rate,
			To: audio.FramesAt(12.5)}}, LowCut: -1,
		EQ: []mix.Band{{Shape: mix.HighShelf, Hz: 8000, Gain: 2}}, Compress: &mix.Compressor{Threshold: -20,
			Ratio: 3}, Delay: -0.01, Denoise: 6,
	}
	if got := treatment(take, line); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	// A take that is trimmed to nothing has no strip.
	to = at(2)
	take.TrimTo = &to
	p.Takes[0] = take
	pl, err := New(p, filmed(p), nil, Look{})
	if err != nil || len(pl.Strips) != 0 {
		t.Errorf("%v %+v", err, pl.Strips)
	}
}

// Seats are where takes sit on the stage, too: with seats written down, the
// order of the lines says nothing.
func TestSeatsPlaceTheSound(t *testing.T) {
	p := lamplighter(t, 7)
	p.Mix.Stage = []production.Place{{Section: "low", From: -80, To: -20}}
	pans := func() map[string]float64 {
		pl, err := New(p, filmed(p), nil, Look{})
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]float64{}
		for _, s := range pl.Strips {
			at[s.Take] = s.Pan
		}
		return at
	}
	before := pans()
	pin(p)
	slices.Reverse(p.Takes)
	if after := pans(); len(after) != 7 || !maps.Equal(before, after) {
		t.Errorf("%v became %v", before, after)
	}
}

// The low cut by the part may be left out of what is cleaned, but not in a phone, and not where a
// person has set it; where all is switched off it stays.
func TestLowCutMayBeLeftOut(t *testing.T) {
	music, clean, low := lamplighter(t, 1).Tempo, production.Clean{Silence: true}, 90.0
	for _, c := range []struct {
		strip production.Strip
		phone bool
		want  bool
	}{
		{production.Strip{Clean: clean}, false, true},
		{production.Strip{Clean: clean}, true, false},
		{production.Strip{Clean: clean, LowCutHz: &low}, false, false},
		{production.Strip{}, false, false},
	} {
		if got := cleaning(production.Take{Strip: c.strip}, Sound{Phone: c.phone}, music); got.Uncut != c.want {
			t.Errorf("%+v, a phone %v: %+v", c.strip, c.phone, got)
		}
	}
}

// Rumble is cut where noise is reduced, unless the low cut is in a person's hands.
func TestRumbleIsCutUnlessTold(t *testing.T) {
	music := lamplighter(t, 1).Tempo
	none := 0.0
	for _, c := range []struct {
		strip production.Strip
		want  bool
	}{
		{production.Strip{Clean: production.Clean{Noise: true}}, true},
		{production.Strip{Clean: production.Clean{Noise: true}, LowCutHz: &none}, false},
		{production.Strip{Clean: production.Clean{Noise: true}, DenoiseDB: 6}, false},
		{production.Strip{Clean: production.Clean{Hum: true}}, false},
	} {
		if got := cleaning(production.Take{Strip: c.strip}, Sound{}, music); got.Rumble != c.want {
			t.Errorf("%+v: %+v", c.strip, got)
		}
	}
}
