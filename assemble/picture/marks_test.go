package picture

import (
	"testing"

	"ripieno/assemble/manifest"
)

func TestMarkText(t *testing.T) {
	man, err := manifest.Parse("production.yaml", []byte(`version: 1
title: Test Round
tempo:
  count_in: {measures: 2, cue: {measure: 2, beat: 1}}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 2
takes: [{name: a, expected: true}]
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		guide float64
		want  string
	}{
		{-0.5, "count-in  -0:00.500"},
		{0, "count-in   0:00.000"},
		{3.999, "count-in   0:03.999"},
		{4, "m1.1       0:04.000"},
		{4 - 1e-9, "m1.1       0:04.000"},
		{4.49, "m1.1       0:04.490"},
		{4.5, "m1.2       0:04.500"},
		{6, "m2.1       0:06.000"},
		{7.9999, "m2.4       0:08.000"},
		{8, "end        0:08.000"},
		{61.2345, "end        1:01.235"},
	} {
		if got := MarkText(man.Tempo, c.guide); got != c.want {
			t.Errorf("%v is %q, want %q", c.guide, got, c.want)
		}
	}
}
