package guide

import (
	"fmt"
	"slices"
	"testing"

	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/layout"
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

// Whoever conducts is seen whole and as large as the beats leave room for, which have a
// third of the canvas or more to their right, whatever the film's shape.
func TestConductorIsSeenWhole(t *testing.T) {
	for _, c := range []struct {
		w, h int
		want layout.Rect
	}{
		{1920, 1080, layout.Rect{Y: 90, W: 640, H: 360}},
		{1080, 1920, layout.Rect{W: 304, H: 540}}, // 303.75 wide
		{1440, 1080, layout.Rect{Y: 30, W: 640, H: 480}},
		{500, 500, layout.Rect{W: 540, H: 540}},
		{4096, 2, layout.Rect{Y: 268, W: 640, H: 2}}, // nonsense, and no error of the encoder
	} {
		got := ConductorHole(c.w, c.h)
		if got != c.want {
			t.Errorf("%d × %d: %+v, want %+v", c.w, c.h, got, c.want)
		}
		if got.W%2+got.H%2+got.X%2+got.Y%2 != 0 {
			t.Errorf("%d × %d: %+v is odd", c.w, c.h, got)
		}
		var f film
		inset := f.makeRoom(&Conductor{Path: "/m.mp4", From: 9, Hole: got})
		if want := (graph.Inset{Path: "file:/m.mp4", Y: c.want.Y, From: 9}); *inset != want {
			t.Errorf("%d × %d: %+v, want %+v", c.w, c.h, *inset, want)
		}
		if want := (layout.Rect{X: got.W, W: 960 - got.W, H: 540}); f.room != want || f.room.W < 320 ||
			f.canvas != (layout.Canvas{W: 960, H: 540}) {
			t.Errorf("%d × %d: the beats have %+v of %+v", c.w, c.h, f.room, f.canvas)
		}
	}
	f := film{canvas: filmCanvas}
	if f.makeRoom(nil) != nil || f.canvas != filmCanvas || f.room != (layout.Rect{}) {
		t.Errorf("with nobody: %+v", f)
	}
}

// Every picture of a film in which somebody conducts is drawn in the room beside them, also
// before the first beat and after the last; nothing is drawn where they are seen.
func TestBeatsKeepToTheirRoom(t *testing.T) {
	man := resting(t, "en", 1)
	jobs, err := Jobs(man, nil)
	if err != nil {
		t.Fatal(err)
	}
	words, err := phrase.Open("en", nil)
	if err != nil {
		t.Fatal(err)
	}
	f := newFilm(jobs[0], shot.Rate{Num: 2, Den: 1}, jobs[0].Tempo.End()+3, words, nil)
	f.makeRoom(&Conductor{Hole: ConductorHole(16, 9)})
	left, right := 0, 0
	r := frameReader{film: f, beat: -1}
	for ; r.frame < f.frames; r.frame++ {
		if err := r.draw(); err != nil {
			t.Fatal(err)
		}
		if r.shown.Room != f.room {
			t.Fatalf("frame %d is drawn in %+v", r.frame, r.shown.Room)
		}
		ground := r.image.NRGBAAt(0, 0)
		for y := 0; y < 540; y += 4 {
			for x := 0; x < 960; x += 4 {
				if r.image.NRGBAAt(x, y) == ground {
					continue
				}
				if x < 640 {
					left++
				} else {
					right++
				}
			}
		}
	}
	if left > 0 || right < 1000 {
		t.Errorf("%d points are drawn over who conducts, %d beside", left, right)
	}
}

// The film of a passage shows the numbers that stand on the page, from its first measure on.
func TestFilmOfAPassageHasThePagesNumbers(t *testing.T) {
	man := resting(t, "en", 1)
	v := man.Guide.Variants[1] // m3 to m9
	jobs, err := Jobs(man, []string{v.Name})
	if err != nil {
		t.Fatal(err)
	}
	words, err := phrase.Open("en", nil)
	if err != nil {
		t.Fatal(err)
	}
	var figures []string
	for _, b := range newFilm(jobs[1], shot.Rate{Num: 25, Den: 1}, 20, words, nil).beats {
		if b.view.Now == 1 {
			figures = append(figures, b.view.Figure)
		}
	}
	if want := []string{"1", "3", "4", "5", "6", "7", "8"}; !slices.Equal(figures, want) {
		t.Errorf("%q, want the count-in and %q", figures, want[1:])
	}
}

// A call sheet speaks of the film in which somebody conducts unless they want not to be seen.
func TestSheetsAreToldOfTheConductor(t *testing.T) {
	man := resting(t, "en", 1)
	for release, want := range map[production.Release]bool{production.ReleaseYes: true, production.ReleaseMissing: true,
		production.ReleaseNo: false, production.ReleaseAudioOnly: false} {
		man.Guide.Conductor = &production.Conductor{Release: release}
		if Sheet(man, nil).Conducted != want || Sheet(man, &man.Guide.Variants[1]).Conducted != want {
			t.Errorf("release %q: not %v", release, want)
		}
	}
	if man.Guide.Conductor = nil; Sheet(man, nil).Conducted {
		t.Error("nobody conducts")
	}
}
