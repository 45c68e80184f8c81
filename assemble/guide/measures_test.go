package guide

import (
	"slices"
	"testing"

	"ripieno/assemble/manifest"
)

// ramps is a piece of ten measures in 3/4 that slows down in measures 3 and 4 from 120 to
// 90, goes on at 90, is faster in measure 6 alone, from 90 to 108, goes on at 90, and is
// in 6/8 from measure 9 on.
const ramps = `version: 1
title: Small Round
tempo:
  count_in: {measures: 1}
  measures: 10
  changes:
    - {measure: 1, meter: 3/4, bpm: 120}
    - {measure: 3, ramp_to: 90, until: 5}
    - {measure: 6, ramp_to: 108, until: 7}
    - {measure: 7, bpm: 90}
    - {measure: 9, meter: 6/8, bpm: 60}
guide: {variants: [{name: flute}]}
takes: [{name: ada, player: Ada Lund, part: Flute, guide: flute, expected: true}]
`

// The table says how fast a ramp begins and ends, also when it is one measure long.
func TestRunsOfMeasures(t *testing.T) {
	man, err := manifest.Parse(manifest.FileName, []byte(ramps))
	if err != nil {
		t.Fatal(err)
	}
	type line struct {
		from, to int
		tempo    string
	}
	var got []line
	for _, r := range Runs(Measures(man)) {
		got = append(got, line{r.From.Number, r.To.Number, r.Tempo})
	}
	want := []line{{-1, -1, "quarter = 120"}, {1, 2, "quarter = 120"}, {3, 4, "quarter = 120, then 90"},
		{5, 5, "quarter = 90"}, {6, 6, "quarter = 90, then 108"}, {7, 8, "quarter = 90"},
		{9, 10, "dotted-quarter = 60"}}
	if !slices.Equal(got, want) {
		t.Errorf("%+v\nwant %+v", got, want)
	}
}

// The film announces what comes two measures ahead: slower and faster by where a ramp
// goes, a tempo to which none leads, and another meter with its tempo.
func TestFilmAnnouncesTempoAndMeter(t *testing.T) {
	man, err := manifest.Parse(manifest.FileName, []byte(ramps))
	if err != nil {
		t.Fatal(err)
	}
	got := announced(t, man, "flute")
	want := []string{"1.1-1.3 in 2: slower", "2.1-2.3 in 1: slower", "5.1-5.3 in 1: faster",
		"6.1-6.3 in 1: tempo 90", "7.1-7.3 in 2: 6/8, tempo 60", "8.1-8.3 in 1: 6/8, tempo 60"}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}
