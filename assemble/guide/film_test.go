package guide

import (
	"fmt"
	"slices"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/shot"
	"ripieno/mix/tempo/score"
)

// resting returns a production of fourteen measures of four beats whose flute plays in
// the measures given, with a guide of its own, and whose bassoon plays all the time.
func resting(t *testing.T, language string, measures ...int) *production.Production {
	t.Helper()
	man, err := manifest.Parse(manifest.FileName, []byte(`version: 1
title: Small Round
language: `+language+`
tempo: {count_in: {measures: 1}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 14}
guide: {variants: [{name: flute}, {name: some, from: m3, to: m9}]}
takes:
  - {name: ada, player: Ada Lund, part: Flute, guide: flute, expected: true}
  - {name: ben, player: Ben Voss, part: Bassoon, expected: true}
`))
	if err != nil {
		t.Fatal(err)
	}
	flute, bassoon := score.Part{Name: "flute"}, score.Part{Name: "Bassoon"}
	for _, m := range measures {
		flute.Onsets = append(flute.Onsets, score.Onset{Quarter: float64(4*(m-1) + 1)}) // on the second beat
	}
	for q := range 56 {
		bassoon.Onsets = append(bassoon.Onsets, score.Onset{Quarter: float64(q)})
	}
	man.Score = &score.Score{Parts: []score.Part{bassoon, flute}}
	return man
}

// announced returns what a guide's film announces: each text with the first and the last
// measure and beat that show it, as "6.1-7.4 you enter in 2".
func announced(t *testing.T, man *production.Production, variant string) []string {
	t.Helper()
	jobs, err := Jobs(man, nil)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(jobs, func(j Job) bool { return j.File == Name(variant) })
	words, err := phrase.Open(man.CallSheet.Language, nil)
	if err != nil || i < 0 {
		t.Fatal(i, err)
	}
	j := jobs[i]
	f := newFilm(j, shot.Rate{Num: 25, Den: 1}, j.Tempo.End(), words, entriesOf(man, j.Variant))
	var list []string
	first, last, text := "", "", ""
	tell := func() {
		if text != "" {
			list = append(list, fmt.Sprintf("%s-%s %s", first, last, text))
		}
	}
	for _, b := range f.beats {
		at := fmt.Sprintf("%s.%d", b.view.Figure, b.view.Now)
		if b.view.Next != text {
			tell()
			first, text = at, b.view.Next
		}
		last = at
	}
	tell()
	return list
}

// A player whose guide is their own sees two measures ahead that they enter after four
// measures of rest or more, counted down, in the production's language; the first entry
// counts like any other. A shorter rest, the guide all play to and that of a passage
// announce nothing.
func TestPlayersSeeTheirEntries(t *testing.T) {
	for _, c := range []struct {
		what, language, variant string
		measures                []int
		want                    []string
	}{
		{"a late first entry and a long rest", "en", "flute", []int{5, 6, 11, 12},
			[]string{"3.1-3.4 you enter in 2", "4.1-4.4 you enter in 1", "9.1-9.4 you enter in 2",
				"10.1-10.4 you enter in 1"}},
		{"three measures of rest", "en", "flute", []int{4, 8, 12}, nil},
		{"in German", "de", "flute", []int{1, 8}, []string{"6.1-6.4 dein Einsatz in 2", "7.1-7.4 dein Einsatz in 1"}},
		{"no rest", "en", "flute", []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14}, nil},
		{"the guide all play to", "en", "", []int{8}, nil},
		{"the guide of a passage", "en", "some", []int{8}, nil},
	} {
		if got := announced(t, resting(t, c.language, c.measures...), c.variant); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
	}
}

// Players of one part see their entries in a guide that they share; where two parts play
// to it, nobody's are shown, and neither are those of a part that the score has not.
func TestEntriesAreOfOnePart(t *testing.T) {
	v := func(man *production.Production) *production.Variant { return &man.Guide.Variants[0] }
	man := resting(t, "en", 8)
	man.Takes = append(man.Takes, production.Take{Name: "cleo", Part: "Flute", Guide: "flute"})
	if got := entriesOf(man, v(man)); !slices.Equal(got, []int{8}) {
		t.Errorf("of two flutes: %v", got)
	}
	man.Takes[1].Guide = "flute"
	if got := entriesOf(man, v(man)); got != nil {
		t.Errorf("of a flute and a bassoon: %v", got)
	}
	man = resting(t, "en", 8)
	if man.Takes[0].Part = "Harp"; entriesOf(man, v(man)) != nil {
		t.Error("a part that the score has not enters")
	}
	if man.Score = nil; entriesOf(man, v(man)) != nil {
		t.Error("without a score somebody enters")
	}
}
