package production

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo/score"
)

// All files that are not takes are listed, as often as the manifest names them, so
// that none is forgotten when a production is watched or packed.
func TestAssets(t *testing.T) {
	if got := (&Production{}).Assets(); len(got) != 0 {
		t.Errorf("an empty production has %v", got)
	}
	asset := func(path string) *Asset { return &Asset{Path: path} }
	p := &Production{
		Logo:    asset("logo.png"),
		Picture: Picture{Fonts: []Asset{{Path: "a.ttf"}, {Path: "b.ttf"}}, Backdrop: asset("back.jpg")},
		Mix:     Mix{Impulse: asset("hall.wav")},
		Takes:   []Take{{Backing: asset("back.jpg")}, {}, {Backing: asset("curtain.png")}},
		Guide:   Guide{Count: &Count{Files: []Asset{{Path: "one.wav"}, {Path: "two.wav"}}}},
	}
	var got []string
	for _, a := range p.Assets() {
		got = append(got, a.Path)
	}
	slices.Sort(got)
	if want := []string{"a.ttf", "b.ttf", "back.jpg", "back.jpg", "curtain.png", "hall.wav",
		"logo.png", "one.wav", "two.wav"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if len(p.Picture.Fonts) != 2 || p.Picture.Fonts[0].Path != "a.ttf" || p.Picture.Fonts[1].Path != "b.ttf" {
		t.Errorf("listing changed the fonts: %v", p.Picture.Fonts)
	}
	// Whatever field is an asset, it is in the list: a new one that is forgotten is found here.
	n := countAssets(reflect.ValueOf(*p))
	if n != len(got) {
		t.Errorf("the production holds %d assets and lists %d", n, len(got))
	}
}

// countAssets counts the assets anywhere in a value.
func countAssets(v reflect.Value) int {
	if v.Type() == reflect.TypeFor[Asset]() {
		return 1
	}
	n := 0
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			n += countAssets(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			n += countAssets(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				n += countAssets(v.Field(i))
			}
		}
	}
	return n
}

// A production without takes makes its guide and nothing after it; the fault says
// where takes are to be written.
func TestTakesAreNeeded(t *testing.T) {
	if err := (&Production{Takes: make([]Take, 1)}).NeedTakes(); err != nil {
		t.Errorf("with a take: %v", err)
	}
	for _, c := range []struct {
		mark  fault.Mark
		where string
		hint  string
	}{
		{fault.Mark{}, "", "add one under takes:"},
		{fault.Mark{File: "production.yaml", Line: 7, Column: 1}, "production.yaml:7:1", TakeExample},
	} {
		err := (&Production{TakesMark: c.mark}).NeedTakes()
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || f.Where != c.where ||
			f.What != "the production has no takes" ||
			!strings.Contains(f.Hint, c.hint) {
			t.Errorf("%+v: %v", c.mark, err)
		}
	}
}

// A name that the manifest lacks is told with those it has, quoted, so that an odd
// one can be seen for what it is.
func TestNoSuch(t *testing.T) {
	p := &Production{Path: "/p/production.yaml"}
	for _, c := range []struct {
		known []string
		hint  string
	}{
		{nil, "the manifest has none"},
		{[]string{}, "the manifest has none"},
		{[]string{"oboe"}, `the manifest has ["oboe"]`},
		{[]string{"a b", "x\ny"}, `the manifest has ["a b" "x\ny"]`},
	} {
		err := p.NoSuch("section", "wi\tnds", c.known)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || f.Where != p.Path ||
			f.What != `no section is called "wi\tnds"` || f.Hint != c.hint {
			t.Errorf("%q: %v, %q", c.known, err, f.Hint)
		}
	}
}

func TestScoreRemarks(t *testing.T) {
	if got := (&Production{}).ScoreRemarks(); got != nil {
		t.Errorf("without a score: %q", got)
	}
	want := []string{"m12: a repeat without an end"}
	if got := (&Production{Score: &score.Score{Remarks: want}}).ScoreRemarks(); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// A guide's variants are found by their names, each the manifest's own value and no
// copy.
func TestVariants(t *testing.T) {
	g := &Guide{Variants: []Variant{{Name: "slow"}, {Name: "clicks"}}}
	if got := g.VariantNames(); !slices.Equal(got, []string{"slow", "clicks"}) {
		t.Errorf("the names are %q", got)
	}
	if v := g.Variant("clicks"); v != &g.Variants[1] {
		t.Errorf("clicks is %+v", v)
	}
	for _, name := range []string{"", "Slow", "slow "} {
		if v := g.Variant(name); v != nil {
			t.Errorf("%q is %+v", name, v)
		}
	}
	if got := (&Guide{}).VariantNames(); len(got) != 0 {
		t.Errorf("no variants are called %q", got)
	}
}

// A sentence has an article that fits.
func TestRolesInSentences(t *testing.T) {
	if Video.Phrase() != "a video" || Audio.Phrase() != "an audio file" {
		t.Errorf("%q, %q", Video.Phrase(), Audio.Phrase())
	}
}
