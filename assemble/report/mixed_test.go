package report

import (
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/report/phrase"
)

// Who is hidden is said in the page's language, with where and what helps; what has no long
// stretch names none.
func TestHiddenInWords(t *testing.T) {
	melody := Hidden{Melody: true, Share: 0.4, Lift: 2.5, From: 12, To: 15}
	part := Hidden{Share: 0.634, Lift: 3, From: 7, To: 7}
	short := Hidden{Share: 0.5, Lift: -0.5}
	for language, want := range map[string][]string{
		"en": {"its melody is hidden by the others for 40\u00a0%, longest: measures 12 to 15; gain: " +
			"+2.5 would bring it out",
			"hidden by the others for 63\u00a0% of its playing, longest: measure 7; gain: +3.0 would bring it out",
			"hidden by the others for 50\u00a0% of its playing; gain: -0.5 would bring it out"},
		"de": {"die Melodie ist zu 40\u00a0% von den anderen verdeckt, am längsten: Takte 12 bis 15; " +
			"gain: +2.5 höbe sie hervor",
			"bei 63\u00a0% des Spiels von den anderen verdeckt, am längsten: Takt 7; gain: +3.0 höbe es hervor",
			"bei 50\u00a0% des Spiels von den anderen verdeckt; gain: -0.5 höbe es hervor"},
	} {
		take := Reviewed{Cleaned: &Cleaned{Reduced: 7}, Hidden: []Hidden{melody, part, short}}
		got := Review{Words: phrase.Of(language)}.mixed(take)
		if len(got) != 4 || !slices.Equal(got[1:], want) {
			t.Errorf("%s: %q, want what was done and %q", language, got, want)
		}
	}
	// After a da capo the page's own numbers stand beside those as played.
	paged := Review{Names: []string{"1", "2", "3 (1/2)", "4 (2/2)"}}
	if got := paged.hiddenWords(Hidden{Share: 0.5, Lift: 1, From: 2, To: 4}); !strings.Contains(got,
		"measures 2 to 4 (2/2)") {
		t.Error(got)
	}
	if got := paged.gaps([]Gap{{From: 3, To: 3}, {From: 1, To: 2}}); !slices.Equal(got, []string{"measure 3 (1/2)",
		"measures 1 to 2"}) {
		t.Errorf("%q", got)
	}
	var page strings.Builder
	takes := []Reviewed{{Name: "oboe", Level: LevelOK, Hidden: []Hidden{part}}, {Name: "viola", Level: LevelOK}}
	if err := WriteReview(&page, Review{Takes: takes, Span: [2]float64{0, 1}}); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(page.String(), "hidden by the others"); n != 1 || !strings.Contains(page.String(),
		"gain: &#43;3.0 would") {
		t.Errorf("the page says %d times that somebody is hidden", n)
	}
}

// What an ensemble's balance does to a take is said with its role and its place, in the page's
// language.
func TestBlendedInWords(t *testing.T) {
	b := &Blended{Instrument: -1.5, Register: 2, More: true, Moves: []Moved{{"melody", 2.5, 1, 4}, {"bass", 1, 5, 8},
		{"fill", -3, 9, 9}}}
	for language, want := range map[string][]string{
		"en": {"in the ensemble: −1.5 dB by its instrument, +2.0 dB by its register",
			"+2.5 dB as melody: measures 1 to 4", "+1.0 dB as bass: measures 5 to 8",
			"−3.0 dB as filling voice: measure 9", "moved by its role elsewhere, too"},
		"de": {"im Ensemble: −1,5 dB nach dem Instrument, +2,0 dB nach der Lage",
			"+2,5 dB als Melodie: Takte 1 bis 4", "+1,0 dB als Bass: Takte 5 bis 8",
			"−3,0 dB als Füllstimme: Takt 9", "nach seiner Rolle auch anderswo geändert"},
	} {
		if got := (Review{Words: phrase.Of(language)}).mixed(Reviewed{Blended: b}); !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", language, got, want)
		}
	}
	if got := (Review{}).mixed(Reviewed{Blended: &Blended{}}); got != nil {
		t.Errorf("nothing is said as %q", got)
	}
}
